"""The home service of docker-compose.yml: the same command, settings, paths and ports, nothing mapped.

It runs in namespaces of its own (mounts and network), with a root that is read-only, its volume at the
path of the file and a small /tmp. That needs root; the image and the container around it are what is
not there.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil
import pytest

from deploy.composed import parts
from deploy.outside import stop
from programs import require
from waiting import WAIT_S, wait_until

PART = parts()["home"]
VENV = Path(sys.executable).parent
REPO = Path(__file__).parents[2]
"""It may lie below /tmp itself, and must be seen there still."""

pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="only root can make namespaces")

INSIDE = """
set -e
ip link set lo up
mount --bind "$REPO" /mnt
mount -t tmpfs -o size=1m tmpfs /var/lib
mkdir "$DATA"
mount --bind "$HERE" "$DATA"
mount -o remount,bind,ro /
mount -o remount,ro /var/lib
mount -t tmpfs -o "$TMP" tmpfs /tmp
case "$REPO" in /tmp/*) mkdir -p "$REPO"; mount --bind /mnt "$REPO";; esac
cd "$DATA"
exec "$@"
"""


@dataclass
class Home:
    """The running service; `call` runs a program where it is."""

    pid: int
    log: Path

    def call(self, *words: str) -> subprocess.CompletedProcess[str]:
        where = ["nsenter", "--target", str(self.pid), "--mount", "--net"]
        return subprocess.run(
            [*where, *words],
            env={"PATH": f"{VENV}:{os.environ['PATH']}"},
            capture_output=True,
            text=True,
            check=False,
            timeout=WAIT_S,
        )

    def said(self, label: str) -> str:
        """Return what the service printed after *label* when it was ready."""
        text = self.log.read_text(encoding="utf-8")
        return next((line for line in text.splitlines() if line.startswith(label)), "")


@pytest.fixture(scope="module")
def home() -> Iterator[Home]:
    for program in ("unshare", "nsenter", "ip", "mosquitto_pub"):
        require(program)
    ((inside, _volume),) = PART.volumes.items()
    (tmp,) = PART.said["tmpfs"]
    with tempfile.TemporaryDirectory(dir="/var/tmp", prefix="underlid-home-") as folder:
        log = Path(folder) / "log"
        (Path(folder) / "volume").mkdir()
        environment = {"PATH": f"{VENV}:{os.environ['PATH']}", "HOME": inside}
        environment["REPO"] = str(REPO)
        environment |= {"DATA": inside, "HERE": f"{folder}/volume", "TMP": tmp.partition(":")[2]}
        words = ["unshare", "--mount", "--net", "--propagation=private", "sh", "-c", INSIDE, "sh"]
        with log.open("wb") as out:
            process = subprocess.Popen(
                [*words, "underlid", *PART.command],
                env=environment | PART.environment,
                stdout=out,
                stderr=out,
            )
        try:
            made = Home(process.pid, log)
            wait_until(lambda: process.poll() is not None or bool(made.said("Page:")))
            assert process.poll() is None, log.read_text(encoding="utf-8")[-3000:]
            yield made
        finally:
            stop(process, signal.SIGTERM)
        assert process.returncode == 0, log.read_text(encoding="utf-8")[-3000:]


def test_the_health_check_of_the_file(home: Home) -> None:
    kind, *command = PART.said["healthcheck"]["test"]
    assert kind == "CMD"
    wait_until(lambda: home.call(*command).returncode == 0)
    dead = [word.replace(":8080/", ":8081/") for word in command]
    assert home.call(*dead).returncode != 0


def test_a_reading_comes_in_by_the_port_of_the_file(home: Home) -> None:
    ports = [one.split(":")[-1] for one in PART.said["ports"]]
    assert ports == ["1883", "8080"]
    secret = home.said("Probes:").rpartition(" ")[2]
    topic = ["-t", "underlid/v1/potting/tansy-1/json", "-m", '{"bed_temp_c": 22.4}']
    sent = home.call(
        "mosquitto_pub", "-p", ports[0], "-u", "probes", "-P", secret, "-q", "1", *topic
    )
    assert sent.returncode == 0, sent.stderr
    listed = home.call("underlid", "probes", "list", "--data", PART.environment["UNDERLID_DATA"])
    assert "tansy-1" in listed.stdout, listed.stderr


def test_it_writes_to_its_volume_and_nowhere_else(home: Home) -> None:
    data = PART.environment["UNDERLID_DATA"]
    assert home.call("touch", "/etc/underlid-was-here").returncode != 0
    assert home.call("touch", "/var/lib/underlid-was-here").returncode != 0
    assert "readings.sqlite" in home.call("ls", data).stdout
    written = home.call("find", "/tmp", "-mindepth", "1", "-not", "-path", f"{REPO}*", "-type", "f")
    assert written.stdout.strip() == ""
    log = home.log.read_text(encoding="utf-8")
    assert "Read-only file system" not in log
    assert "Traceback" not in log


def test_it_is_far_from_its_limits(home: Home) -> None:
    process = psutil.Process(home.pid)
    limits = PART.said["deploy"]["resources"]["limits"]
    assert process.memory_info().rss < PART.memory_bytes / 2
    assert process.num_threads() < limits["pids"] / 2
