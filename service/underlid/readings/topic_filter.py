"""MQTT topic filters: which are well formed, which topics they match, which of them overlap.

The standard's wildcards: `+` stands for one level, `#` for the rest and only at the end (MQTT 3.1.1
and 5.0, section 4.7). What is read from a matching topic is in `mapping.py`.
"""

from __future__ import annotations

import re
from itertools import zip_longest
from typing import Final

_NON_CHARACTERS: Final = "".join(
    chr(plane << 16 | last) for plane in range(17) for last in (0xFFFE, 0xFFFF)
)
_CLOSES_LINES: Final = re.compile(
    f"[\\0-\\x1f\\x7f-\\x9f\\ud800-\\udfff\\ufdd0-\\ufdef{_NON_CHARACTERS}]"
)
"""Control characters, halves of characters and non-characters: a broker may close the line of whoever
sends one (MQTT 3.1.1 and 5.0, section 1.5), and with it all else that was asked for."""


def is_filter(text: str) -> bool:
    """Tell whether *text* is a topic filter of the standard (MQTT-4.7.1-1, -2, 4.7.3-1).

    Texts that a broker may close the line for are none.

    >>> is_filter("allotment/+/env"), is_filter("allotment/#/env"), is_filter("a+")
    (True, False, False)
    """
    if _CLOSES_LINES.search(text):
        return False
    levels = text.split("/")
    whole = all(level in ("+", "#") or not set(level) & {"+", "#"} for level in levels)
    return bool(text) and whole and "#" not in levels[:-1]


def matches(topic_filter: str, topic: str) -> bool:
    """Tell whether a topic without wildcards is one of those that *topic_filter* asks for.

    A filter that begins with a wildcard matches no topic that begins with `$` (MQTT-4.7.2-1).

    >>> matches("allotment/#", "allotment"), matches("+/env", "$SYS/env")
    (True, False)
    """
    if topic.startswith("$") and topic_filter[:1] in ("+", "#"):
        return False
    return overlap(topic_filter, topic)


def overlap(one: str, other: str) -> bool:
    """Tell whether there can be a topic that both filters match.

    >>> overlap("allotment/+/env", "+/3/#"), overlap("allotment/env", "allotment/+/env")
    (True, False)
    """
    for mine, theirs in zip_longest(one.split("/"), other.split("/")):
        if "#" in (mine, theirs):
            return True
        if mine is None or theirs is None:
            return False
        if mine != theirs and "+" not in (mine, theirs):
            return False
    return True
