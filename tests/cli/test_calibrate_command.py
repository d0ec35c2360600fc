"""`underlid probes calibrate` and its companions, on a real data folder."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from underlid.cli import underlid

SETUP = """
[shed.potting]
[bin.tansy]
shed = "potting"
[[bin.tansy.probe]]
id = "tansy-1"
"""


def test_a_probe_is_calibrated_by_what_it_read(tmp_path: Path) -> None:
    (tmp_path / "shed.toml").write_text(SETUP, "utf-8")
    data = tmp_path / "data"
    setup = ["import", "setup", str(tmp_path / "shed.toml"), "--data", str(data)]
    assert CliRunner().invoke(underlid, setup).exit_code == 0

    def run(*words: str, code: int = 0) -> str:
        done = CliRunner().invoke(underlid, ["probes", *words, "--data", str(data)])
        assert done.exit_code == code, done.output
        return done.output

    assert "tansy-1 is now 1 · raw + -0.4" in run(
        "calibrate", "tansy-1", "bed_temp_c", "--ice", "0.4"
    )
    run("calibrate", "tansy-1", "headspace_rh_pct", "--salt", "NaCl", "73", "--salt", "KCl", "81")
    run("sample", "tansy-1", "70", "--index", "0.48")
    found = json.loads(run("calibrations", "tansy-1", "--json"))
    assert [one["channel"] for one in found["calibrations"]] == ["bed_temp_c", "headspace_rh_pct"]
    assert "weighed sample" in run("calibrations", "tansy-1")
    run("uncalibrate", "tansy-1", found["calibrations"][0]["mark"])
    assert len(json.loads(run("calibrations", "tansy-1", "--json"))["calibrations"]) == 1
    run("uncalibrate", "tansy-1", "none", code=1)
    run("calibrate", "none", "bed_temp_c", "--ice", "0.4", code=1)
    run("calibrate", "tansy-1", "bed_temp_c", "--ice", "nan", code=1)
    run("calibrate", "tansy-1", "bed_temp_c", "--reference", "20", "nan", code=1)
    run("sample", "tansy-1", "70", code=2)
