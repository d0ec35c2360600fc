"""The workers of docker-compose.yml with their very commands and settings, together with the broker and
the stores of the file.

Changed are places only: addresses, ports and folders; and a tick of a second, to wait less. InfluxDB is
Debian's 1.6 behind a front that speaks the newer way of writing; it does not ask for the token.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from deploy.composed import Outside, Part, parts
from deploy.outside import outside, stop
from deploy.test_mosquitto import broker, client, collect
from deploy.test_stores import influx, postgresql
from programs import free_port, require
from service.running import hears_probes
from storage.influx_front import Front
from underlid.clock import SystemClock
from waiting import WAIT_S, wait_until

NAME = "bins.example"
WORKERS = {
    name: part
    for name, part in parts(UNDERLID_NAME=NAME).items()
    if part.command[0] == "serve" and name != "home"
}
VENV = Path(sys.executable).parent
PROBES = 20


@dataclass
class Site:
    """Everything that the file starts but the proxy."""

    place: Outside
    plain: int
    tls: int
    influx_url: str
    ports: dict[str, int] = field(default_factory=dict)
    processes: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def environment(self, part: Part) -> dict[str, str]:
        """Return the settings of *part*, with places here for places there."""
        said = dict(part.environment)
        folder = self.place.folder / part.name
        given = {
            "UNDERLID_DATA": str(folder / "data"),
            "UNDERLID_SECRETS": str(self._secrets(part, folder / "secrets")),
            "UNDERLID_WEB_HOST": "127.0.0.1",
            "UNDERLID_WEB_PORT": str(self.ports.setdefault(part.name, free_port())),
            "UNDERLID_INFLUXDB_URL": self.influx_url,
        }
        if "UNDERLID_BROKER_HOST" in said:
            given |= {"UNDERLID_BROKER_HOST": "127.0.0.1", "UNDERLID_BROKER_PORT": str(self.plain)}
        assert set(given) <= set(said), "only what the file says is changed"
        more = {"PATH": f"{VENV}:{os.environ['PATH']}", "UNDERLID_TICK_S": "1"}
        return said | given | more

    def _secrets(self, part: Part, folder: Path) -> Path:
        """Make the folder that a container would have: its own secrets and no others."""
        folder.mkdir(parents=True, exist_ok=True)
        for name in part.secrets:
            (folder / name).write_text(self.place.here(self.place.secret(name)), encoding="utf-8")
        return folder

    def start(self, part: Part) -> None:
        log = self.place.folder / f"{part.name}.log"
        with log.open("ab") as out:
            self.processes[part.name] = subprocess.Popen(
                ["underlid", *part.command],
                env=self.environment(part),
                stdout=out,
                stderr=out,
                cwd=self.place.folder / part.name,
            )

    def stop(self) -> None:
        """Ask all to stop, then wait for each."""
        for process in self.processes.values():
            process.terminate()
        for process in self.processes.values():
            stop(process)

    def healthy(self, part: Part) -> bool:
        """Ask the health check of the file."""
        kind, *command = part.said["healthcheck"]["test"]
        assert kind == "CMD"
        asked = [word.replace(":8080/", f":{self.ports[part.name]}/") for word in command]
        environment = {"PATH": f"{VENV}:{os.environ['PATH']}"}
        done = subprocess.run(asked, env=environment, capture_output=True, check=False)
        return done.returncode == 0

    def call(self, part: Part, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["underlid", *words],
            env=self.environment(part),
            capture_output=True,
            text=True,
            check=False,
            timeout=WAIT_S,
        )

    def web(self, part: Part) -> str:
        return f"http://127.0.0.1:{self.ports[part.name]}"

    def ask(self, part: Part, path: str, **headers: str) -> str:
        request = urllib.request.Request(self.web(part) + path)
        for name, value in headers.items():
            request.add_header(name, value)
        with urllib.request.urlopen(request, timeout=WAIT_S) as answer:
            text: str = answer.read().decode()
            return text

    def logs(self) -> str:
        texts = [
            f"== {name}\n{(self.place.folder / f'{name}.log').read_text(encoding='utf-8')[-1500:]}"
            for name in self.processes
        ]
        return "\n".join(texts)


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    with together() as made:
        yield made


@contextlib.contextmanager
def together() -> Iterator[Site]:
    """Run broker, stores and workers."""
    for program in ("mosquitto", "initdb", "influxd"):
        require(program)
    with contextlib.ExitStack() as stack:
        place = stack.enter_context(outside())
        plain, tls = stack.enter_context(broker(place))
        stack.enter_context(postgresql(place))
        behind, _ = stack.enter_context(influx(place))
        front = Front(behind)
        stack.callback(front.stop)
        made = Site(place, plain, tls, front.url)
        stack.callback(made.stop)
        # All at once, as a container engine would: the first to come brings the database up to date.
        for part in WORKERS.values():
            made.environment(part)
            made.start(part)
        for part in WORKERS.values():
            wait_until(
                lambda part=part: made.healthy(part) or made.processes[part.name].poll() is not None
            )
        assert all(one.poll() is None for one in made.processes.values()), made.logs()
        for part in WORKERS.values():
            wait_until(lambda part=part: hears_probes(made.web(part)))
        yield made


@pytest.mark.parametrize("name", ["ingest-1", "judge-1", "web"])
def test_check_finds_nothing_wrong(site: Site, name: str) -> None:
    done = site.call(WORKERS[name], "check")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    assert site.place.secret("postgres_password") not in done.stdout
    assert "records_url = (set)  (secrets)" in done.stdout


def test_readings_go_in_by_tls_and_come_out_as_a_judged_bin(site: Site) -> None:
    web = WORKERS["web"]
    for words in (
        ("bins", "shed", "potting", "--name", "Potting shed"),
        ("bins", "save", "tansy", "--shed", "potting", "--kind", "flow-through-bag"),
    ):
        done = site.call(web, *words)
        assert done.returncode == 0, done.stderr
    done = site.call(web, "probes", "place", "tansy-1", "--bin", "tansy")
    assert done.returncode == 0, done.stderr
    token = site.call(web, "user", "token", "reader").stdout.split()[-1]
    # What is five minutes old is judged at the next tick; fresher readings wait for company.
    taken_s = SystemClock().now_ms() // 1000 - 400
    with (
        client(site.place, site.plain, "keeper", "keeper_password") as (keeper, _),
        client(site.place, site.tls, "probes", "probes_password", tls=True) as (probe, _),
    ):
        states, told = collect(keeper, ["underlid/v1/+/state/+"])
        for number in range(PROBES):
            topic = f"underlid/v1/potting/tansy-{number + 1}/json"
            body = json.dumps({"ts": taken_s, "bed_temp_c": 22.4})
            probe.publish(topic, body, qos=1).wait_for_publish(WAIT_S)
        assert told.wait(WAIT_S), site.logs()
    assert json.loads(states[0])["bin"] == "tansy"

    def shown() -> bool:
        text = site.ask(web, "/api/v1/bins/tansy/state", Authorization=f"Bearer {token}")
        return "22.4" in text

    wait_until(shown)
    listed = json.loads(site.call(web, "probes", "list", "--json").stdout)
    assert len({one["probe"] for one in listed}) == PROBES


def test_each_stays_below_half_of_its_limits(site: Site) -> None:
    import psutil

    for name, part in WORKERS.items():
        process = psutil.Process(site.processes[name].pid)
        limits = part.said["deploy"]["resources"]["limits"]
        assert process.memory_info().rss < part.memory_bytes / 2, name
        assert process.num_threads() < limits["pids"] / 2, name


def test_what_is_not_for_the_page_is_not_there(site: Site) -> None:
    with pytest.raises(urllib.error.HTTPError):
        site.ask(WORKERS["ingest-1"], "/login")
    assert not (site.place.folder / "web" / "secrets" / "underlid_broker_password").exists()
