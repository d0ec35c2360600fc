"""The commands as processes of their own: check against a real broker, and the demo."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from programs import answers, free_port, require
from waiting import WAIT_S, wait_until

SERVICE = Path(__file__).parents[2] / "service"


def environment(**settings: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("UNDERLID_")}
    return kept | {"PYTHONPATH": str(SERVICE)} | {f"UNDERLID_{k}": v for k, v in settings.items()}


def call(*words: str, cwd: Path, **settings: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "underlid", *words],
        cwd=cwd,
        env=environment(**settings),
        capture_output=True,
        text=True,
        timeout=WAIT_S,
        check=False,
    )


def test_the_version_and_a_refusal(tmp_path: Path) -> None:
    assert call("--version", cwd=tmp_path).stdout.startswith("underlid")
    refused = call("bins", "list", cwd=tmp_path)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "Traceback" not in refused.stderr


def test_check_prints_every_setting_and_no_secret(tmp_path: Path) -> None:
    done = call(
        "check", cwd=tmp_path, DOOR_PORT="0", WEB_PORT="0", BROKER_PASSWORD="hushhush", DATA="there"
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "hushhush" not in done.stdout
    assert "broker_password = (set)  (environment)" in done.stdout
    assert "data = there  (environment)" in done.stdout
    assert "tick_s = 60.0  (default)" in done.stdout
    assert not (tmp_path / "there").exists(), "check makes nothing"


def test_check_says_what_is_wrong(tmp_path: Path) -> None:
    done = call(
        "check", "--json", cwd=tmp_path, DOOR_PORT="0", WEB_PORT="0", SMTP_URL="nonsense",
        BROKER_HOST="127.0.0.1", BROKER_PORT=str(free_port()),
    )  # fmt: skip
    assert done.returncode == 1
    wrong = {one["what"] for one in json.loads(done.stdout)["looks"] if one["wrong"]}
    assert wrong == {"broker", "channels"}
    assert len(done.stderr.strip().splitlines()) == 1


def test_check_names_a_data_folder_that_cannot_be_used(tmp_path: Path) -> None:
    (tmp_path / "a-file").touch()
    for folder in ("/proc/x", "a-file", "a-file/below"):
        done = call("check", cwd=tmp_path, DOOR_PORT="0", WEB_PORT="0", DATA=folder)
        assert done.returncode == 1
        assert f"data is '{folder}'" in done.stderr
        assert "Choose another" in done.stderr
        assert ".underlid-check" not in done.stdout + done.stderr


def test_check_refuses_a_wrong_setting_in_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "underlid.toml").write_text("web_prot = 1\n")
    done = call("check", cwd=tmp_path)
    assert done.returncode == 1
    assert "web_port" in done.stderr


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[int]:
    """Run mosquitto with a user, on a free port."""
    mosquitto, passwd, port = require("mosquitto"), require("mosquitto_passwd"), free_port()
    users = tmp_path / "users"
    subprocess.run([passwd, "-b", "-c", str(users), "underlid", "right"], check=True)
    users.chmod(0o644)
    config = tmp_path / "mosquitto.conf"
    config.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {users}\nuser root\n"
    )
    process = subprocess.Popen([mosquitto, "-c", str(config)], stderr=subprocess.DEVNULL)
    wait_until(lambda: answers(port))
    yield port
    process.terminate()
    process.wait()


@pytest.mark.parametrize(("password", "code"), [("right", 0), ("wrong", 1)])
def test_check_tries_the_broker(tmp_path: Path, broker: int, password: str, code: int) -> None:
    done = call(
        "check", cwd=tmp_path, DOOR_PORT="0", WEB_PORT="0", BROKER_HOST="127.0.0.1",
        BROKER_PORT=str(broker), BROKER_USER="underlid", BROKER_PASSWORD=password,
    )  # fmt: skip
    assert done.returncode == code, done.stdout + done.stderr
    assert ("broker: well" in done.stdout) == (code == 0)


def test_the_demo_lives_and_leaves_nothing_behind(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "underlid", "demo", "--days", "1", "--speed", "3600",
         "--web-port", "0"],
        cwd=tmp_path,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        told = dict(
            line.split(":", 1)
            for line in (process.stdout.readline() for _ in range(6))
            if ":" in line
        )
        data = Path(told["Data"].strip())
        assert "passphrase" in told["Log in"]
        wait_for_alert(data, tmp_path)
    finally:
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=WAIT_S)
    assert process.returncode == 0, errors
    assert "Traceback" not in errors
    assert not data.exists()


def wait_for_alert(data: Path, cwd: Path) -> None:
    """Wait until probes have spoken through the door and an alert has come of it."""

    def listed() -> bool:
        said = call("alerts", "list", "--json", "--data", str(data), cwd=cwd)
        return said.returncode == 0 and bool(json.loads(said.stdout))

    wait_until(listed, 2 * WAIT_S)
