// Load for the door and for a broker: many clients, each with a window of QoS 1 messages.
//
//     mqtt_load PORT USER SECRET CLIENTS WINDOW MESSAGES_EACH PACK
//
// PACK 0: a JSON reading of five channels, about 110 bytes, 20 probes a client. PACK n: a SenML
// pack of n records. Prints the seconds from the last CONNACK to the last PUBACK.
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define PROBES 20
#define OUT (4 << 20)

struct client {
  int fd, index;
  long sent, acked;
  size_t rest;
  size_t from, to;  // what waits to be written
  unsigned char* out;
};

static int window, pack;
static long each;

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec + t.tv_nsec / 1e9;
}

static void fail(const char* what) {
  perror(what);
  exit(1);
}

static size_t text(unsigned char* to, const char* from) {
  size_t size = strlen(from);
  to[0] = size >> 8;
  to[1] = size & 255;
  memcpy(to + 2, from, size);
  return size + 2;
}

static size_t packet(unsigned char* to, unsigned char first, const unsigned char* body, size_t size) {
  size_t used = 0, left = size;
  to[used++] = first;
  do {
    unsigned char low = left & 127;
    left >>= 7;
    to[used++] = left ? low | 128 : low;
  } while (left);
  memcpy(to + used, body, size);
  return used + size;
}

static size_t message(unsigned char* to, struct client* c) {
  unsigned char body[8192];
  char topic[100], payload[8000];
  long n = c->sent++;
  long at = 1780000000L + n * (pack ? pack : 1);
  int probe = n % PROBES;
  snprintf(topic, sizeof topic, "underlid/v1/potting/b%d-%d/%s", c->index, probe, pack ? "senml" : "json");
  size_t size = 0;
  if (!pack) {
    size = snprintf(payload, sizeof payload,
                    "{\"ts\":%ld,\"bed_temp_c\":%.2f,\"headspace_temp_c\":%.2f,"
                    "\"headspace_rh_pct\":%.1f,\"soil_raw\":%d,\"battery_v\":3.91}",
                    at, 20 + n % 700 / 100.0, 19 + n % 500 / 100.0, 70 + n % 250 / 10.0,
                    1000 + (int)(n % 900));
  } else {
    size += snprintf(payload, sizeof payload, "[{\"bt\":%ld,\"bu\":\"Cel\"", at);
    for (int k = 0; k < pack; ++k)
      size += snprintf(payload + size, sizeof payload - size, "%s\"n\":\"bed-temp\",\"t\":%d,\"v\":%.2f}",
                       k ? ",{" : ",", k, 20 + (n + k) % 700 / 100.0);
    payload[size++] = ']';
  }
  size_t used = text(body, topic);
  long id = n % 65535 + 1;
  body[used++] = id >> 8;
  body[used++] = id & 255;
  memcpy(body + used, payload, size);
  return packet(to, 0x32, body, used + size);
}

static void write_out(struct client* c) {
  while (c->from < c->to) {
    ssize_t size = send(c->fd, c->out + c->from, c->to - c->from, MSG_NOSIGNAL);
    if (size < 0) return;
    c->from += size;
  }
  c->from = c->to = 0;
}

static void fill(struct client* c) {
  while (c->sent < each && c->sent - c->acked < window && c->to + 9000 < OUT) c->to += message(c->out + c->to, c);
  write_out(c);
}

static void open_client(struct client* c, int port, const char* user, const char* secret) {
  struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons(port)};
  inet_pton(AF_INET, "127.0.0.1", &address.sin_addr);
  c->fd = socket(AF_INET, SOCK_STREAM, 0);
  if (connect(c->fd, (struct sockaddr*)&address, sizeof address)) fail("connect");
  int one = 1;
  setsockopt(c->fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
  unsigned char body[300], all[320];
  char name[30];
  snprintf(name, sizeof name, "load-%d", c->index);
  size_t used = text(body, "MQTT");
  body[used++] = 4;
  body[used++] = 0xC2;
  body[used++] = 0;
  body[used++] = 60;
  used += text(body + used, name);
  used += text(body + used, user);
  used += text(body + used, secret);
  used = packet(all, 0x10, body, used);
  if (write(c->fd, all, used) != (ssize_t)used) fail("write");
  unsigned char answer[4];
  if (recv(c->fd, answer, 4, MSG_WAITALL) != 4 || answer[3]) fail("connack");
  fcntl(c->fd, F_SETFL, O_NONBLOCK);
  c->out = malloc(OUT);
}

int main(int count, char** words) {
  if (count != 8) return 2;
  int clients = atoi(words[4]);
  window = atoi(words[5]);
  each = atol(words[6]);
  pack = atoi(words[7]);
  struct client* all = calloc(clients, sizeof *all);
  int poll = epoll_create1(0);
  for (int i = 0; i < clients; ++i) {
    all[i].index = i;
    open_client(&all[i], atoi(words[1]), words[2], words[3]);
    struct epoll_event event = {.events = EPOLLIN, .data.ptr = &all[i]};
    epoll_ctl(poll, EPOLL_CTL_ADD, all[i].fd, &event);
  }
  double began = now();
  for (int i = 0; i < clients; ++i) fill(&all[i]);
  long left = each * clients;
  while (left) {
    struct epoll_event events[64];
    int ready = epoll_wait(poll, events, 64, 100);
    if (!ready)
      for (int i = 0; i < clients; ++i) write_out(&all[i]);
    for (int i = 0; i < ready; ++i) {
      struct client* c = events[i].data.ptr;
      unsigned char data[65536];
      ssize_t size = recv(c->fd, data, sizeof data, 0);
      if (size <= 0) fail("closed");
      size_t got = (c->rest + size) / 4;  // a PUBACK has four bytes
      c->rest = (c->rest + size) % 4;
      c->acked += got;
      left -= got;
      fill(c);
    }
  }
  printf("%.6f\n", now() - began);
  unsigned char bye[2] = {0xE0, 0};
  for (int i = 0; i < clients; ++i)
    if (write(all[i].fd, bye, 2) != 2) return 0;
  return 0;
}
