"""Builds the channels that the settings name: e-mail, notification services, webhook.

E-mail and the services go through the Apprise library, one address per channel; the webhook is our
own (`webhook.py`). The addresses hold passwords: they are never logged, shown or stored.
"""

from __future__ import annotations

import hashlib
import logging
import re
import threading
from typing import Any, Final
from urllib.parse import unquote

import apprise

from underlid.alerts.alert import Message
from underlid.config import Settings
from underlid.errors import UnderlidError
from underlid.notify.channel import Channel, ChannelError
from underlid.notify.webhook import Webhook, kept_secret
from underlid.rules.finding import Priority

EMAIL: Final = "email"
EMAIL_SCHEMES: Final = ("mailto", "mailtos")

REASON_MOST_CHARS: Final = 200
PIECE_LEAST_CHARS: Final = 3
"""Pieces of an address at least this long are struck out of what the library says."""

TIMEOUT_MOST_S: Final = 15.0
"""For connecting and for each answer, whatever the address asks for: as long as mail servers take."""

_SEPARATORS: Final = re.compile(r"[/:?&=@#,;+]+")
_logger: Final = logging.getLogger("apprise")

_TYPES: Final = {
    Priority.LOW: apprise.NotifyType.INFO,
    Priority.MEDIUM: apprise.NotifyType.WARNING,
    Priority.HIGH: apprise.NotifyType.WARNING,
    Priority.CRITICAL: apprise.NotifyType.FAILURE,
}


def channels_from(settings: Settings) -> list[Channel]:
    """Return the channels that *settings* name; raises `UnderlidError` for a wrong address."""
    channels: list[Channel] = []
    if address := settings.smtp_url.get_secret_value():
        channels.append(AddressChannel(address, "smtp_url", name=EMAIL))
    for secret in settings.notify_urls:
        channels.append(AddressChannel(secret.get_secret_value(), "notify_urls"))
    if settings.webhook_url:
        given = settings.webhook_secret.get_secret_value()
        channels.append(Webhook(settings.webhook_url, given or kept_secret(settings.data)))
    _number_namesakes(channels)
    return channels


class AddressChannel:
    """One notification address: a mail server, or any service that Apprise knows."""

    def __init__(self, address: str, setting: str, name: str = "") -> None:
        _keep_library_quiet()
        service = apprise.Apprise.instantiate(address, suppress_exceptions=True)
        scheme = address.partition("://")[0].lower()
        if service is None or (name == EMAIL and scheme not in EMAIL_SCHEMES):
            raise UnderlidError(
                f"setting {setting}",
                value="(secret)",
                expected="mailto:// or mailtos://" if name == EMAIL else "a notification address",
                next_step="See the telling page for how it is written.",
            )
        if scheme in EMAIL_SCHEMES:
            service.notify_format = apprise.NotifyFormat.TEXT
            service.request_rate_per_sec = 0  # our own flood control is far below any mail server's
        service.socket_connect_timeout = min(service.socket_connect_timeout, TIMEOUT_MOST_S)
        service.socket_read_timeout = min(service.socket_read_timeout, TIMEOUT_MOST_S)
        self._apprise = apprise.Apprise()
        self._apprise.add(service)
        public = " ".join(self._apprise.urls(privacy=True)).encode()
        self.name = name or f"{scheme}-{hashlib.sha256(public).hexdigest()[:6]}"
        self._secrets = _pieces(address)

    def send(self, message: Message, now_ms: int) -> None:  # noqa: ARG002  (as `Channel` says)
        """Hand the message's title and text to the service."""
        with _Heard() as heard:
            try:
                taken = self._apprise.notify(
                    title=" ".join(message.title.split()),
                    body=message_body(message),
                    notify_type=_TYPES[message.priority],
                    body_format=apprise.NotifyFormat.TEXT,
                )
            except Exception as error:  # a plug-in may raise anything; its text may hold an address
                raise ChannelError(f"the channel failed ({type(error).__name__})") from None
        if not taken:
            raise ChannelError(self._without_secrets(heard.text()))

    def _without_secrets(self, said: str) -> str:
        """Return what the library said, with every piece of the address struck out."""
        for piece in self._secrets:
            said = re.sub(re.escape(piece), "…", said, flags=re.IGNORECASE)
        return said[:REASON_MOST_CHARS] or "the channel did not take the message"


def message_body(message: Message) -> str:
    """Return the text that people get; the reference makes a second sending recognisable."""
    return f"{message.text}\n\nReference: {message.key}\n"


class _Heard(logging.Handler):
    """Collects the library's warnings of this thread while a message is handed over."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._thread = threading.get_ident()
        self._lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self._lines.append(" ".join(record.getMessage().split()))

    def text(self) -> str:
        """Return the lines as one clause."""
        return "; ".join(self._lines)

    def __enter__(self) -> _Heard:
        _logger.addHandler(self)
        return self

    def __exit__(self, *_: Any) -> None:
        _logger.removeHandler(self)


def _keep_library_quiet() -> None:
    """Keep the library's own lines, which may hold addresses, out of our log."""
    _logger.propagate = False
    _logger.setLevel(logging.WARNING)
    if not _logger.handlers:
        _logger.addHandler(logging.NullHandler())


def _pieces(address: str) -> list[str]:
    """Return the parts of an address that must not be shown, longest first."""
    rest = address.partition("://")[2]
    words = {rest, *_SEPARATORS.split(rest)}
    words |= {unquote(word) for word in words}
    return sorted((w for w in words if len(w) >= PIECE_LEAST_CHARS), key=len, reverse=True)


def _number_namesakes(channels: list[Channel]) -> None:
    """Give channels with the same name a number, so that each has its own outbox rows."""
    seen: dict[str, int] = {}
    for channel in channels:
        seen[channel.name] = seen.get(channel.name, 0) + 1
        if seen[channel.name] > 1:
            channel.name = f"{channel.name}-{seen[channel.name]}"
