"""An afternoon at Tansy, as records: two alerts, a spell, a state and a feed."""

from __future__ import annotations

from underlid.alerts.alert import Alert, AlertState, Message, Spell, Transition, TransitionKind
from underlid.journal.entries import Entry, Feed, Portion
from underlid.rules.finding import Advice, Condition, Priority
from underlid.timeline import DAY_MS, HOUR_MS, rfc3339
from web.places import NOW_MS, Place

FEED = Entry(
    "feed1",
    "tansy",
    NOW_MS - 70 * HOUR_MS,
    NOW_MS - 70 * HOUR_MS,
    Feed(
        (Portion("melon", 1500.0), Portion("bread", 300.0)), 250.0, (Portion("newspaper", 300.0),)
    ),
    "Ash",
)

WET_LID = Alert(
    id="tansy-condensation-1",
    bin="tansy",
    shed="potting",
    condition=Condition.CONDENSATION,
    subject="",
    state=AlertState.ACTIVE,
    priority=Priority.HIGH,
    since_ms=NOW_MS - 20 * HOUR_MS,
    state_at_ms=NOW_MS - 19 * HOUR_MS,
    raised_at_ms=NOW_MS - 19 * HOUR_MS,
    certainty=0.7,
    grade="lid_estimate",
    evidence={"lid_margin_k": -0.8, "lid_film_g_m2": 86.0, "headspace_rh_pct": 98.4},
    advice=(
        Advice(
            "add_bedding",
            "Spread 350 g of shredded newspaper over the feed.",
            amount_g=350.0,
            working="Feed 1.8 kg at 87 % water, bed 22 kg at 76 %; aims at 75 %. Handbook mixing.",
        ),
        Advice("vent", "Prop the lid open by a finger for a day.", days=1.0),
    ),
    text="Water is gathering under Tansy's lid: spread 350 g of shredded newspaper over the feed.",
)

HOT = Alert(
    id="tansy-overheating-1",
    bin="tansy",
    shed="potting",
    condition=Condition.OVERHEATING,
    subject="",
    state=AlertState.ACTIVE,
    priority=Priority.MEDIUM,
    since_ms=NOW_MS - 3 * HOUR_MS,
    state_at_ms=NOW_MS - 2 * HOUR_MS,
    raised_at_ms=NOW_MS - 2 * HOUR_MS,
    cause="feed",
    certainty=0.95,
    evidence={"bed_temp_c": 25.1, "self_heat_k": 5.4},
    advice=(Advice("wait", "Do not feed for 4 days.", days=4.0),),
    text="Tansy's bed is warming from the last feed: do not feed for 4 days.",
)

STATE: dict[str, object] = {
    "bin": "tansy",
    "shed": "potting",
    "name": "Tansy",
    "judged_at": rfc3339(NOW_MS),
    "now": {
        "bed_temp_c": 24.9,
        "headspace_temp_c": 20.1,
        "headspace_rh_pct": 98.4,
        "lid_temp_c": 18.9,
        "shed_temp_c": 14.6,
        "dew_point_c": 19.7,
        "lid_margin_k": -0.8,
        "lid_film_g_m2": 86.0,
        "self_heat_k": 5.4,
        "moisture_pct": 74.0,
    },
    "film_band": "drops",
    "feed": {
        "at": rfc3339(FEED.at_ms),
        "ingredients": "melon, bread",
        "mass_g": 1550.0,
        "age_h": 70.0,
    },
    "feeding": {
        "uneaten_g": 930,
        "uneaten_most_g": 1210,
        "eaten_g_d": 215,
        "next_feed_due": rfc3339(NOW_MS + 4 * DAY_MS),
        "next_feed_most_g": 510.0,
        "text": "Feed at most about 510 g, enough for 4 days.",
        "working": "215 g a day × 4.0 days × a half, the herd is settling in.",
    },
    "unsettled": {
        "why": "moved",
        "since": rfc3339(NOW_MS - DAY_MS),
        "until": rfc3339(NOW_MS + 4 * DAY_MS),
    },
    "verdicts": [
        {
            "condition": "condensation",
            "verdict": "holds",
            "reason": "the lid is colder than the dew point under it",
            "certainty": 0.7,
            "evidence": {"lid_margin_k": -0.8, "lid_film_g_m2": 86.0},
        },
        {
            "condition": "drying_out",
            "verdict": "clear",
            "reason": "",
            "certainty": 0.9,
            "evidence": {"moisture_pct": 74.0},
        },
        {
            "condition": "sour",
            "verdict": "unknown",
            "reason": "no squeeze or smell noted lately",
            "certainty": 0.0,
            "evidence": {},
        },
    ],
    "alerts": [],
}


def tell(place: Place) -> None:
    """Put the afternoon into the records of *place*."""
    place.records.add_entry(FEED)
    place.judge.states["tansy"] = STATE
    spell = Spell(
        "tansy", Condition.CONDENSATION, NOW_MS - 60 * HOUR_MS, NOW_MS - 41 * HOUR_MS, peak=92.0
    )
    raised = [
        Transition(
            TransitionKind.ALERT_RAISED,
            alert.raised_at_ms or 0,
            "tansy",
            alert.condition,
            "",
            alert,
        )
        for alert in (WET_LID, HOT)
    ]
    ended = Transition(
        TransitionKind.SPELL_ENDED,
        NOW_MS - 41 * HOUR_MS,
        "tansy",
        Condition.CONDENSATION,
        "",
        None,
        spell,
    )
    message = Message(
        "m1",
        WET_LID.id,
        "tansy",
        "potting",
        NOW_MS,
        Priority.HIGH,
        "Tansy",
        WET_LID.text,
        TransitionKind.ALERT_RAISED,
    )
    place.records.save_judgement([WET_LID, HOT], [ended, *raised], [message], ["mail"])
