// A probe on an ESP32 with the Arduino core: underlid_probe.hpp over WiFiClient.
//
// Copy ../underlid_probe.hpp beside this file and fill in the seven lines below. The number of
// the next reading is kept in flash (Preferences); it is written ahead in steps of 100, so a
// restart skips some numbers and never repeats one.
#include <Preferences.h>
#include <WiFi.h>
#include <time.h>

#include "underlid_probe.hpp"

static const char* kWifi = "allotment";
static const char* kWifiSecret = "...";
static const char* kHost = "192.168.1.10";
static const uint16_t kPort = 1883;
static const underlid::Settings kSettings = {"probes", "...", "potting", "tansy-1"};
static const int kSoilPin = 34;
static const uint32_t kEveryMs = 600000;

static const uint32_t kStep = 100;
static const time_t kClockSet = 1577836800;  // 2020: before it the clock has not been set

class WifiLine : public underlid::Line {
 public:
  bool connect() override { return WiFi.status() == WL_CONNECTED && client_.connect(kHost, kPort); }
  bool write(const uint8_t* data, size_t size) override { return client_.write(data, size) == size; }
  int read(uint8_t* data, size_t most) override {
    for (int wait = 0; wait < 100; ++wait) {
      if (client_.available()) return client_.read(data, most);
      if (!client_.connected()) return -1;
      delay(10);
    }
    return 0;
  }
  void close() override { client_.stop(); }

 private:
  WiFiClient client_;
};

static Preferences numbers;
static WifiLine line;
static underlid::Probe* probe;
static uint32_t reserved;

void setup() {
  WiFi.begin(kWifi, kWifiSecret);
  configTime(0, 0, "pool.ntp.org");
  numbers.begin("underlid");
  reserved = numbers.getUInt("next", 1);
  probe = new underlid::Probe(line, kSettings, reserved);
}

void loop() {
  time_t now = time(nullptr);
  underlid::Reading reading = {};
  reading.ts = now > kClockSet ? static_cast<uint32_t>(now) : 0;
  reading.soil_raw = static_cast<uint16_t>(analogRead(kSoilPin));
  // Fill in your temperature and humidity sensors here; leave out in send_reading what you lack.
  if (probe->next_seq() >= reserved) {
    reserved = probe->next_seq() + kStep;
    numbers.putUInt("next", reserved);
  }
  probe->add(reading);
  probe->deliver();
  delay(kEveryMs);
}
