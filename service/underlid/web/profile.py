"""The bin profile: a bin cut open from lid to base, drawn on the server as SVG.

Every kind of bin has its own outline; the layers inside are the same: lid with its film, headspace
with its humidity, bedding, feed, bed filled as high as it is moist, base. Colours come from the
style sheet by class; the picture carries its content in words as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from markupsafe import Markup, escape

from underlid.binmodel.bins import Bin, BinKind
from underlid.journal.units import Units, mass_text
from underlid.web.wording import FILM, channel_value

WIDTH: Final = 280
HEIGHT: Final = 250
LEFT: Final = 14
RIGHT: Final = 176
LABEL_X: Final = 190
LID_Y: Final = 26
BEDDING_Y: Final = 78
FEED_Y: Final = 94
BED_Y: Final = 112
BASE_Y: Final = 222

DROPS: Final = {"dry": 0, "mist": 0, "drops": 7, "runs": 9, "drips": 11}
DROP_LENGTH: Final = {"drops": 4.0, "runs": 9.0, "drips": 13.0}
DRY_PCT: Final = 40.0
WET_PCT: Final = 95.0
"""Moisture at which the fill stands at the bottom and at the top of the bed (picture only)."""

OUTLINES: Final = {
    BinKind.FLOW_THROUGH_BAG: f"M{LEFT} {LID_Y}H{RIGHT}L{RIGHT - 4} 176Q{RIGHT - 10} 204 120 {BASE_Y}"
    f"H70Q{LEFT + 10} 204 {LEFT + 4} 176Z",
    BinKind.TRAY_STACK: f"M{LEFT} {LID_Y}H{RIGHT}V{BASE_Y}H{LEFT}Z",
    BinKind.WOODEN_BOX: f"M{LEFT} {LID_Y}H{RIGHT}V{BASE_Y}H{LEFT}Z",
    BinKind.PLASTIC_TOTE: f"M{LEFT} {LID_Y}H{RIGHT}L{RIGHT - 10} {BASE_Y - 6}"
    f"Q{RIGHT - 11} {BASE_Y} {RIGHT - 18} {BASE_Y}H{LEFT + 18}"
    f"Q{LEFT + 11} {BASE_Y} {LEFT + 10} {BASE_Y - 6}Z",
    BinKind.TROUGH: f"M{LEFT} {LID_Y}H{RIGHT}V200Q{RIGHT} {BASE_Y} {RIGHT - 22} {BASE_Y}"
    f"H{LEFT + 22}Q{LEFT} {BASE_Y} {LEFT} 200Z",
}


def profile_svg(
    one: Bin,
    name: str,
    now: Mapping[str, float | None],
    film_band: str,
    feed: Mapping[str, Any] | None,
    units: Units,
    held: frozenset[str] = frozenset(),
) -> Markup:
    """Return the picture of bin *one*; *held* are channels that are not believed."""
    clip = f"inside-{one.id}"
    outline = OUTLINES[one.kind]
    parts = [
        f'<svg class="profile" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(_words(name, now, film_band, feed, units))}">',
        f'<clipPath id="{clip}"><path d="{outline}"/></clipPath>',
        f'<g clip-path="url(#{clip})">',
        _layers(now, feed),
        "</g>",
        f'<path class="p-wall" d="{outline}"/>',
        _build(one.kind),
        _lid(film_band),
        _worms(),
        _labels(now, film_band, units, held),
        "</svg>",
    ]
    return Markup("".join(parts))


def _words(
    name: str,
    now: Mapping[str, float | None],
    film_band: str,
    feed: Mapping[str, Any] | None,
    units: Units,
) -> str:
    """Return the picture in words."""
    said = [f"{name} cut open"]
    said.append(FILM.get(film_band, "lid not known"))
    for channel, word in (
        ("headspace_temp_c", "headspace"),
        ("headspace_rh_pct", "its humidity"),
        ("bed_temp_c", "bed"),
        ("moisture_pct", "bed moisture"),
        ("shed_temp_c", "shed air"),
    ):
        if now.get(channel) is not None:
            said.append(f"{word} {channel_value(now[channel], channel, units)}")
    if feed and isinstance(feed.get("mass_g"), int | float):
        said.append(f"last feed {mass_text(float(feed['mass_g']), units)}")
    return ", ".join(said)


def _layers(now: Mapping[str, float | None], feed: Mapping[str, Any] | None) -> str:
    """Return headspace, bedding, feed, bed and its moisture."""
    wide = RIGHT - LEFT
    thick = _feed_thickness(feed)
    bed_y = BED_Y if thick else FEED_Y
    drawn = [
        f'<rect class="p-air" x="{LEFT}" y="{LID_Y}" width="{wide}" height="{BEDDING_Y - LID_Y}"/>',
        f'<rect class="p-bedding" x="{LEFT}" y="{BEDDING_Y}" width="{wide}" '
        f'height="{bed_y - thick - BEDDING_Y:.1f}"/>',
        _shreds(),
        f'<rect class="p-bed" x="{LEFT}" y="{bed_y}" width="{wide}" height="{BASE_Y - bed_y}"/>',
    ]
    if thick:
        top = BED_Y - thick
        drawn.append(
            f'<rect class="p-feed" x="{LEFT}" y="{top:.1f}" width="{wide}" height="{thick:.1f}"/>'
        )
        drawn += [
            f'<circle class="p-scrap" cx="{LEFT + 12 + 17 * n}" '
            f'cy="{BED_Y - thick * (0.3 + 0.4 * (n % 2)):.1f}" '
            f'r="{2.2 + n % 3 * 0.7:.1f}"/>'
            for n in range(9)
        ]
    moisture = now.get("moisture_pct")
    if moisture is not None:
        share = min(1.0, max(0.0, (moisture - DRY_PCT) / (WET_PCT - DRY_PCT)))
        top = BASE_Y - share * (BASE_Y - bed_y)
        drawn.append(
            f'<path class="p-wet" d="M{LEFT} {top:.1f}q20 -5 40.5 0t40.5 0t40.5 0t40.5 0'
            f'V{BASE_Y}H{LEFT}Z"/>'
        )
    return "".join(drawn)


def _feed_thickness(feed: Mapping[str, Any] | None) -> float:
    """Return how thick the feed layer is drawn: by its mass, thinning over ten days."""
    if not feed or not isinstance(feed.get("mass_g"), int | float):
        return 0.0
    age_h = float(feed.get("age_h") or 0.0)
    left = max(0.0, 1.0 - age_h / 240.0)
    return min(18.0, 5.0 + float(feed["mass_g"]) / 150.0) * left


def _shreds() -> str:
    """Return strokes that make the bedding look like shredded paper."""
    return "".join(
        f'<path class="p-shred" d="M{LEFT + 4 + 13 * n} {BEDDING_Y + 4 + n % 3 * 4}l9 {-3 + n % 2 * 5}"/>'
        for n in range(12)
    )


def _worms() -> str:
    """Return a few worms in the bed."""
    places = ((44, 140), (112, 152), (70, 178), (128, 192), (92, 128))
    return "".join(f'<path class="p-worm" d="M{x} {y}q5 -7 10 0t10 0t8 -2"/>' for x, y in places)


def _build(kind: BinKind) -> str:
    """Return what tells one kind of bin from another."""
    if kind is BinKind.TRAY_STACK:
        return "".join(
            f'<path class="p-wall" d="M{LEFT - 4} {y}H{RIGHT + 4}"/>'
            for y in (BED_Y + 36, BED_Y + 74)
        )
    if kind is BinKind.WOODEN_BOX:
        return "".join(
            f'<path class="p-slat" d="M{LEFT} {y}h7M{RIGHT - 7} {y}h7"/>'
            for y in range(LID_Y + 24, BASE_Y, 26)
        )
    if kind is BinKind.PLASTIC_TOTE:
        return f'<path class="p-wall" d="M{RIGHT - 12} {BASE_Y - 12}h12v7"/>'
    if kind is BinKind.FLOW_THROUGH_BAG:
        return (
            f'<path class="p-wall" d="M70 {BASE_Y}l7 9h36l7 -9M{LEFT} {LID_Y}V{HEIGHT - 8}'
            f'M{RIGHT} {LID_Y}V{HEIGHT - 8}"/>'
        )
    return f'<path class="p-wall" d="M{LEFT + 26} {BASE_Y}v10h18v-10M{RIGHT - 44} {BASE_Y}v10h18v-10"/>'


def _lid(film_band: str) -> str:
    """Return the lid with what hangs on its inside."""
    drawn = [
        f'<rect class="p-lid" x="{LEFT - 6}" y="{LID_Y - 10}" width="{RIGHT - LEFT + 12}" '
        'height="10" rx="3"/>'
    ]
    if film_band in FILM and film_band != "dry":
        drawn.append(f'<path class="p-mist" d="M{LEFT + 3} {LID_Y + 1.5}H{RIGHT - 3}"/>')
    count = DROPS.get(film_band, 0)
    for n in range(count):
        x = LEFT + (n + 0.5) * (RIGHT - LEFT) / count
        long = DROP_LENGTH[film_band] * (0.7 + 0.3 * (n % 3) / 2)
        drawn.append(_drop(x, LID_Y + 2, long))
        if film_band == "drips" and n % 4 == 1:
            drawn.append(_drop(x, LID_Y + 26, 5.0))
    return "".join(drawn)


def _drop(x: float, y: float, long: float) -> str:
    """Return one drop hanging from (x, y)."""
    return (
        f'<path class="p-drop" d="M{x:.1f} {y:.1f}q-3 {long:.1f} 0 {long + 2:.1f}'
        f'q3 -2 0 {-long - 2:.1f}"/>'
    )


def _labels(
    now: Mapping[str, float | None], film_band: str, units: Units, held: frozenset[str]
) -> str:
    """Return the numbers beside the layers they belong to; one that is not believed stays away."""
    rows = (
        (10, "shed air", ("shed_temp_c",)),
        (LID_Y + 18, FILM.get(film_band, "lid not known"), ("lid_temp_c",)),
        (LID_Y + 54, "headspace", ("headspace_temp_c", "headspace_rh_pct")),
        (BED_Y + 36, "bed", ("bed_temp_c",)),
        (BED_Y + 74, "moisture", ("moisture_pct",)),
    )
    drawn = []
    for y, word, channels in rows:
        drawn.append(f'<text class="p-word" x="{LABEL_X}" y="{y}">{escape(word)}</text>')
        for n, channel in enumerate(channels):
            where = f'x="{LABEL_X}" y="{y + 15 + 15 * n}"'
            if channel in held:
                drawn.append(f'<text class="p-word" {where}>not believed</text>')
                continue
            value = escape(channel_value(now.get(channel), channel, units))
            drawn.append(f'<text class="p-value" {where} data-now="{channel}">{value}</text>')
    return "".join(drawn)
