"""The systemd units: well-formed, tight, and the service and its backup work under what they restrict."""

from __future__ import annotations

import contextlib
import json
import os
import re
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.publish as publish
import pytest

from deploy import guarded
from deploy.outside import stop
from deploy.units import FOLDER, allowed_calls, command, families, lines, only, placed
from programs import free_port, require
from waiting import WAIT_S, wait_until

SERVICE, BACKUP = "underlid.service", "underlid-backup.service"
PROGRAM = str(Path(sys.executable).with_name("underlid"))
EXPOSURE_MOST = {SERVICE: 15, BACKUP: 8}
"""In tenths, of the 100 that systemd-analyze gives to a service without any restriction."""

LONG_AGO_S = 1_600_000_000


@dataclass
class Guarded:
    """The service as the unit starts it."""

    folder: Path
    web: str
    door_port: int
    log: Path
    pid: int


def start(given: list[str], environment: dict[str, str], log: Path) -> subprocess.Popen[bytes]:
    """Start *given* under the restrictions of the unit."""
    asked = {
        "calls": allowed_calls(SERVICE),
        "families": families(SERVICE),
        "files": int(only(SERVICE, "LimitNOFILE")),
    }
    words = [sys.executable, guarded.__file__, json.dumps(asked), *given]
    with log.open("wb") as out:
        return subprocess.Popen(words, env=environment, stdout=out, stderr=out, cwd=log.parent)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Guarded]:
    require("systemd-analyze")
    home = tmp_path_factory.mktemp("unit")
    web, door = free_port(), free_port()
    environment = {"PATH": os.environ["PATH"], "UNDERLID_DATA": str(home / "data")}
    environment |= {"UNDERLID_WEB_PORT": str(web), "UNDERLID_DOOR_PORT": str(door)}
    environment |= {"UNDERLID_DOOR_HOST": "127.0.0.1"}
    swaps = {"/opt/underlid/bin/underlid": PROGRAM}
    process = start(command(SERVICE, "ExecStart", swaps), environment, home / "log")
    try:
        made = Guarded(home / "data", f"http://127.0.0.1:{web}", door, home / "log", process.pid)
        wait_until(lambda: process.poll() is not None or healthy(made))
        assert process.poll() is None, made.log.read_text()[-3000:]
        yield made
    finally:
        stop(process)


def healthy(service: Guarded) -> bool:
    if "Probes:" not in service.log.read_text():
        return False
    with contextlib.suppress(OSError), urllib.request.urlopen(service.web + "/healthz") as answer:
        return bool(answer.status == 200)
    return False


def test_systemd_understands_the_units(tmp_path: Path) -> None:
    units = placed(tmp_path, {"/opt/underlid/bin/underlid": PROGRAM})
    done = subprocess.run(
        [require("systemd-analyze"), "verify", *map(str, units)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_the_timer_comes_once_a_night() -> None:
    when = only("underlid-backup.timer", "OnCalendar")
    words = [require("systemd-analyze"), "calendar", "--iterations=2", when]
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert said.count("03:40:00") >= 2


@pytest.mark.parametrize("name", EXPOSURE_MOST)
def test_systemd_finds_little_exposed(name: str) -> None:
    most = f"--threshold={EXPOSURE_MOST[name]}"
    done = subprocess.run(
        [require("systemd-analyze"), "security", "--offline=yes", most, str(FOLDER / name)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-200:]


def test_both_units_are_the_same_user_with_the_same_data() -> None:
    for key in ("User", "DynamicUser", "Environment"):
        assert only(SERVICE, key).split()[0] == only(BACKUP, key).split()[0]
    assert only(SERVICE, "StateDirectory") in only(BACKUP, "StateDirectory").split()


def test_a_reading_comes_in_under_the_restrictions(service: Guarded) -> None:
    password = next(
        line.rpartition(" ")[2]
        for line in service.log.read_text().splitlines()
        if line.startswith("Probes:")
    )
    publish.single(
        "underlid/v1/potting/tansy-1/json",
        b'{"bed_temp_c": 22.4}',
        qos=1,
        hostname="127.0.0.1",
        port=service.door_port,
        auth={"username": "probes", "password": password},
    )
    with urllib.request.urlopen(service.web + "/metrics") as answer:
        assert b"underlid" in answer.read()
    status = Path(f"/proc/{service.pid}/status").read_text()
    assert re.search(r"^NoNewPrivs:\s1$", status, re.M)
    assert re.search(r"^Seccomp:\s2$", status, re.M)
    log = service.log.read_text()
    assert "Traceback" not in log
    assert "not permitted" not in log


def test_the_backup_unit_writes_removes_old_ones_and_can_be_restored(
    service: Guarded, tmp_path: Path
) -> None:
    swaps = {
        "/opt/underlid/bin/underlid": PROGRAM,
        "/var/lib/underlid-backups": str(tmp_path),
    }
    old = [tmp_path / "underlid-2020-01-01.zip", tmp_path / "something-else.zip"]
    for path in old:
        path.touch()
        os.utime(path, (LONG_AGO_S, LONG_AGO_S))
    environment = {"PATH": os.environ["PATH"], "UNDERLID_DATA": str(service.folder)}
    process = start(command(BACKUP, "ExecStart", swaps), environment, tmp_path / "log")
    assert process.wait(WAIT_S) == 0, (tmp_path / "log").read_text()
    subprocess.run(command(BACKUP, "ExecStartPost", swaps), check=True)
    (made,) = tmp_path.glob("underlid-*.zip")
    assert made.name == time.strftime("underlid-%Y-%m-%d.zip")
    assert made.stat().st_mode & 0o077 == 0
    assert old[1].exists(), "only our own are removed"
    again = tmp_path / "again"
    words = [PROGRAM, "restore", str(made), "--data", str(again)]
    subprocess.run(words, check=True, capture_output=True)
    assert (again / "readings.sqlite").exists()


def test_the_secrets_are_named_like_settings() -> None:
    from underlid.config import Settings, is_secret

    named = [value for key, value in lines("secrets.conf") if key == "LoadCredential"]
    assert named
    for one in named:
        name, _, path = one.partition(":")
        assert name == Path(path).name
        setting = name.removeprefix("underlid_")
        assert setting in Settings.model_fields
        assert is_secret(setting)
