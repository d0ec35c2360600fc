// The probe of underlid_probe.hpp on a computer, with made-up readings.
//
//     g++ -std=c++11 -Wall -Wextra -O2 here.cpp -o here
//     ./here 127.0.0.1 1883 probes SECRET potting tansy-1 200
//
// Takes the readings first, then delivers them, trying again until nothing waits.
#include <arpa/inet.h>
#include <errno.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

#include "underlid_probe.hpp"

class SocketLine : public underlid::Line {
 public:
  SocketLine(const char* host, int port) : host_(host), port_(port), socket_(-1) {}

  bool connect() override {
    socket_ = ::socket(AF_INET, SOCK_STREAM, 0);
    timeval wait = {1, 0};
    setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &wait, sizeof wait);
    sockaddr_in address = {};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<uint16_t>(port_));
    inet_pton(AF_INET, host_, &address.sin_addr);
    if (::connect(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0) return true;
    close();
    return false;
  }

  bool write(const uint8_t* data, size_t size) override {
    while (size) {
      ssize_t sent = ::send(socket_, data, size, MSG_NOSIGNAL);
      if (sent <= 0) return false;
      data += sent;
      size -= static_cast<size_t>(sent);
    }
    return true;
  }

  int read(uint8_t* data, size_t most) override {
    ssize_t size = ::recv(socket_, data, most, 0);
    if (size > 0) return static_cast<int>(size);
    return size < 0 && (errno == EAGAIN || errno == EWOULDBLOCK) ? 0 : -1;
  }

  void close() override {
    if (socket_ >= 0) ::close(socket_);
    socket_ = -1;
  }

 private:
  const char* host_;
  int port_;
  int socket_;
};

int main(int count, char** words) {
  if (count != 8) {
    fprintf(stderr, "usage: here HOST PORT USER SECRET SHED PROBE READINGS\n");
    return 2;
  }
  SocketLine line(words[1], atoi(words[2]));
  underlid::Settings settings = {words[3], words[4], words[5], words[6]};
  static underlid::Probe probe(line, settings, 1);
  for (int n = 0; n < atoi(words[7]); ++n) {
    underlid::Reading reading = {0, 1780000000u + 60u * n, 20 + n / 100.0f, 21.5f, 91.5f, 1843};
    probe.add(reading);
  }
  int tries = 1;
  while (!probe.deliver() && tries < 100) {
    usleep(100000);
    ++tries;
  }
  printf("tries %d waiting %zu\n", tries, probe.waiting());
  return probe.waiting() ? 1 : 0;
}
