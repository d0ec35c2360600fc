"""A set-up file is read whole or refused in a sentence, and written so that it reads back."""

from __future__ import annotations

from pathlib import Path

import pytest

from files.samples import SHED_TOML, setup
from underlid.binmodel.bins import BinKind, ProbePlace
from underlid.errors import UnderlidError
from underlid.files.setup import SETUP_MOST_BYTES, parse_setup, read_setup, setup_text


def test_a_file_becomes_a_set_up() -> None:
    found = setup()
    assert found.sheds["potting"].air_probe == "potting-air"
    assert found.bins["tansy"].kind is BinKind.FLOW_THROUGH_BAG
    assert found.bins["tansy"].limits == {"hot_warn_c": 26.0}
    assert found.probes["potting-air"] == ProbePlace("potting-air", "potting", None)
    place = found.probes["tansy-1"]
    assert (place.bin, place.soil_points) == ("tansy", ((0.40, 62.0), (0.62, 78.0)))
    assert place.calibrations[0].from_ms == 1_777_593_600_000


def test_what_is_written_reads_back_the_same() -> None:
    assert parse_setup(setup_text(setup()).encode()) == setup()


def test_names_with_quotes_and_controls_read_back_the_same() -> None:
    text = SHED_TOML.replace('"Tansy"', r'"Tan\"sy\u0001 \u007f é 🪱"')
    found = parse_setup(text.encode())
    assert parse_setup(setup_text(found).encode()) == found


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("x =", "TOML"),
        ('[shed.a]\nfoo = "1"', "key shed.a.foo"),
        ("[shed.A]", "an id of a-z"),
        ('[shed.a]\ntimezone = "Mars"', "time zone"),
        ('[bin.b]\nname = "B"', "bin.b.shed"),
        ('[bin.b]\nshed = "a"', "the id of a [shed"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nkind = "pot"', "'tray-stack'"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nspecies = []', "bin.b.species"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nherd_kg = nan', "bin.b.herd_kg"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nbed_kg = -1', "bin.b.bed_kg"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nbedding = "melon"', "one of the beddings"),
        ('[shed.a]\n[bin.b]\nshed = "a"\nlimits = {too_hot = 3}', "limits out of"),
        (
            '[shed.a]\n[bin.b]\nshed = "a"\n[[bin.b.probe]]\nid = "p"\n[[bin.b.probe]]\nid = "p"',
            "'p'",
        ),
        (
            '[shed.a]\n[bin.b]\nshed = "a"\n[[bin.b.probe]]\nid = "p"\n[[bin.b.probe.calibration]]\n'
            'channel = "bed_temp_c"\nfrom = 2026-05-01T00:00:00',
            "timezone",
        ),
    ],
)
def test_a_wrong_file_is_refused_by_what_is_wrong(text: str, says: str) -> None:
    with pytest.raises(UnderlidError) as refused:
        parse_setup(text.encode(), "shed.toml")
    assert says in str(refused.value)
    assert "shed.toml" in str(refused.value)


def test_hostile_bytes_are_refused() -> None:
    for data in (b"\xff\xfe", b"a = " + b"[" * 100_000, b"#" * (SETUP_MOST_BYTES + 1)):
        with pytest.raises(UnderlidError):
            parse_setup(data)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnderlidError, match="No such file"):
        read_setup(tmp_path / "none.toml")
