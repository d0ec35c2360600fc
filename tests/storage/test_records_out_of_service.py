"""Of a bin that is out of service nobody is told; of what is still open then, when it is put back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from storage.records_places import fresh
from storage.test_records_alerts import ALERT, RAISED, TOLD
from underlid.alerts.alert import AlertState, Occasion
from underlid.alerts.routes import RouteRules
from underlid.errors import UnderlidError
from underlid.storage.records import Records

pytestmark = pytest.mark.usefixtures("either_database")

OVER = replace(TOLD, key=f"{ALERT.id}:returned", at_ms=9000, event=Occasion.ALERT_RETURNED)


def due(records: Records) -> list[str]:
    return [one.channel for one in records.due_deliveries(9**15, 99)]


def test_nobody_is_told_and_what_is_still_open_is_told_when_it_is_put_back() -> None:
    with fresh() as records:
        records.add_person("Ash", "keeper", "herd under the lid")
        route = records.add_route("Ash", "json://h/x", "json", "", RouteRules(), 0)
        records.take_out("tansy", None, "Ash", "emptied", 1500)
        for _ in range(2):
            records.save_judgement([ALERT], [RAISED], [TOLD], ["email"])
        assert due(records) == []
        assert [one.id for one in records.open_alerts()] == [ALERT.id]
        other = replace(TOLD, key="sorrel:1", bin="sorrel", alert_id="sorrel:1")
        assert records.post_once(other, ["email"])
        assert sorted(due(records)) == ["email", route.channel]
        assert records.put_back("tansy", 5000) == 2
        assert records.put_back("tansy", 5000) == 0
        assert sorted(due(records)) == ["email", "email", route.channel, route.channel]
        assert records.out_of_service() == {}


def test_nobody_hears_of_the_end_of_what_nobody_heard_of() -> None:
    with fresh() as records:
        records.take_out("tansy", None, "Ash", "", 1500)
        records.save_judgement([ALERT], [RAISED], [TOLD], ["email"])
        over = replace(ALERT, state=AlertState.RETURNED, returned_at_ms=9000)
        records.save_judgement([over], [], [], [])
        assert records.put_back("tansy", 8000) == 0
        records.save_judgement([over], [], [OVER], ["email"])
        assert due(records) == []


def test_who_heard_of_it_before_hears_of_its_end() -> None:
    with fresh() as records:
        records.save_judgement([ALERT], [RAISED], [TOLD], ["email"])
        (sent,) = records.due_deliveries(9**15, 99)
        records.delivered(sent.id, 2500)
        records.take_out("tansy", 8000, "Ash", "", 3000)
        records.save_judgement([ALERT], [RAISED], [TOLD], ["email"])
        assert due(records) == []
        assert records.put_back_due(7999) == 0
        assert list(records.out_of_service()) == ["tansy"]
        assert records.put_back_due(8000) == 0
        assert records.out_of_service() == {}
        records.save_judgement([], [], [OVER], ["email"])
        assert due(records) == ["email"]


def test_what_waits_for_the_end_of_quiet_hours_waits_for_the_bin_then() -> None:
    with fresh() as records:
        other = replace(TOLD, key="sorrel:1", bin="sorrel", alert_id="sorrel:1")
        records.save_judgement([ALERT], [RAISED], [TOLD, other], ["email"])
        records.take_out("tansy", None, "Ash", "", 3000)
        assert [one.message.bin for one in records.due_deliveries(9**15, 99)] == ["sorrel"]
        assert records.put_back("tansy", 5000) == 1
        assert due(records) == ["email", "email"]


def test_a_judgement_from_just_before_is_not_told_either() -> None:
    with fresh() as records:
        records.take_out("tansy", None, "Ash", "", TOLD.at_ms + 1)
        records.save_judgement([ALERT], [RAISED], [TOLD], ["email"])
        assert due(records) == []


def test_of_its_whole_shed_people_are_told_while_one_bin_of_it_is_in_service() -> None:
    with fresh() as records:
        cut = replace(TOLD, of_shed=True)
        records.save_judgement([ALERT], [RAISED], [cut], ["email"])
        records.take_out("tansy", None, "Ash", "", 1500)
        again = replace(cut, key="tansy:again")
        records.save_judgement([], [], [again], ["email"])
        assert due(records) == ["email", "email"]
        records.take_out("sorrel", None, "Ash", "", 1500)
        records.save_judgement([], [], [replace(cut, key="tansy:third")], ["email"])
        assert due(records) == ["email", "email"]


def test_acknowledged_and_shelved_alerts_are_not_told_when_it_is_put_back() -> None:
    with fresh() as records:
        shelved = replace(ALERT, id="tansy:2", shelved_until_ms=9000)
        seen = replace(ALERT, acknowledged_at_ms=3000)
        records.take_out("tansy", None, "Ash", "", 1500)
        told = [TOLD, replace(TOLD, key="tansy:2:raised", alert_id="tansy:2")]
        records.save_judgement([seen, shelved], [], told, ["email"])
        assert records.put_back("tansy", 5000) == 0


def test_what_cannot_be_is_refused_and_taken_out_again_it_keeps_its_beginning() -> None:
    with fresh() as records:
        for bin_id, until_ms in (("nowhere", None), ("tansy", 1000)):
            with pytest.raises(UnderlidError):
                records.take_out(bin_id, until_ms, "Ash", "", 1000)
        with pytest.raises(UnderlidError):
            records.put_back("nowhere", 1)
        records.take_out("tansy", None, "Ash", "emptied", 1000)
        records.take_out("tansy", 9000, "Robin", "painted", 2000)
        (out,) = records.out_of_service().values()
        assert (out.since_ms, out.until_ms, out.by, out.why) == (1000, 9000, "Robin", "painted")
        records.remove_bin("tansy")
        assert records.out_of_service() == {}
