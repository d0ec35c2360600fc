"""HTTPS to hosts on the internet, and to no other: for addresses that somebody's browser gives.

A name is looked up here, every address it has is checked, and one of those that were checked is
connected to: a name that changes in between leads nowhere else. Proxies are not used.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Callable
from typing import Final

from underlid.notify.channel import ChannelError

TIMEOUT_S: Final = 7.0
ADDRESSES_MOST: Final = 2
"""For each connection, TLS and the answer; two addresses of a host: together less than a stop waits."""

NAT64: Final = tuple(ipaddress.IPv6Network(net) for net in ("64:ff9b::/96", "64:ff9b:1::/48"))
"""RFC 6052, RFC 8215: an IPv4 address in the last 32 bits."""

UNICAST: Final = ipaddress.IPv6Network("2000::/3")
"""RFC 4291: the addresses of the internet; those outside it are for special uses, old ones among them."""

NOT_OUTSIDE: Final = "the host is not on the internet"


def is_outside(address: str) -> bool:
    """Tell whether an IP address is one of the internet, neither of this machine nor of its network.

    >>> [is_outside(one) for one in ("9.9.9.9", "127.0.0.1", "192.168.1.7", "100.64.0.1", "::1")]
    [True, False, False, False, False]
    >>> [is_outside(one) for one in ("2620:fe::fe", "::ffff:10.0.0.1", "64:ff9b::7f00:1", "fe80::1%eth0")]
    [True, False, False, False]
    >>> [is_outside(one) for one in ("::127.0.0.1", "::ffff:0:127.0.0.1", "fec0::1", "64:ff9b::9.9.9.9")]
    [False, False, False, True]
    """
    ip = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(ip, ipaddress.IPv6Address):
        within = ip.ipv4_mapped or ip.sixtofour
        if any(ip in net for net in NAT64):
            within = ipaddress.IPv4Address(int(ip) & 0xFFFF_FFFF)
        if within is None and ip not in UNICAST:
            return False
        ip = within or ip
    return ip.is_global and not ip.is_multicast


def tried(addresses: list[str]) -> list[str]:
    """Return which addresses of a host are tried: one of IPv4 among them, for IPv6 may lead nowhere.

    >>> tried(["2620:fe::fe", "2620:fe::9", "9.9.9.9"]), tried(["9.9.9.9", "9.9.9.10", "9.9.9.11"])
    (['2620:fe::fe', '9.9.9.9'], ['9.9.9.9', '9.9.9.10'])
    """
    first = addresses[:1]
    others = [one for one in addresses if first and (":" in one) != (":" in first[0])]
    return [*first, *(others or addresses[1:])][:ADDRESSES_MOST]


class Outside:
    """The way out. Tests give it a network of their own: which addresses count, whose certificates."""

    def __init__(
        self, counts: Callable[[str], bool] = is_outside, tls: ssl.SSLContext | None = None
    ) -> None:
        self._counts = counts
        self._tls = tls

    def leads_to(self, host: str, port: int) -> bool:
        """Tell whether a host is outside, or is not known at this moment."""
        try:
            return bool(self._addresses(host, port))
        except OSError:
            return True
        except ChannelError:
            return False

    def post(self, host: str, port: int, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        """Send a POST and return how it was answered; redirects are not followed."""
        if self._tls is None:
            self._tls = ssl.create_default_context()
        connection = _Connection(host, port, self._connect(host, port), self._tls)
        try:
            connection.request("POST", path, body, headers)
            with connection.getresponse() as response:
                return Answer(response.status, response.headers.get("Retry-After", ""))
        finally:
            connection.close()

    def _addresses(self, host: str, port: int) -> list[str]:
        """Return the addresses of a host; refuses it when one of them is not outside."""
        try:
            found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        except UnicodeError:  # no name of a host
            raise ChannelError(NOT_OUTSIDE) from None
        addresses = list(dict.fromkeys(str(one[4][0]) for one in found))
        if not all(self._counts(one) for one in addresses):
            raise ChannelError(NOT_OUTSIDE)
        return addresses

    def _connect(self, host: str, port: int) -> socket.socket:
        """Return a connection to the first of a host's addresses that answers."""
        why: OSError = ConnectionError("no address")
        for address in tried(self._addresses(host, port)):
            try:
                return socket.create_connection((address, port), TIMEOUT_S)
            except OSError as error:
                why = error
        raise why


class Answer:
    """What came back: the status, and after how long to come again as the header says it."""

    def __init__(self, status: int, retry_after: str) -> None:
        self.status = status
        self.retry_after = retry_after


class _Connection(http.client.HTTPSConnection):
    """A connection over a line that is open already."""

    def __init__(self, host: str, port: int, line: socket.socket, tls: ssl.SSLContext) -> None:
        super().__init__(host, port, timeout=TIMEOUT_S, context=tls)
        self._line = line
        self._checks = tls

    def connect(self) -> None:
        """Speak TLS on the line."""
        self.sock = self._checks.wrap_socket(self._line, server_hostname=self.host)

    def close(self) -> None:
        """Close the line, also where it came to no TLS."""
        super().close()
        self._line.close()
