"""A real mosquitto with the shipped configuration, on a loopback port, in its own folder."""

from __future__ import annotations

import asyncio
import shutil
import signal
import subprocess
import threading
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from mqtt.writers import MemoryWriter
from programs import answers, free_port, require
from underlid.mqtt.broker import BrokerClient, BrokerPlace
from waiting import WAIT_S, wait_until

SHIPPED = Path(__file__).parents[2] / "deploy" / "mosquitto"
PASSWORDS = {
    "underlid": "service-secret",
    "probes": "household-secret",
    "keeper": "keeper-secret",
    "tansy-1": "tansy-secret",
}


class Mosquitto:
    """The shipped file with nothing but its port and its paths changed."""

    def __init__(self, folder: Path, extra: str = "") -> None:
        self.port = free_port()
        self.folder = folder
        self._program = require("mosquitto")
        self._process: subprocess.Popen[bytes] | None = None
        text = (SHIPPED / "mosquitto.conf").read_text()
        text = text.replace("listener 1883 0.0.0.0", f"listener {self.port} 127.0.0.1")
        text = text.replace("/etc/mosquitto/underlid", str(folder))
        text = text.replace("/var/lib/mosquitto/", f"{folder}/")
        self.settings = folder / "mosquitto.conf"
        self.settings.write_text(text + "user root\n" + extra)
        shutil.copy(SHIPPED / "acl", folder / "acl")
        (folder / "acl").chmod(0o600)
        for user, password in PASSWORDS.items():
            self.set_password(user, password)

    def set_password(self, user: str, password: str) -> None:
        path = self.folder / "passwords"
        create = [] if path.exists() else ["-c"]
        command = [require("mosquitto_passwd"), *create, "-b", str(path), user, password]
        subprocess.run(command, check=True, capture_output=True)
        path.chmod(0o600)

    def start(self) -> None:
        log = (self.folder / "log").open("ab")
        self._process = subprocess.Popen(
            [self._program, "-c", str(self.settings)], stdout=log, stderr=log
        )
        log.close()
        process = self._process
        wait_until(lambda: answers(self.port) or process.poll() is not None)
        assert process.poll() is None, (self.folder / "log").read_text()

    def reload(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGHUP)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(WAIT_S)
            self._process = None


class Reading:
    """`with Reading(writer, broker):` runs the broker client."""

    def __init__(self, writer: MemoryWriter, broker: Mosquitto, **more: Any) -> None:
        fields: dict[str, Any] = {"host": "127.0.0.1", "port": broker.port, "user": "underlid"}
        place = BrokerPlace(**(fields | {"password": PASSWORDS["underlid"]} | more))
        self.client = BrokerClient(writer, place)

    def __enter__(self) -> BrokerClient:
        asyncio.run(self.client.start())
        return self.client

    def __exit__(self, *_: object) -> None:
        asyncio.run(self.client.stop())


def probe(broker: Mosquitto, user: str = "probes", on_message: Any = None) -> Client:
    client = Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set(user, PASSWORDS[user])
    there = threading.Event()
    client.on_connect = lambda *_: there.set()
    client.on_message = on_message
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert there.wait(WAIT_S)
    return client
