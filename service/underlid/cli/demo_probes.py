"""The demo's probes: simulated readings sent to the door as real MQTT messages, in three forms.

One thread, one paho client for all probes: what a simulated minute brings is published when the
demo's clock has come to it, with QoS 1, and journal entries beside it as a kitchen scale sends them.
"""

from __future__ import annotations

import json
import threading
from typing import Final

import cbor2
import structlog
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from underlid.clock import Clock
from underlid.journal.entries import Entry
from underlid.journal.parse import fields_from_entry
from underlid.mqtt.outward import ROOT
from underlid.readings.values import Reading
from underlid.service import ServiceInfo
from underlid.simulate.place import SimulatedPlace
from underlid.timeline import HOUR_MS, MINUTE_MS, SECOND_MS

log = structlog.get_logger(__name__)

STRETCH_MS: Final = HOUR_MS
"""What is simulated at a time: a few milliseconds of work."""

LOOK_EVERY_S: Final = 0.05

SENML: Final = {
    "bed_temp_c": ("bed-temp", "Cel"),
    "headspace_temp_c": ("headspace-temp", "Cel"),
    "headspace_rh_pct": ("headspace-rh", "%RH"),
    "lid_temp_c": ("lid-temp", "Cel"),
    "shed_temp_c": ("shed-temp", "Cel"),
    "shed_rh_pct": ("shed-rh", "%RH"),
    "soil_raw": ("soil_raw", None),
    "battery_v": ("battery", "V"),
}

CBOR_LABELS: Final = {"bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2}
"""RFC 8428, table 4."""


class DemoProbes:
    """Publishes what the place's probes and keepers do, at the clock's pace."""

    def __init__(self, place: SimulatedPlace, clock: Clock) -> None:
        self._place = place
        self._clock = clock
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="demo probes", daemon=True)
        self._client = Client(CallbackAPIVersion.VERSION2, "demo-probes")
        self._forms = {probe: number % 3 for number, probe in enumerate(sorted(place.setup.probes))}

    def start(self, info: ServiceInfo) -> None:
        """Connect to the door and begin."""
        assert info.door_port is not None
        self._client.username_pw_set(info.door_user, info.door_password)
        self._client.connect_async("127.0.0.1", info.door_port)
        self._client.loop_start()
        self._thread.start()

    def stop(self) -> None:
        """Stop publishing."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                stretch = self._place.run(self._place.now_ms + STRETCH_MS)
                events: list[tuple[int, Reading | Entry]] = [
                    (one.received_at_ms, one) for one in stretch.readings
                ]
                events += [(one.known_at_ms, one) for one in stretch.entries]
                events.sort(key=lambda event: event[0])
                for at_ms, event in events:
                    if not self._wait_for(at_ms):
                        return
                    self._publish(event)
                if not self._wait_for(self._place.now_ms - MINUTE_MS):
                    return
        except Exception:
            log.exception("the demo's probes stopped")

    def _wait_for(self, at_ms: int) -> bool:
        """Wait until the clock is at *at_ms*; False when stopping."""
        while (left_ms := at_ms - self._clock.now_ms()) > 0:
            pause_s = min(LOOK_EVERY_S, left_ms / SECOND_MS / self._clock.speed)
            if self._stopping.wait(max(pause_s, 0.001)):
                return False
        return not self._stopping.is_set()

    def _publish(self, event: Reading | Entry) -> None:
        if isinstance(event, Entry):
            shed = self._place.setup.bins[event.bin].shed
            self._client.publish(f"{ROOT}/{shed}/entry", _entry_body(event), qos=1)
            return
        topic = f"{ROOT}/{event.shed}/{event.probe}"
        form = self._forms[event.probe]
        if form == 0:
            self._client.publish(f"{topic}/json", _json_body(event), qos=1)
        else:
            self._client.publish(f"{topic}/senml", _senml_body(event, cbor=form == 2), qos=1)


def _entry_body(entry: Entry) -> bytes:
    fields = fields_from_entry(entry)
    fields.pop("received", None)
    return json.dumps(fields).encode()


def _json_body(reading: Reading) -> bytes:
    return json.dumps({"ts": reading.taken_at_ms / SECOND_MS, **reading.values}).encode()


def _senml_body(reading: Reading, *, cbor: bool) -> bytes:
    """Return a SenML pack, JSON or CBOR."""
    pack: list[dict[str, object]] = []
    for channel, value in reading.values.items():
        name, unit = SENML[channel]
        record: dict[str, object] = {"n": name, "v": value}
        if unit is not None:
            record["u"] = unit
        pack.append(record)
    pack[0] |= {"bn": f"{reading.probe}:", "bt": reading.taken_at_ms / SECOND_MS}
    if not cbor:
        return json.dumps(pack).encode()
    return cbor2.dumps(
        [{CBOR_LABELS[key]: value for key, value in record.items()} for record in pack]
    )
