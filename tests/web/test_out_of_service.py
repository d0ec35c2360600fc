"""Taking a bin out of service on its page and by a program, and what the pages say meanwhile."""

from __future__ import annotations

from underlid.timeline import HOUR_MS, rfc3339
from web.household import NOW_MS, Household, program
from web.visiting import Visitor


def test_a_bin_out_of_service_says_so_everywhere_and_is_put_back(
    house: Household, ash: Visitor
) -> None:
    house.live_through(NOW_MS + 2 * HOUR_MS, bed_temp_c=34.5, headspace_temp_c=30.0)
    assert "needs you" in ash.words("/")
    answer = ash.send("/bin/tansy/out", {"days": "", "why": "emptied"}, "/bin/tansy")
    assert answer.headers["location"] == "/bin/tansy?said=out"
    assert "Tansy has been out of service since" in ash.words("/bin/tansy")
    assert "(emptied): nobody is told of it. By Ash." in ash.words("/bin/tansy")
    first = ash.words("/")
    assert "needs you" not in first
    assert "out of service" in first
    assert "Put Tansy back into service" in ash.read("/bin/tansy")
    ash.send("/bin/tansy/in", {}, "/bin/tansy")
    assert "needs you" in ash.words("/")
    assert ash.send("/bin/tansy/out", {"days": "400"}, "/bin/tansy").status_code == 422
    assert ash.send("/bin/none/out", {"days": ""}, "/bin/tansy").status_code == 404


def test_a_program_takes_it_out_until_a_time(house: Household) -> None:
    path = "/api/v1/bins/tansy/out-of-service"
    with program(house, "reader") as reader, program(house, "keeper") as keeper:
        assert reader.put(path, json={}).status_code == 403
        until = rfc3339(house.clock.now_ms() + HOUR_MS)
        out = keeper.put(path, json={"until": until, "why": "painted"}).json()["out_of_service"]
        assert (out["until"], out["why"]) == (until, "painted")
        found = {one["id"]: one["out_of_service"] for one in reader.get("/api/v1/bins").json()}
        assert found == {"tansy": out, "sorrel": None, "borage": None}
        for wrong in ("soon", rfc3339(NOW_MS - HOUR_MS)):
            assert keeper.put(path, json={"until": wrong}).status_code == 422
        assert keeper.delete(path).json()["out_of_service"] is None
        assert keeper.put("/api/v1/bins/none/out-of-service", json={}).status_code == 404
