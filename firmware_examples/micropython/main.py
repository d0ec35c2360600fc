"""A probe for boards with Wi-Fi (ESP32, ESP32-C3, ESP32-S3, Raspberry Pi Pico W).

Copy this folder to the board, fill in `settings.py`. Every `EVERY_S` seconds: read the sensors,
number the reading, deliver everything that waits, sleep.
"""

import time

import settings
from backlog import Backlog
from delivery import deliver, topic
from mqtt_client import Client, RefusedError
from sensors import read_sensors

YEARS_30_S = 946684800  # most boards count from 2000, computers from 1970
CLOCK_SET_S = 1577836800  # 2020: before it the clock has not been set


def now_s():
    """Return seconds since 1970, or None while the clock is not set."""
    seconds = int(time.time()) + (YEARS_30_S if time.gmtime(0)[0] == 2000 else 0)
    return seconds if seconds >= CLOCK_SET_S else None


def take_reading(backlog):
    """Read the sensors into the backlog. Without a clock the service uses the time of receipt."""
    reading = read_sensors()
    seconds = now_s()
    if seconds is not None:
        reading["ts"] = seconds
    backlog.add(reading)


def connect():
    """Return a client that is let in."""
    client = Client(settings.PROBE, settings.USER, settings.SECRET, topic(settings, "status"))
    wrap = getattr(settings, "wrap", None)
    client.connect(settings.HOST, settings.PORT, wrap)
    client.publish(topic(settings, "status"), b"online", retain=True)
    return client


def once(backlog):
    """Take one reading and deliver what waits; True when nothing waits any more."""
    take_reading(backlog)
    client = None
    try:
        client = connect()
        deliver(client, backlog, settings)
        client.close()
    except RefusedError as error:
        print("not let in, check USER and SECRET:", error)
    except OSError as error:
        print("not delivered, kept:", error)
        if client is not None:
            client.close(politely=False)
    backlog.save()
    return not backlog.waiting


def join_network():
    """Join the Wi-Fi and set the clock; a board without it goes on and keeps its readings."""
    import network
    import ntptime

    station = network.WLAN(network.STA_IF)
    station.active(True)
    if not station.isconnected():
        station.connect(settings.WIFI, settings.WIFI_SECRET)
    for _ in range(30):
        if station.isconnected():
            break
        time.sleep(1)
    try:
        ntptime.settime()
    except OSError as error:
        print("the clock is not set:", error)


def run():
    """Measure and deliver for ever."""
    backlog = Backlog()
    while True:
        join_network()
        once(backlog)
        time.sleep(settings.EVERY_S)


if __name__ == "__main__":
    run()
