"""The register of loan equipment: where each machine is, since when, and for whom it is kept."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.db.backends.postgresql.psycopg_any import DateRange

from servicedesk.common.ids import new_id
from servicedesk.consumables.models import LoanMachine, LoanReservation
from servicedesk.consumables.queries import loan_row, loans
from servicedesk.consumables.services import (
    loan_archive,
    loan_move,
    loan_reservation_end,
    loan_reserve,
    loan_save,
)  # fmt: skip
from servicedesk.people.models import Role
from tests.builders import a_depot, a_site, a_technician, a_user, an_installation
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 12, 7, 16, tzinfo=UTC)
TODAY = date(2026, 12, 7)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _monday() -> Any:
    with time_machine.travel(NOW, tick=True):
        yield


def a_loan(code: str = "LC-1") -> LoanMachine:
    return loan_save(machine=LoanMachine(code=code, name="Chiller", kind="chiller"), at=a_depot(), actor=a_user())


def test_new_machine_lies_in_its_store() -> None:
    row = loan_row(a_loan(), TODAY)
    assert row.stay is not None
    assert row.stay.depot is not None
    assert not row.is_out


def test_moves_keep_the_history() -> None:
    machine, actor = a_loan(), a_user()
    reef, van = an_installation(bands=False), a_technician().van
    site = reef.placements.get().site
    loan_move(machine=machine, to=van, actor=actor)
    loan_move(machine=machine, to=reef, site=site, due_back_on=TODAY + 5 * DAY, actor=actor)
    stays = list(machine.stays.order_by("since", "pk"))
    assert [bool(stay.until) for stay in stays] == [True, True, False]
    assert [one.until for one in stays[:-1]] == [two.since for two in stays[1:]]
    assert (stays[-1].site, stays[-1].installation, stays[-1].by) == (site, reef, actor)


def test_same_place_again_is_no_move() -> None:
    machine, site = a_loan(), a_site()
    loan_move(machine=machine, to=site, actor=a_user())
    loan_move(machine=machine, to=site, due_back_on=TODAY + DAY, actor=a_user())
    assert machine.stays.count() == 2
    assert machine.stays.get(until=None).due_back_on == TODAY + DAY


def test_overdue_machines_come_first() -> None:
    a_loan("LA-1")
    late, actor = a_loan("LZ-9"), a_user()
    loan_move(machine=late, to=a_site(), due_back_on=TODAY, actor=actor)
    rows = loans(TODAY + 3 * DAY)
    assert [(row.machine.code, row.overdue_days) for row in rows] == [("LZ-9", 3), ("LA-1", 0)]


def test_kept_for_one_site_at_a_time() -> None:
    machine, one, two, actor = a_loan(), a_site(), a_site(), a_user()
    loan_reserve(
        reservation_id=new_id(), machine=machine, site=one, first=TODAY, last=TODAY + 2 * DAY, why="", actor=actor
    )
    again = {
        "machine": machine,
        "site": two,
        "first": TODAY + 2 * DAY,
        "last": TODAY + 4 * DAY,
        "why": "",
        "actor": actor,
    }
    with pytest.raises(ValidationError, match="It is kept for"):
        loan_reserve(reservation_id=new_id(), **again)  # type: ignore[arg-type]
    with pytest.raises(IntegrityError):
        LoanReservation.objects.create(machine=machine, site=two, days=DateRange(TODAY, TODAY + DAY))


def test_reservation_given_up_frees_the_days_and_the_same_twice_is_one() -> None:
    machine, actor, key = a_loan(), a_user(), new_id()
    for _again in range(2):
        kept = loan_reserve(
            reservation_id=key, machine=machine, site=a_site(), first=TODAY, last=TODAY, why="", actor=actor
        )
    assert LoanReservation.objects.count() == 1
    loan_reservation_end(reservation=kept, actor=actor)
    site = a_site()
    loan_reserve(reservation_id=new_id(), machine=machine, site=site, first=TODAY, last=TODAY, why="", actor=actor)
    assert loan_row(machine, TODAY).kept_for(TODAY, TODAY).site == site  # type: ignore[union-attr]


def test_machine_kept_for_another_does_not_go_elsewhere() -> None:
    machine, mine, other, actor = a_loan(), a_site(), a_site(), a_user()
    loan_reserve(
        reservation_id=new_id(), machine=machine, site=mine, first=TODAY, last=TODAY + DAY, why="", actor=actor
    )
    with pytest.raises(ValidationError, match="kept for"):
        loan_move(machine=machine, to=other, actor=actor)
    loan_move(machine=machine, to=mine, actor=actor)
    assert loan_row(machine, TODAY).kept == []


@pytest.mark.parametrize(("back_in", "asks"), [(None, True), (5, True), (2, False)])
def test_loan_that_may_last_into_a_reservation_is_asked_about(back_in: int | None, asks: bool) -> None:
    """Kept from the third day on; no day to be back on may be any day."""
    machine, mine, other, actor = a_loan(), a_site(), a_site(), a_user()
    kept = loan_reserve(
        reservation_id=new_id(), machine=machine, site=mine, first=TODAY + 3 * DAY, last=TODAY + 6 * DAY, why="",
        actor=actor,
    )  # fmt: skip
    move: dict[str, Any] = {
        "machine": machine, "to": other, "actor": actor, "due_back_on": back_in and TODAY + back_in * DAY,
    }  # fmt: skip
    if asks:
        with pytest.raises(ValidationError, match=f"kept for {mine}, Thu 10 Dec 2026 – Sun 13 Dec 2026"):
            loan_move(**move)
        assert not loan_row(machine, TODAY).is_out
    loan_move(**move, though_kept=asks)
    row = loan_row(machine, TODAY)
    assert (row.is_out, row.kept) == (True, [kept])


def test_page_names_for_whom_a_machine_is_kept_and_lends_it_only_with_a_tick(signed_in: SignedIn) -> None:
    machine, mine, other = a_loan(), a_site(), a_site()
    loan_reserve(
        reservation_id=new_id(), machine=machine, site=mine, first=TODAY + DAY, last=TODAY + DAY, why="", actor=a_user()
    )
    client, url = signed_in(Role.OFFICE), f"/stores/loans/{machine.pk}/move/"
    sent = {"token": str(new_id()), "to": f"site-{other.pk}", "note": "Pump fails"}
    refused = client.post(url, sent)
    assert refused.status_code == 422
    page = refused.content.decode()
    assert f"It is kept for {mine}, Tue 8 Dec 2026" in page
    assert 'name="though_kept"' in page
    assert 'value="Pump fails"' in page
    assert client.post(url, sent | {"though_kept": "on"}).status_code == 302
    assert str(mine) in client.get("/stores/loans/").content.decode()
    assert 'name="though_kept"' in client.get(f"/stores/loans/{machine.pk}/").content.decode()


def test_same_store_again_keeps_both_notes() -> None:
    machine, depot, actor = a_loan(), a_depot(), a_user()
    loan_move(machine=machine, to=depot, note="Seal changed", actor=actor)
    for _again in range(2):
        loan_move(machine=machine, to=depot, note="Tested", actor=actor)
    assert machine.stays.get(until=None).note == "Seal changed; Tested"
    with pytest.raises(ValidationError, match="Make it shorter"):
        loan_move(machine=machine, to=depot, note="x" * 150, actor=actor)
    assert machine.stays.get(until=None).note == "Seal changed; Tested"


def test_note_added_at_a_clients_leaves_the_day_agreed() -> None:
    machine, site, actor = a_loan(), a_site(), a_user()
    loan_move(machine=machine, to=site, due_back_on=TODAY + DAY, actor=actor)
    loan_move(machine=machine, to=site, note="Hose replaced", actor=actor)
    assert machine.stays.get(until=None).due_back_on == TODAY + DAY


def test_moves_cannot_be_in_the_future_or_before_it_came() -> None:
    machine, actor = a_loan(), a_user()
    with pytest.raises(ValidationError, match="still to come"):
        loan_move(machine=machine, to=a_site(), at=NOW + DAY, actor=actor)
    with pytest.raises(ValidationError, match="cannot be earlier"):
        loan_move(machine=machine, to=a_site(), at=NOW - DAY, actor=actor)


def test_machine_at_a_clients_stays_in_the_register() -> None:
    machine, actor = a_loan(), a_user()
    loan_move(machine=machine, to=a_site(), actor=actor)
    with pytest.raises(ValidationError, match="still at a client's"):
        loan_archive(machine=machine, actor=actor)
    loan_move(machine=machine, to=a_depot(), actor=actor)
    loan_archive(machine=machine, actor=actor)
    assert loans(TODAY) == []
