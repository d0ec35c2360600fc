"""MQTT 3.1.1 for a probe: connect, publish with QoS 1, subscribe, nothing else.

Runs on MicroPython boards and on a computer's Python. It never blocks longer than the time-out
it was given and keeps no messages: `backlog.py` does, until they are acknowledged.
"""

import socket

NOTHING_CAME = (None, 11, 110, 116)
# errno of a time-out: a computer's Python says None or 11, MicroPython 110 (unix) or 116 (ESP32)


class RefusedError(Exception):
    """The other side does not let us in; `code` is the CONNACK's: 4 and 5 mean wrong secret."""

    def __init__(self, code):
        super().__init__("refused with code %d" % code)
        self.code = code


def text(value):
    """Return a text field: two bytes of length and the text."""
    data = value if isinstance(value, bytes) else value.encode()
    return len(data).to_bytes(2, "big") + data


def packet(first, body):
    """Return a packet: its first byte, the length of the body, the body."""
    head = bytearray((first,))
    left = len(body)
    while True:
        low = left & 0x7F
        left >>= 7
        head.append(low | 0x80 if left else low)
        if not left:
            return bytes(head) + body


def cut(data):
    """Return the first packet in *data* and how many bytes it takes, or None for too few."""
    length = 0
    for at in range(1, 5):
        if len(data) <= at:
            return None
        length |= (data[at] & 0x7F) << (7 * (at - 1))
        if data[at] < 0x80:
            end = at + 1 + length
            return (data[0], data[at + 1 : end], end) if len(data) >= end else None
    raise OSError("not MQTT")


class Client:
    """One connection. `acked` gathers the ids that were acknowledged, `messages` what came."""

    def __init__(self, client_id, user, secret, will_topic=None, keep_alive_s=60):
        self.client_id = client_id
        self.user = user
        self.secret = secret
        self.will_topic = will_topic
        self.keep_alive_s = keep_alive_s
        self.acked = []
        self.messages = []
        self.sock = None
        self.rest = b""
        self.last_id = 0

    def connect(self, host, port, wrap=None, within_s=10):
        """Connect; *wrap* makes a TLS socket of a plain one. OSError or RefusedError if not."""
        address = socket.getaddrinfo(host, port, 0, socket.SOCK_STREAM)[0][-1]
        sock = socket.socket()
        sock.settimeout(within_s)
        try:
            sock.connect(address)
            self.sock = wrap(sock) if wrap else sock
            self.rest = b""
            self._write(self._connect_packet())
            first, body = self._next()
            if first != 0x20 or len(body) != 2:
                raise OSError("no CONNACK")
            if body[1]:
                raise RefusedError(body[1])
        except Exception:
            self.sock = None
            sock.close()
            raise
        sock.settimeout(1)

    def publish(self, topic, payload, retain=False):
        """Send with QoS 1 and return the id that its acknowledgement will bear."""
        self.last_id = self.last_id % 65535 + 1
        body = text(topic) + self.last_id.to_bytes(2, "big") + payload
        self._write(packet(0x33 if retain else 0x32, body))
        return self.last_id

    def subscribe(self, topic_filter):
        """Ask for messages; they come to `messages` as (topic, payload)."""
        self.last_id = self.last_id % 65535 + 1
        self._write(packet(0x82, self.last_id.to_bytes(2, "big") + text(topic_filter) + b"\x00"))

    def ping(self):
        """Show that we are alive; needed when nothing is published within the keep-alive time."""
        self._write(b"\xc0\x00")

    def listen(self):
        """Take what comes within the time-out of the socket (1 s); OSError when the line is gone."""
        try:
            self._read()
        except OSError as error:
            if error.errno not in NOTHING_CAME:
                raise
        while True:
            found = cut(self.rest)
            if found is None:
                return
            first, body, used = found
            self.rest = self.rest[used:]
            if first == 0x40:
                self.acked.append(body[0] << 8 | body[1])
            elif first & 0xF0 == 0x30:
                end = 2 + (body[0] << 8 | body[1])
                start = end if first & 0x06 == 0 else end + 2
                self.messages.append((body[2:end].decode(), body[start:]))

    def close(self, politely=True):
        """Leave. Politely: the will is not published."""
        sock, self.sock = self.sock, None
        if sock is None:
            return
        try:
            if politely:
                self.sock = sock
                self._write(b"\xe0\x00")
        except OSError:
            pass
        self.sock = None
        sock.close()

    def _connect_packet(self):
        flags = 0xC2
        will = b""
        if self.will_topic:
            flags |= 0x2C  # will, QoS 1, retained
            will = text(self.will_topic) + text(b"offline")
        body = text("MQTT") + bytes((4, flags)) + self.keep_alive_s.to_bytes(2, "big")
        body += text(self.client_id) + will + text(self.user) + text(self.secret)
        return packet(0x10, body)

    def _next(self):
        while True:
            found = cut(self.rest)
            if found is not None:
                self.rest = self.rest[found[2] :]
                return found[0], found[1]
            self._read()

    def _read(self):
        sock = self.sock
        data = sock.recv(512) if hasattr(sock, "recv") else sock.read(512)
        if not data:
            raise OSError(104, "the other side has closed")
        self.rest += data

    def _write(self, data):
        if hasattr(self.sock, "sendall"):
            self.sock.sendall(data)
        else:
            self.sock.write(data)
