"""From the settings to the door's certificate and the broker's address."""

from __future__ import annotations

import ssl
from dataclasses import replace
from typing import Final

from underlid.config import Settings
from underlid.errors import UnderlidError
from underlid.mqtt.broker import BrokerPlace

SHARE: Final = "underlid"
"""Name of the group whose members share the messages."""


def door_tls(settings: Settings) -> ssl.SSLContext | None:
    """Return the door's TLS side, or None when no certificate is set."""
    if settings.door_tls_certificate is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(settings.door_tls_certificate, settings.door_tls_key)
    except (OSError, ssl.SSLError) as error:
        raise UnderlidError(
            "setting door_tls_certificate",
            value=str(settings.door_tls_certificate),
            expected=f"a certificate chain and its key, PEM ({error})",
            next_step="Check both files, and door_tls_key.",
        ) from None
    return context


def shared_place(
    settings: Settings, worker: str, *, reads: bool, stands_in: bool = False
) -> BrokerPlace:
    """Return where the broker is for one of several workers, which share its messages by MQTT 5.

    Each has a session of its own at the broker. With *stands_in* another one empties the session of
    *worker* (`adoption.py`).
    """
    return replace(
        broker_place(settings),
        client_id=f"{settings.broker_client_id}-{worker}",
        protocol="5",
        share=SHARE if reads else "",
        reads=reads,
        stands_in=stands_in,
    )


def broker_place(settings: Settings) -> BrokerPlace:
    """Return where the broker of the settings is."""
    return BrokerPlace(
        host=settings.broker_host,
        port=settings.broker_port,
        user=settings.broker_user,
        password=settings.broker_password.get_secret_value(),
        tls=settings.broker_tls,
        tls_ca=settings.broker_tls_ca,
        client_id=settings.broker_client_id,
        protocol=settings.broker_protocol,
    )
