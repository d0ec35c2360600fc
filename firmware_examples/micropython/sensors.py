"""The sensors of one bin: a DS18B20 in the bed, an SHT4x under the lid, a soil probe, a battery.

Change the pins; leave out what you do not have. A sensor that does not answer is left out of
the reading, it never sends an old or a made-up value.
"""

import time

import ds18x20
import onewire
from machine import ADC, I2C, Pin

BED_PIN = 4  # data line of the DS18B20, with 4.7 kΩ to 3.3 V
I2C_SCL_PIN = 22
I2C_SDA_PIN = 21
SHT4X_ADDRESS = 0x44
SOIL_PIN = 34  # a capacitive soil probe, raw counts
BATTERY_PIN = 35  # half the battery's voltage, by two equal resistors

_bed = ds18x20.DS18X20(onewire.OneWire(Pin(BED_PIN)))
_bus = I2C(0, scl=Pin(I2C_SCL_PIN), sda=Pin(I2C_SDA_PIN))


def read_sensors():
    """Return the channels that answered, named as Underlid names them."""
    reading = {}
    for read in (_read_bed, _read_headspace, _read_pins):
        try:
            read(reading)
        except OSError as error:
            print("a sensor does not answer:", error)
    return reading


def _read_bed(reading):
    sensors = _bed.scan()
    if sensors:
        _bed.convert_temp()
        time.sleep_ms(750)
        reading["bed_temp_c"] = round(_bed.read_temp(sensors[0]), 3)


def _read_headspace(reading):
    _bus.writeto(SHT4X_ADDRESS, b"\xfd")
    time.sleep_ms(10)
    data = _bus.readfrom(SHT4X_ADDRESS, 6)
    reading["headspace_temp_c"] = round(-45 + 175 * (data[0] << 8 | data[1]) / 65535, 2)
    humidity = -6 + 125 * (data[3] << 8 | data[4]) / 65535
    reading["headspace_rh_pct"] = round(min(100.0, max(0.0, humidity)), 1)


def _read_pins(reading):
    soil = ADC(Pin(SOIL_PIN))
    reading["soil_raw"] = sum(soil.read_u16() for _ in range(16)) // 16
    reading["battery_v"] = round(ADC(Pin(BATTERY_PIN)).read_uv() * 2 / 1000000, 2)
