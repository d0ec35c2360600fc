// A probe's side of Underlid's door in C++11: MQTT 3.1.1, QoS 1, no heap, no exceptions.
//
// `Probe` keeps readings in a ring until they are acknowledged, numbers them and sends them
// again after a break. It needs a `Line` (connect, write, read, close): `here.cpp` gives it a
// computer's socket, `esp32/esp32.ino` the board's WiFiClient.
#pragma once

#include <stdint.h>
#include <stdio.h>
#include <string.h>

namespace underlid {

class Line {
 public:
  virtual bool connect() = 0;
  // Write all bytes or return false.
  virtual bool write(const uint8_t* data, size_t size) = 0;
  // Return the bytes read, 0 when nothing came within a second, -1 when the line is gone.
  virtual int read(uint8_t* data, size_t most) = 0;
  virtual void close() = 0;

 protected:
  ~Line() {}
};

struct Settings {
  const char* user;
  const char* secret;
  const char* shed;
  const char* probe;
};

// One reading. `ts` is seconds since 1970, or 0 while the clock is not set.
struct Reading {
  uint32_t seq;
  uint32_t ts;
  float bed_temp_c;
  float headspace_temp_c;
  float headspace_rh_pct;
  uint16_t soil_raw;
};

class Probe {
 public:
  static const size_t kMost = 512;    // readings kept; the oldest go when there are more
  static const size_t kWindow = 8;    // readings sent ahead of their acknowledgements
  static const int kPatience = 15;    // seconds without an acknowledgement

  Probe(Line& line, const Settings& settings, uint32_t first_seq)
      : line_(line), settings_(settings), next_seq_(first_seq), first_(0), count_(0),
        rest_size_(0), last_id_(0) {}

  // Number a reading and keep it. The caller stores `next_seq()` where it survives a restart.
  void add(Reading reading) {
    reading.seq = next_seq_++;
    if (count_ == kMost) {
      first_ = (first_ + 1) % kMost;
      --count_;
    }
    ring_[(first_ + count_) % kMost] = reading;
    ++count_;
  }

  size_t waiting() const { return count_; }
  uint32_t next_seq() const { return next_seq_; }

  // Deliver everything that waits. False: the line broke or nobody answered; what is left stays.
  bool deliver() {
    rest_size_ = 0;
    if (!line_.connect()) return false;
    bool good = send_connect() && await_connack() && deliver_all();
    if (good) {
      const uint8_t goodbye[] = {0xE0, 0x00};
      line_.write(goodbye, sizeof goodbye);
    }
    line_.close();
    return good;
  }

 private:
  Line& line_;
  Settings settings_;
  uint32_t next_seq_;
  Reading ring_[kMost];
  size_t first_, count_;
  uint8_t rest_[512];
  size_t rest_size_;
  uint16_t last_id_;

  static uint8_t* text(uint8_t* to, const char* value) {
    size_t size = strlen(value);
    to[0] = static_cast<uint8_t>(size >> 8);
    to[1] = static_cast<uint8_t>(size);
    memcpy(to + 2, value, size);
    return to + 2 + size;
  }

  // In one write: two small ones would wait for each other on the network (Nagle).
  bool send(uint8_t first, const uint8_t* body, size_t size) {
    uint8_t all[520] = {first};
    size_t used = 1;
    size_t left = size;
    do {
      uint8_t low = left & 0x7F;
      left >>= 7;
      all[used++] = left ? low | 0x80 : low;
    } while (left);
    memcpy(all + used, body, size);
    return line_.write(all, used + size);
  }

  void topic(char* to, size_t most, const char* last) const {
    snprintf(to, most, "underlid/v1/%s/%s/%s", settings_.shed, settings_.probe, last);
  }

  bool send_connect() {
    char status[160];
    topic(status, sizeof status, "status");
    uint8_t body[512];
    uint8_t* at = text(body, "MQTT");
    *at++ = 4;
    *at++ = 0xEE;  // user, password, clean session, retained will with QoS 1
    *at++ = 0;
    *at++ = 60;
    at = text(at, settings_.probe);
    at = text(at, status);
    at = text(at, "offline");
    at = text(at, settings_.user);
    at = text(at, settings_.secret);
    return send(0x10, body, static_cast<size_t>(at - body));
  }

  bool await_connack() {
    for (int second = 0; second < kPatience; ++second) {
      if (rest_size_ >= 4) {
        bool good = rest_[0] == 0x20 && rest_[3] == 0;
        drop(4);
        return good;
      }
      if (!read_some()) return false;
    }
    return false;
  }

  bool send_reading(const Reading& reading) {
    char name[160];
    topic(name, sizeof name, "json");
    char payload[200];
    int size = snprintf(payload, sizeof payload,
                        "{\"bed_temp_c\":%.2f,\"headspace_temp_c\":%.2f,\"headspace_rh_pct\":%.1f,"
                        "\"soil_raw\":%u,\"seq\":%lu",
                        reading.bed_temp_c, reading.headspace_temp_c, reading.headspace_rh_pct,
                        reading.soil_raw, static_cast<unsigned long>(reading.seq));
    if (reading.ts) {
      size += snprintf(payload + size, sizeof payload - size, ",\"ts\":%lu",
                       static_cast<unsigned long>(reading.ts));
    }
    payload[size++] = '}';
    uint8_t body[400];
    uint8_t* at = text(body, name);
    last_id_ = last_id_ == 65535 ? 1 : last_id_ + 1;
    *at++ = static_cast<uint8_t>(last_id_ >> 8);
    *at++ = static_cast<uint8_t>(last_id_);
    memcpy(at, payload, static_cast<size_t>(size));
    at += size;
    return send(0x32, body, static_cast<size_t>(at - body));
  }

  // The door acknowledges in the order of the PUBLISHes, so each PUBACK frees the oldest.
  bool deliver_all() {
    size_t flying = 0;
    int silent = 0;
    while (count_) {
      while (flying < kWindow && flying < count_) {
        if (!send_reading(ring_[(first_ + flying) % kMost])) return false;
        ++flying;
      }
      size_t before = count_;
      if (!read_some()) return false;
      while (rest_size_ >= 2 && rest_size_ >= 2u + rest_[1]) {
        if (rest_[0] == 0x40 && flying) {
          first_ = (first_ + 1) % kMost;
          --count_;
          --flying;
        }
        drop(2u + rest_[1]);
      }
      silent = count_ == before ? silent + 1 : 0;
      if (silent > kPatience) return false;
    }
    return true;
  }

  bool read_some() {
    int size = line_.read(rest_ + rest_size_, sizeof rest_ - rest_size_);
    if (size < 0) return false;
    rest_size_ += static_cast<size_t>(size);
    return true;
  }

  void drop(size_t size) {
    memmove(rest_, rest_ + size, rest_size_ - size);
    rest_size_ -= size;
  }
};

}  // namespace underlid
