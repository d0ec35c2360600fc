"""Every way in which a connection at the door ends, and what follows from each."""

from __future__ import annotations

from enum import Enum

from underlid.mqtt.packets import Reason


class Ending(Enum):
    """Label for the counts, reason code told to an MQTT 5 client, whether the will goes out.

    No reason code: no DISCONNECT is sent.
    """

    LEFT = ("left", None, False)
    LEFT_WITH_WILL = ("left_with_will", None, True)
    LOST = ("lost", None, True)
    CONNECT_REFUSED = ("connect_refused", None, False)
    NO_CONNECT = ("no_connect", None, False)
    SILENT = ("silent", Reason.KEEP_ALIVE_TIMEOUT, True)
    TAKEN_OVER = ("taken_over", Reason.SESSION_TAKEN_OVER, True)
    MALFORMED = ("malformed", Reason.MALFORMED_PACKET, True)
    PROTOCOL_ERROR = ("protocol_error", Reason.PROTOCOL_ERROR, True)
    NOT_AUTHORISED = ("not_authorised", Reason.NOT_AUTHORISED, True)
    QOS_2 = ("qos_2", Reason.QOS_NOT_SUPPORTED, True)
    TOO_MANY_IN_FLIGHT = ("too_many_in_flight", Reason.RECEIVE_MAXIMUM_EXCEEDED, True)
    NOT_STORED = ("not_stored", Reason.QUOTA_EXCEEDED, True)
    SLOW_READER = ("slow_reader", Reason.QUOTA_EXCEEDED, True)
    SECRET_CHANGED = ("secret_changed", Reason.NOT_AUTHORISED, True)
    STOPPED = ("stopped", Reason.SERVER_SHUTTING_DOWN, False)

    def __init__(self, label: str, reason: Reason | None, publishes_will: bool) -> None:
        self.label = label
        self.reason = reason
        self.publishes_will = publishes_will
