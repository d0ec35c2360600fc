"""Readings that are not yet known to be stored: numbered, kept over a restart, bounded.

A number is never used twice, also not after a restart: numbers are reserved in blocks, so that
the flash is written once in `BLOCK` readings and a restart skips a few numbers instead of
repeating some. Readings are in memory; `save` writes them to flash, which is done when they
could not be delivered, not after every reading.
"""

import json
import os

BLOCK = 100  # numbers reserved by one write to flash
MOST = 500  # readings kept; the oldest go when there are more (3 days at one in ten minutes)


class Backlog:
    """Waiting readings by number, in the order in which they were taken."""

    def __init__(self, folder="."):
        self.waiting = {}
        self._numbers_file = folder + "/numbers.txt"
        self._readings_file = folder + "/waiting.json"
        self._saved = False
        self._next = self._reserved = int(_read(self._numbers_file) or "1")
        try:
            for item in json.loads(_read(self._readings_file) or "[]"):
                self.waiting[item["seq"]] = item
                self._saved = True
        except ValueError:
            pass  # half a file after a power cut: those readings are lost, the numbers are not

    def add(self, reading):
        """Number *reading* (a dict of channels) and keep it; return its number."""
        if self._next >= self._reserved:
            self._reserved = self._next + BLOCK
            _write(self._numbers_file, str(self._reserved))
        number = self._next
        self._next += 1
        reading["seq"] = number
        self.waiting[number] = reading
        while len(self.waiting) > MOST:
            del self.waiting[min(self.waiting)]
        return number

    def done(self, number):
        """Forget a reading that is on the service's disk."""
        self.waiting.pop(number, None)

    def oldest(self, most):
        """Return up to *most* waiting readings, the oldest first."""
        return [self.waiting[number] for number in sorted(self.waiting)[:most]]

    def save(self):
        """Write what waits to flash; nothing to write when nothing waits and nothing did."""
        if self.waiting or self._saved:
            _write(self._readings_file, json.dumps(self.oldest(MOST)))
            self._saved = bool(self.waiting)


def _read(path):
    try:
        with open(path) as file:
            return file.read()
    except OSError:
        return ""


def _write(path, content):
    with open(path + ".new", "w") as file:
        file.write(content)
    os.rename(path + ".new", path)
