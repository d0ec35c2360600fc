"""What a page weighs and costs: bytes on the wire, server time of the overview and of a bin's week,
the time until a posted reading is on an open page, in a place of five bins with four weeks of
one-minute readings. Baselines are measured in the same run.
"""

from __future__ import annotations

import re
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import httpx

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "service")]

from underlid.binmodel.bins import ProbePlace, Setup  # noqa: E402
from underlid.readings.values import Reading  # noqa: E402
from underlid.timeline import DAY_MS, MINUTE_MS  # noqa: E402
from waiting import WAIT_S  # noqa: E402
from web.household import BINS, NOW_MS, SHEDS, Household, program  # noqa: E402
from web.visiting import Visitor, begin  # noqa: E402

BINS_COUNT = 5
DAYS = 28
ROUNDS = 40
BUDGET_BYTES = 60_000
DRAWN = "document.querySelector('[data-chart] .line') ? performance.now() : 0"


def furnish(house: Household) -> None:
    """Set five bins up and write four weeks of minutes for each."""
    bins = {f"bin-{n}": replace(BINS["tansy"], id=f"bin-{n}", name="") for n in range(BINS_COUNT)}
    probes = {
        f"p-{n}": ProbePlace(f"p-{n}", "potting", f"bin-{n}", 10.0) for n in range(BINS_COUNT)
    }
    house.records.save_setup(Setup(SHEDS, bins, probes))
    step = 3 * 60 * MINUTE_MS
    for start in range(NOW_MS - DAYS * DAY_MS, NOW_MS, step):
        house.readings.write(
            [
                Reading(
                    probe,
                    "potting",
                    at,
                    at,
                    {
                        "bed_temp_c": 21.0 + (at // MINUTE_MS) % 37 / 20,
                        "headspace_temp_c": 20.0 + (at // MINUTE_MS) % 41 / 20,
                        "headspace_rh_pct": 90.0 + (at // MINUTE_MS) % 17 / 4,
                        "moisture_pct": 74.0,
                    },
                )
                for at in range(start, start + step, MINUTE_MS)
                for probe in probes
            ]
        )
    house.readings.pack(NOW_MS)
    house.watch.tick()


def timed(call: Callable[[], object], rounds: int = ROUNDS) -> tuple[float, float]:
    """Return median and 95th percentile of *call* in milliseconds."""
    call()
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        call()
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times), statistics.quantiles(times, n=20)[-1]


def weight(client: httpx.Client, path: str) -> tuple[int, int]:
    """Return the compressed bytes of a page with its files, and of its inline data."""
    request = client.build_request("GET", path)
    answer = client.send(request, stream=True)
    total = sum(len(part) for part in answer.iter_raw())
    text = client.get(path).text
    data = re.search(r'<script type="application/json"[^>]*>(.*?)</script>', text, re.S)
    inline = len(data[1]) if data else 0
    wanted, seen = set(re.findall(r"/static/[^\"']+", text)), set()
    while wanted - seen:
        name = (wanted - seen).pop()
        seen.add(name)
        file = client.send(client.build_request("GET", name), stream=True)
        total += sum(len(part) for part in file.iter_raw())
        folder = name.rsplit("/", 1)[0]
        body = client.get(name).text if name.endswith(".js") else ""
        wanted |= {f"{folder}/{other}" for other in re.findall(r'"\./([\w.-]+\.js)"', body)}
    return total, inline


def latencies(house: Household, client: httpx.Client, rounds: int) -> list[float]:
    """Return the milliseconds from posting a reading to its event on an open stream."""
    keeper = program(house, "keeper")
    seen = threading.Event()
    ready = threading.Event()

    def listen() -> None:
        with client.stream("GET", "/api/v1/live") as stream:
            for line in stream.iter_lines():
                ready.set()
                if '"kind": "reading"' in line:
                    seen.set()
                if "finished" in line:
                    return

    thread = threading.Thread(target=listen, daemon=True)
    thread.start()
    ready.wait(WAIT_S)
    path = "/api/v1/readings?shed=potting&probe=p-0"
    times = []
    for n in range(rounds):
        house.clock.set_ms(house.clock.now_ms() + 1000)
        seen.clear()
        began = time.perf_counter()
        keeper.post(path, json={"bed_temp_c": 20 + n / 100})
        assert seen.wait(WAIT_S)
        times.append((time.perf_counter() - began) * 1000)
    house.hub.publish({"kind": "journal", "bin": "finished"})
    thread.join(WAIT_S)
    return times


def ready_ms(house: Household, slower: int) -> float:
    """Return the median milliseconds until a bin's curves are drawn, on a CPU *slower* times slow."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    if chromium is None:
        return float("nan")
    visitor = Visitor(house)
    visitor.log_in()
    cookie = next(iter(visitor.client.cookies.jar))
    times = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for _ in range(5):
            context = browser.new_context(viewport={"width": 390, "height": 844})
            context.add_cookies(
                [{"name": cookie.name, "value": cookie.value or "", "url": house.url}]
            )
            page = context.new_page()
            tools = context.new_cdp_session(page)
            tools.send("Emulation.setCPUThrottlingRate", {"rate": slower})
            page.goto(f"{house.url}/bin/bin-0")
            while not (drawn := page.evaluate(DRAWN)):
                time.sleep(0.005)
            times.append(float(drawn))
            context.close()
        browser.close()
    return statistics.median(times)


def main() -> None:
    """Print the table."""
    rows: list[tuple[str, str, str, str]] = []
    with tempfile.TemporaryDirectory() as folder, Household(Path(folder)) as house:
        furnish(house)
        visitor = begin(house)
        client = visitor.client
        base, _ = timed(lambda: client.get("/healthz"))
        for name, path, goal in (
            ("overview, 5 bins", "/", None),
            ("one bin page, one week", "/bin/bin-0", 40.0),
            ("week of curves, JSON", "/api/v1/bins/bin-0/series?points=340", None),
            ("four weeks of curves, JSON", series(NOW_MS - DAYS * DAY_MS), None),
        ):
            middle, p95 = timed(lambda path=path: client.get(path).raise_for_status())
            against = f"goal {goal:.0f} ms p95" if goal else f"/healthz {base:.1f} ms"
            ratio = p95 / goal if goal else middle / base
            rows.append(
                (f"{name}, p50 / p95", f"{middle:.1f} / {p95:.1f} ms", against, f"{ratio:.2f}")
            )
        for name, path in (("overview", "/"), ("bin page", "/bin/bin-0")):
            total, inline = weight(client, path)
            rows.append(
                (
                    f"{name}, bytes with style and scripts, gz",
                    f"{total:,} (data {inline:,} before gz)",
                    f"goal {BUDGET_BYTES:,} without data",
                    f"{total / BUDGET_BYTES:.2f}",
                )
            )
        for slower, goal_ms in ((1, 1000), (4, 2500)):
            drawn = ready_ms(house, slower)
            rows.append(
                (
                    f"bin page in chromium, curves drawn, CPU {slower} × slower",
                    f"{drawn:.0f} ms",
                    f"goal {goal_ms} ms",
                    f"{drawn / goal_ms:.2f}",
                )
            )
        times = latencies(house, client, ROUNDS)
        rows.append(
            (
                "posted over HTTP → on the open page, p50 / p95",
                f"{statistics.median(times):.1f} / {statistics.quantiles(times, n=20)[-1]:.1f} ms",
                "goal 2000 ms",
                f"{statistics.median(times) / 2000:.4f}",
            )
        )
    print("name | value | baseline | ratio")
    for row in rows:
        print(" | ".join(row))


def series(start_ms: int) -> str:
    """Return the address of a bin's curves from *start_ms* on."""
    return f"/api/v1/bins/bin-0/series?from={start_ms / 1000:.0f}&points=340"


if __name__ == "__main__":
    main()
