"""Deliver the backlog: publish, wait for the acknowledgement, forget, and only then forget.

At Underlid's own door an acknowledgement (PUBACK) means "on disk". Behind another broker it
only means "the broker has it"; set CONFIRM in the settings and the probe waits for the service's
confirm message instead.
"""

import json

WINDOW = 10  # readings sent ahead of their acknowledgements
PATIENCE = 15  # seconds without any acknowledgement before the line counts as dead


def topic(settings, last):
    """Return one of this probe's topics."""
    return "underlid/v1/%s/%s/%s" % (settings.SHED, settings.PROBE, last)


def deliver(client, backlog, settings):
    """Publish everything that waits; OSError when the line breaks, what is left stays."""
    if settings.CONFIRM:
        client.subscribe(topic(settings, "confirm"))
    flying = {}
    sent = set()
    silent = 0
    while backlog.waiting:
        room = WINDOW - len(flying)
        for reading in backlog.oldest(WINDOW + len(sent)):
            number = reading["seq"]
            if number in sent or room <= 0:
                continue
            room -= 1
            sent.add(number)
            payload = json.dumps(reading).encode()
            flying[client.publish(topic(settings, "json"), payload)] = number
        before = len(backlog.waiting) + len(flying)
        client.listen()
        _take_answers(client, backlog, settings, flying)
        silent = silent + 1 if len(backlog.waiting) + len(flying) == before else 0
        if silent > PATIENCE:
            raise OSError(110, "no acknowledgement")


def _take_answers(client, backlog, settings, flying):
    while client.acked:
        number = flying.pop(client.acked.pop(), None)
        if number is not None and not settings.CONFIRM:
            backlog.done(number)
    while client.messages:
        name, payload = client.messages.pop(0)
        if name.endswith("/confirm"):
            for first, last in json.loads(payload)["ranges"]:
                for number in [n for n in backlog.waiting if first <= n <= last]:
                    backlog.done(number)
