"""Tries a broker out, for `underlid check`: connects once, under another name, and leaves.

The service's own session at the broker is not touched.
"""

from __future__ import annotations

import ssl
import threading
from typing import Any, Final
from uuid import uuid4

from paho.mqtt.client import Client, ConnectFlags
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from underlid.mqtt.broker import BrokerPlace

WAIT_S: Final = 5.0
KEEP_ALIVE_S: Final = 30


def broker_trouble(place: BrokerPlace) -> str | None:
    """Return why the broker at *place* does not let us in, or None when it does."""
    answered = threading.Event()
    answer: list[ReasonCode] = []

    def connected(
        _client: Client, _data: Any, _flags: ConnectFlags, code: ReasonCode, _more: Any
    ) -> None:
        answer.append(code)
        answered.set()

    version = MQTTProtocolVersion.MQTTv5 if place.protocol == "5" else MQTTProtocolVersion.MQTTv311
    client = Client(
        CallbackAPIVersion.VERSION2, f"{place.client_id}-{uuid4().hex[:8]}", protocol=version
    )
    client.on_connect = connected
    if place.user:
        client.username_pw_set(place.user, place.password)
    try:
        if place.tls:
            authority = None if place.tls_ca is None else str(place.tls_ca)
            client.tls_set_context(ssl.create_default_context(cafile=authority))
        client.connect(place.host, place.port, KEEP_ALIVE_S)
    except OSError as error:
        return error.strerror or str(error)
    client.loop_start()
    try:
        if not answered.wait(WAIT_S):
            return f"no answer within {WAIT_S:g} s"
    finally:
        client.disconnect()
        client.loop_stop()
    return str(answer[0]) if answer[0].is_failure else None
