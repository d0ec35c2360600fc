"""Runs parts of docker-compose.yml on this machine: as their own user where we are root, on loopback.

Every program is started and stopped here, by its process id; its log is shown when it does not come up.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from deploy.composed import Outside, Part
from programs import answers, require
from waiting import WAIT_S, wait_until


@contextlib.contextmanager
def outside() -> Iterator[Outside]:
    """Give a place that other users can reach, and take it away again."""
    folder = Path(tempfile.mkdtemp(prefix="underlid-deploy-"))
    folder.chmod(0o755)
    try:
        place = Outside(folder)
        if os.geteuid() == 0:
            place.secrets.chmod(0o711)
        yield place
    finally:
        shutil.rmtree(folder)


def user_of(part: Part) -> dict[str, object]:
    """Return how to start a program as the user that *part* has in its container."""
    if os.geteuid() != 0:
        return {}
    user, group = part.said["user"].split(":")
    return {"user": int(user), "group": int(group), "extra_groups": []}


def own(part: Part, folder: Path) -> None:
    """Give *folder*, with what is in it, to the user of *part*."""
    if os.geteuid() == 0:
        user, group = (int(number) for number in part.said["user"].split(":"))
        for path in (folder, *folder.rglob("*")):
            os.chown(path, user, group)


@contextlib.contextmanager
def running(
    command: list[str],
    place: Outside,
    name: str,
    port: int,
    *,
    how: signal.Signals = signal.SIGTERM,
    **more: object,
) -> Iterator[subprocess.Popen[bytes]]:
    """Run *command* until the block is left; *port* answers when it begins."""
    path = place.folder / f"{name}.log"
    path.touch()
    path.chmod(0o666)  # a program may open /dev/stdout anew, as the user that it is
    with path.open("ab") as log:
        process = subprocess.Popen(  # type: ignore[call-overload]
            [require(command[0]), *command[1:]], stdout=log, stderr=log, cwd=place.folder, **more
        )
    try:
        wait_for(port, process, path)
        yield process
    finally:
        stop(process, how)


def wait_for(port: int, process: subprocess.Popen[bytes], log: Path) -> None:
    wait_until(lambda: answers(port) or process.poll() is not None)
    assert process.poll() is None, log.read_text(encoding="utf-8", errors="replace")[-4000:]


def stop(process: subprocess.Popen[bytes], how: signal.Signals = signal.SIGTERM) -> None:
    if process.poll() is None:
        process.send_signal(how)
        try:
            process.wait(WAIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise
