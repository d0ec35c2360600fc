"""People's own addresses: an e-mail address, sent through the mail server of the settings, a browser's
push subscription, or any notification address. Makes channels of them, and says of each what may be shown.
"""

from __future__ import annotations

import re
import threading
from typing import Final
from urllib.parse import parse_qsl, quote, urlencode, urlsplit, urlunsplit

from apprise.utils.parse import parse_qsd

from underlid.alerts.alert import Message
from underlid.alerts.routes import CHANNEL_PREFIX, PUSH_SCHEME, Route
from underlid.config import Settings
from underlid.errors import UnderlidError, Words
from underlid.notify.channel import Channel, ChannelError
from underlid.notify.channels import AddressChannel
from underlid.notify.outside import Outside
from underlid.notify.push_keys import PushKeys
from underlid.notify.subscription import subscription_of
from underlid.notify.web_push import NO_CONTACT, Pushing, WebPush
from underlid.storage.records import Records

MAIL: Final = re.compile(r"[^@\s,;:<>\"/?&=#%]{1,64}@[^@\s,;:<>\"/?&=#%]{1,180}")
"""Plain addresses only: nothing that could name a second recipient or another server."""

SCHEME: Final = re.compile(r"([a-z][a-z0-9+.-]{1,20})://\S+", re.IGNORECASE)

ON_THIS_MACHINE: Final = frozenset(
    {"blink1", "dbus", "glib", "gnome", "kde", "macosx", "qt", "rsyslog", "syslog", "windows"}
)
"""Schemes of the library that act on the machine the service runs on: nobody is told by them."""

FILES: Final = frozenset({"keyfile", "pgpprv", "pgppub", "subfile", "template"})
"""Options of the library that name a file, which may lie on that machine: it would be read and sent."""

HOST_MOST_CHARS: Final = 60

MAILS_AT_ONCE: Final = 4
"""Mail servers take few connections from one machine; what they refuse comes late (our judgement)."""

_TURNS: Final = threading.BoundedSemaphore(MAILS_AT_ONCE)

NO_SERVER: Final = "no mail server is set (setting smtp_url)"


def hint_of(address: str, settings: Settings, outside: Outside | None = None) -> str:
    """Return what may be shown of an address; raises `UnderlidError` for one that cannot be used.

    >>> hint_of("json://127.0.0.1/in/5f2c", Settings())
    'json'
    """
    address = address.strip()
    if MAIL.fullmatch(address):
        if not settings.smtp_url.get_secret_value() and not settings.several:
            raise _refusal("a notification address: " + NO_SERVER)
        return f"e-mail {address[0]}…@{address.partition('@')[2]}"
    if address.startswith(PUSH_SCHEME):
        return _browser_hint(address, outside or Outside())
    found = SCHEME.fullmatch(address)
    scheme = found[1].lower() if found else ""
    options = parse_qsd(address.partition("?")[2], simple=True)["qsd"]  # type: ignore[no-untyped-call]
    if not found or scheme in ON_THIS_MACHINE or FILES & options.keys():
        raise _refusal("an e-mail address, or a notification address such as scheme://…")
    try:
        AddressChannel(address, "address")
    except UnderlidError:
        raise _refusal("an e-mail address, or a notification address that is known") from None
    return scheme


def _browser_hint(address: str, outside: Outside) -> str:
    """Return what may be shown of a browser; it must not lead the service to its own network."""
    to = subscription_of(address)
    if not outside.leads_to(to.host, to.port):
        raise _refusal("a push service on the internet")
    return f"a browser, by {to.host[:HOST_MOST_CHARS]}"


def channel_to(address: str, settings: Settings, name: str, pushing: Pushing) -> Channel:
    """Return the channel to an address; one that says why not where there is none."""
    try:
        if MAIL.fullmatch(address):
            server = settings.smtp_url.get_secret_value()
            if not server:
                return _Closed(name, NO_SERVER)
            return _ByTurns(AddressChannel(mail_through(server, address), "address", name=name))
        if address.startswith(PUSH_SCHEME):
            return WebPush(name, subscription_of(address), pushing)
        return AddressChannel(address, "address", name=name)
    except Exception:  # one address that is wrong must not hold up those of others
        return _Closed(name, "the address is not known to this version")


def mail_through(server: str, recipient: str) -> str:
    """Return the mail server's address with one recipient in place of its own.

    >>> mail_through("mailtos://h:465/x@y.org?from=a@b.org&to=c@d.org,e@f.org&cc=g@h.org", "i@j.org")
    'mailtos://h:465/?from=a%40b.org&to=i%40j.org'
    """
    parts = urlsplit(server)
    query = parts.query.replace("+", "%2B").replace(";", "&")  # as the library reads them
    kept = [
        (key, value)
        for key, value in parse_qsl(query, keep_blank_values=True)
        if key.lower() not in ("to", "cc", "bcc")
    ]
    query = urlencode([*kept, ("to", recipient)], quote_via=quote)
    return urlunsplit((parts.scheme, parts.netloc, "/", query, ""))


class RouteChannels:
    """The channels to people's addresses, as the records have them; `look` before they are used."""

    def __init__(
        self, records: Records, settings: Settings, outside: Outside | None = None
    ) -> None:
        self._records = records
        self._settings = settings
        contact = settings.web_origin if settings.web_origin.startswith("https:") else NO_CONTACT
        self._pushing = Pushing(PushKeys(records), outside or Outside(), contact)
        self._addresses: dict[str, str] = {}
        self._looking = threading.Lock()
        self.channels: dict[str, Channel] = {}
        self.routes: dict[str, Route] = {}

    def look(self) -> None:
        """Take over what was added, changed and removed; each address has one channel for all threads."""
        with self._looking:
            addresses = {
                CHANNEL_PREFIX + route: address
                for route, address in self._records.route_addresses().items()
            }
            self.routes = {route.channel: route for route in self._records.routes()}
            self.channels = {
                name: self.channels[name]
                if self._addresses.get(name) == address
                else channel_to(address, self._settings, name, self._pushing)
                for name, address in addresses.items()
            }
            self._addresses = addresses


class _ByTurns:
    """An e-mail address: few messages at once, since all go through one mail server."""

    def __init__(self, channel: Channel) -> None:
        self.name = channel.name
        self._channel = channel

    def send(self, message: Message, now_ms: int) -> None:
        with _TURNS:
            self._channel.send(message, now_ms)


class _Closed:
    """A way that does not lead anywhere here."""

    def __init__(self, name: str, why: str) -> None:
        self.name = name
        self._why = why

    def send(self, message: Message, now_ms: int) -> None:  # noqa: ARG002  (as `Channel` says)
        raise ChannelError(self._why)


def _refusal(expected: str) -> UnderlidError:
    return UnderlidError(
        "address",
        value=Words("something else"),
        expected=expected,
        next_step="See the telling page for how addresses are written.",
    )
