"""docker-compose.yml by itself: the schema, and what every part must have."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib

import pytest

from deploy.composed import FILE, ROOT, Part, parts, read
from underlid.config import Settings, is_secret
from underlid.setting_names import PREFIX

PARTS = parts()
SECRETS_VARIABLE = f"{PREFIX}SECRETS"
OURS = [part for part in PARTS.values() if part.said["image"].startswith("underlid:")]
STORES = ("influxdb", "postgres")
each = pytest.mark.parametrize("part", PARTS.values(), ids=PARTS)


def test_the_file_fits_the_schema_of_the_compose_specification() -> None:
    words = ["check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(FILE)]
    done = subprocess.run(
        [sys.executable, "-m", *words], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


@each
def test_each_part_is_guarded(part: Part) -> None:
    said = part.said
    assert said["read_only"] is True
    assert said["cap_drop"] == ["ALL"]
    assert said["security_opt"] == ["no-new-privileges:true"]
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", said["user"]), "a user by number, and not root"
    assert "privileged" not in said
    assert "network_mode" not in said
    limits = said["deploy"]["resources"]["limits"]
    assert {"cpus", "memory", "pids"} <= set(limits)
    check = said["healthcheck"]
    assert check["test"][0] in ("CMD", "CMD-SHELL")
    assert check["retries"] >= 3


@each
def test_each_image_is_pinned(part: Part) -> None:
    name, _, tag = part.said["image"].partition(":")
    assert name
    assert re.match(r"\d+\.\d+", tag), "a version, and neither latest nor a single number"


@each
def test_what_is_named_exists(part: Part) -> None:
    whole = read()
    assert all(source.exists() for source in part.mounted.values())
    assert set(part.volumes.values()) <= set(whole["volumes"])
    assert set(part.secrets) <= set(whole["secrets"])
    assert set(part.said["networks"]) <= set(whole["networks"])
    assert set(part.said.get("depends_on", {})) <= set(whole["services"])
    for other in part.said.get("depends_on", {}).values():
        assert other["condition"] == "service_healthy"


def test_nothing_is_declared_and_not_used() -> None:
    whole = read()
    assert {name for part in PARTS.values() for name in part.secrets} == set(whole["secrets"])
    assert {v for part in PARTS.values() for v in part.volumes.values()} == set(whole["volumes"])
    assert {n for part in PARTS.values() for n in part.said["networks"]} == set(whole["networks"])


def test_no_two_workers_share_a_volume() -> None:
    volumes = [name for part in PARTS.values() for name in part.volumes.values()]
    assert len(volumes) == len(set(volumes))


def test_the_stores_and_the_page_cannot_be_reached_from_outside() -> None:
    networks = read()["networks"]
    for name in (*STORES, "web", "ingest-1", "judge-1"):
        assert "ports" not in PARTS[name].said
        assert "edge" not in PARTS[name].said["networks"]
    for name in STORES:
        assert PARTS[name].said["networks"] == ["stores"]
    assert networks["stores"]["internal"] is True
    assert networks["broker"]["internal"] is True
    published = {name: part.said["ports"] for name, part in PARTS.items() if "ports" in part.said}
    assert published == {
        "proxy": ["80:8080", "443:8443"],
        "mosquitto": ["8883:8883"],
        "home": ["1883:1883", "127.0.0.1:8080:8080"],
    }


@pytest.mark.parametrize("part", OURS, ids=lambda part: part.name)
def test_settings_exist_and_no_secret_stands_in_the_environment(part: Part) -> None:
    known = {f"{PREFIX}{name.upper()}": name for name in Settings.model_fields}
    for variable in part.environment:
        assert variable in known or variable == SECRETS_VARIABLE, variable
        assert not is_secret(known.get(variable, "")), variable
    for secret in part.secrets:
        assert secret in {f"{PREFIX}{name}".lower() for name in Settings.model_fields}, secret
        assert is_secret(secret.removeprefix(PREFIX.lower())), secret


@each
def test_no_environment_carries_a_password(part: Part) -> None:
    for name, value in part.environment.items():
        if re.search("PASSWORD|TOKEN|SECRET", name):
            assert value.startswith("/run/secrets"), name


def test_workers_have_names_of_their_own() -> None:
    names = {part.name: part.environment[f"{PREFIX}WORKER"] for part in OURS if part.name != "home"}
    assert all(name == worker for name, worker in names.items())
    assert {part.command[2] for part in OURS} == {"ingest", "judge", "web", "all"}


def test_a_home_needs_nothing_but_itself() -> None:
    home = PARTS["home"]
    assert home.said["profiles"] == ["home"]
    assert "depends_on" not in home.said
    assert home.secrets == []


def dockerfile() -> list[str]:
    """Return the instructions of the Dockerfile, each on one line."""
    text = (ROOT / "deploy" / "Dockerfile").read_text(encoding="utf-8")
    lines = re.sub(r"\\\n\s*", "", text).splitlines()
    return [line for line in lines if line and not line.startswith("#")]


def test_the_image_is_small_pinned_and_not_root() -> None:
    lines = dockerfile()
    bases = [line.split()[1] for line in lines if line.startswith("FROM")]
    assert len(bases) == 2
    assert all(re.fullmatch(r"python:\d+\.\d+\.\d+-slim-\w+", base) for base in bases)
    users = [line.split()[1] for line in lines if line.startswith("USER")]
    assert users == [part.said["user"] for part in OURS[:1]]
    assert any("-c requirements.lock" in line for line in lines)
    extras = re.search(r"'\.\[(.+)\]'", "\n".join(lines))
    assert extras is not None
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert set(extras[1].split(",")) <= set(declared["optional-dependencies"])
    version = re.search(r'^version = "(.+)"', (ROOT / "pyproject.toml").read_text(), re.M)
    assert version is not None
    assert {part.said["image"] for part in OURS} == {f"underlid:{version[1]}"}


def test_the_image_copies_what_exists_and_the_builder_may_see() -> None:
    allowed = (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    for line in dockerfile():
        if line.startswith("COPY") and "--from" not in line:
            for source in line.split()[1:-1]:
                assert (ROOT / source).exists(), source
                assert f"!{source}" in allowed, source


def test_image_and_file_ask_the_same_health() -> None:
    line = next(line for line in dockerfile() if line.startswith("HEALTHCHECK"))
    asked = yaml_list(line[line.index("CMD [") + 4 :])
    for part in OURS:
        assert part.said["healthcheck"]["test"] == ["CMD", *asked]


def yaml_list(text: str) -> list[str]:
    import yaml

    found = yaml.safe_load(text)
    assert isinstance(found, list)
    return found
