"""PostgreSQL and InfluxDB with the settings of docker-compose.yml, as far as Debian's versions know them.

Debian has PostgreSQL 15 where the file names 17, and InfluxDB 1.6 where it names 2.7. The settings of
the first have the same names in both; those of the second are translated in `IN_1_6`.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import shutil
import signal
import subprocess
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from deploy.composed import Outside, parts
from deploy.outside import outside, own, running, user_of
from programs import free_port, require
from storage.postgres import _other_user, lets_in
from underlid.storage.records import Records
from waiting import WAIT_S, wait_until

POSTGRES, INFLUXDB = parts()["postgres"], parts()["influxdb"]

IN_1_6 = {
    "INFLUXD_REPORTING_DISABLED": "INFLUXDB_REPORTING_DISABLED",
    "INFLUXD_LOG_LEVEL": "INFLUXDB_LOGGING_LEVEL",
    "INFLUXD_HTTP_BIND_ADDRESS": "INFLUXDB_HTTP_BIND_ADDRESS",
    "INFLUXD_STORAGE_WAL_FSYNC_DELAY": "INFLUXDB_DATA_WAL_FSYNC_DELAY",
    "INFLUXD_STORAGE_CACHE_MAX_MEMORY_SIZE": "INFLUXDB_DATA_CACHE_MAX_MEMORY_SIZE",
}


@pytest.fixture(scope="module")
def place() -> Iterator[Outside]:
    with outside() as made:
        yield made


@pytest.fixture(scope="module")
def postgres(place: Outside) -> Iterator[int]:
    with postgresql(place) as port:
        yield port


@contextlib.contextmanager
def postgresql(place: Outside) -> Iterator[int]:
    """Make a cluster as the image does at its first start, and run it with the file's command."""
    initdb, port, said = require("initdb"), free_port(), POSTGRES.environment
    server = _other_user()
    home = place.folder / "postgres"
    home.mkdir()
    secret = home / "password"
    shutil.copy(place.here(said["POSTGRES_PASSWORD_FILE"]), secret)
    if server is not None:
        shutil.chown(home, server)
        shutil.chown(secret, server)
    words = [initdb, "-D", str(home / "data"), "-U", said["POSTGRES_USER"]]
    words += [f"--pwfile={secret}", *shlex.split(said["POSTGRES_INITDB_ARGS"])]
    subprocess.run(words, check=True, capture_output=True, cwd=home, user=server)
    place.swaps |= {
        "listen_addresses=*": "listen_addresses=127.0.0.1",
        "postgres:5432": f"127.0.0.1:{port}",
    }
    more = ["-D", str(home / "data"), "-c", f"port={port}", "-c", f"unix_socket_directories={home}"]
    command = [*place.command(POSTGRES), *more]
    # SIGINT is the image's way to stop it: connections are ended, not waited for.
    with running(command, place, "postgresql", port, how=signal.SIGINT, user=server):
        address = place.here(place.secret("underlid_records_url"))
        first = address.rpartition("/")[0] + "/postgres"
        wait_until(lambda: lets_in(first))
        with psycopg.connect(first, autocommit=True) as line:
            line.execute(f"CREATE DATABASE {said['POSTGRES_DB']}".encode())
        yield port


def test_the_address_in_the_secrets_opens_the_records(place: Outside, postgres: int) -> None:
    records = Records.open(place.here(place.secret("underlid_records_url")))
    assert records.people() == []
    records.close()


def test_another_password_is_refused(place: Outside, postgres: int) -> None:
    address = place.here(place.secret("underlid_records_url"))
    wrong = address.replace(place.secret("postgres_password"), "wrong")
    with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
        psycopg.connect(wrong)


def test_the_settings_hold(place: Outside, postgres: int) -> None:
    said = [word.partition("=") for word in POSTGRES.command if "=" in word]
    with psycopg.connect(place.here(place.secret("underlid_records_url"))) as line:
        for name, _, value in said:
            if name != "listen_addresses":
                found = line.execute("SELECT current_setting(%s)", (name,)).fetchone()
                assert found in ((value,), (value.replace("60s", "1min"),)), name
        sums = line.execute("SELECT current_setting('data_checksums')").fetchone()
        assert sums == ("on",)


def test_the_health_check_of_postgresql(postgres: int) -> None:
    kind, program, *words = POSTGRES.said["healthcheck"]["test"]
    assert kind == "CMD"
    asked = [require(program), *words, "-p", str(postgres)]
    assert subprocess.run(asked, check=False, capture_output=True).returncode == 0
    asked[-1] = str(free_port())
    assert subprocess.run(asked, check=False, capture_output=True).returncode != 0


def test_a_dump_of_the_records_can_be_restored(place: Outside, postgres: int) -> None:
    """The commands of the page on running it, without the container around them."""
    address = place.here(place.secret("underlid_records_url"))
    records = Records.open(address)
    records.make_token("kitchen-scale", "reader")
    records.close()
    dump = place.folder / "records.dump"
    restored = address.rpartition("/")[0] + "/restored"
    with psycopg.connect(address, autocommit=True) as line:
        line.execute(b"CREATE DATABASE restored")
    subprocess.run(
        [require("pg_dump"), "--format=custom", f"--dbname={address}", f"--file={dump}"], check=True
    )
    subprocess.run(
        [require("pg_restore"), "--exit-on-error", f"--dbname={restored}", str(dump)], check=True
    )
    records = Records.open(restored)
    assert list(records.tokens()) == ["kitchen-scale"]
    records.close()


@contextlib.contextmanager
def influx(place: Outside, **more: str) -> Iterator[tuple[str, Path]]:
    """Run InfluxDB with the file's settings under their older names; yield its address and folder."""
    require("influxd")
    port, folder = free_port(), place.folder / "influx"
    said = INFLUXDB.environment
    environment = {IN_1_6[name]: said[name] for name in said if name in IN_1_6}
    bind = f"127.0.0.1{environment['INFLUXDB_HTTP_BIND_ADDRESS']}"
    environment |= {
        "PATH": os.environ["PATH"],
        "HOME": str(folder),
        "INFLUXDB_HTTP_BIND_ADDRESS": bind.replace(":8086", f":{port}"),
        "INFLUXDB_BIND_ADDRESS": f"127.0.0.1:{free_port()}",
        "INFLUXDB_META_DIR": str(folder / "meta"),
        "INFLUXDB_DATA_DIR": str(folder / "data"),
        "INFLUXDB_DATA_WAL_DIR": str(folder / "wal"),
        "INFLUXDB_MONITOR_STORE_ENABLED": "false",
        **more,
    }
    folder.mkdir()
    empty = folder / "empty.conf"
    empty.touch()
    own(INFLUXDB, folder)
    command = [*INFLUXDB.command, "-config", str(empty)]
    with running(command, place, "influxd", port, env=environment, **user_of(INFLUXDB)):
        web = f"http://127.0.0.1:{port}"
        ask(f"{web}/query?db=&q=CREATE+DATABASE+underlid", b"")
        yield web, folder


def test_influxdb_runs_with_the_settings_it_shares(place: Outside) -> None:
    given = {name for name in INFLUXDB.environment if name.startswith("INFLUXD_")}
    assert given == set(IN_1_6), "a new setting needs its counterpart"
    with influx(place) as (web, folder):
        assert ask(f"{web}/write?db=underlid", b"bed,probe=tansy-1 bed_temp_c=22.4 1000") == 204
        assert ask(f"{web}/ping") == 204
        assert any((folder / "wal" / "underlid").rglob("*.wal")), "on the disk when it answers"
    log = (place.folder / "influxd.log").read_text(encoding="utf-8")
    assert "lvl=error" not in log


def ask(address: str, body: bytes | None = None) -> int:
    with urllib.request.urlopen(address, body, timeout=WAIT_S) as answer:
        status: int = answer.status
        return status


def test_influxdb_is_set_up_with_what_the_workers_are_told() -> None:
    said, worker = INFLUXDB.environment, parts()["ingest-1"].environment
    assert said["DOCKER_INFLUXDB_INIT_ORG"] == worker["UNDERLID_INFLUXDB_ORG"]
    assert said["DOCKER_INFLUXDB_INIT_BUCKET"] == worker["UNDERLID_INFLUXDB_BUCKET"]
    assert worker["UNDERLID_INFLUXDB_URL"] == "http://influxdb:8086"


def test_both_tokens_are_one(place: Outside) -> None:
    assert place.secret("influxdb_token") == place.secret("underlid_influxdb_token")
    folder = place.secrets
    assert Path(place.here(INFLUXDB.environment["DOCKER_INFLUXDB_INIT_PASSWORD_FILE"])) == (
        folder / "influxdb_password"
    )
