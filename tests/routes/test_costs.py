"""Cost to serve from actual rounds, and a prospective site put into each of them."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client

from servicedesk.people.models import Role
from servicedesk.routes.costs import summed
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.costs import costs, work_between
from servicedesk.routes.queries.hours import Month, sheets
from servicedesk.routes.queries.prospect import Prospect, fits, typical_weeks
from servicedesk.routes.timesheets import hours_text, sheet_pdf, sheets_csv
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    NASHVILLE,
    WEEK,
    Cast,
    a_badge,
    a_round,
    a_site,
    a_user,
    a_visit,
    the_cast,
)  # fmt: skip

pytestmark = pytest.mark.django_db
CHICAGO = ZoneInfo("America/Chicago")


def done_round(cast: Cast) -> None:
    """Rob on Monday: an hour in Nashville from nine, an hour in Murfreesboro from half past ten."""
    visits = []
    for name, city, at, hour, minute in (
        ("One", "Nashville", NASHVILLE, 9, 0), ("Two", "Murfreesboro", MURFREESBORO, 10, 30),
    ):  # fmt: skip
        begun = datetime(2026, 12, 7, hour, minute, tzinfo=CHICAGO)
        ended = begun + timedelta(hours=1)
        visits.append(
            a_visit(
                a_site(cast, name, at, city=city), state="signed", technician=cast.rob.user, started_at=begun,
                ended_at=ended, signed_at=ended, planned_on=MONDAY,
            )
        )  # fmt: skip
    a_round(cast.rob, visits)


def test_hours_kilometres_and_money_by_city() -> None:
    cast = the_cast()
    done_round(cast)
    found = costs([Month(2026, 12)])
    by_city = {row.city: row for row in found.by_city}
    # Twenty minutes and ten kilometres a leg as planned; the drive home counts in the last city.
    murfreesboro, nashville = by_city["Murfreesboro"], by_city["Nashville"]
    assert (nashville.visits, nashville.drive_s, nashville.work_s, nashville.metres) == (1, 1200, 3600, 10_000)
    assert (murfreesboro.visits, murfreesboro.drive_s, murfreesboro.wait_s) == (1, 2400, 600)
    assert nashville.cost == Decimal(32) * 4800 / 3600 + Decimal("0.42") * 10
    assert sum((row.cost for row in found.by_city), Decimal(0)) == found.whole.cost
    assert sum(row.metres for row in found.by_both) == found.whole.metres == 30_000


def test_hours_of_the_cities_are_the_hours_of_the_sheet() -> None:
    cast = the_cast()
    done_round(cast)
    [whole] = summed(work_between([cast.rob], MONDAY, MONDAY))
    [sheet] = sheets([cast.rob], Month(2026, 12))
    assert whole.drive_s + whole.work_s + whole.wait_s == sheet.total.worked_s


def test_month_without_rounds_is_empty() -> None:
    the_cast()
    assert costs([Month(2026, 12)]).whole.hours == 0


def a_prospect(**over: Any) -> Prospect:
    fields: dict[str, Any] = {"name": "Quay", "at": MURFREESBORO, "duration_min": 60, "cadence": "fortnightly"}
    return Prospect(**(fields | {"time_zone": "America/Chicago"} | over))


def test_prospect_is_cheapest_where_somebody_drives_already() -> None:
    cast = the_cast()
    done_round(cast)
    found = fits(a_prospect(), WEEK)
    assert found.best is not None
    assert found.next_best is not None
    assert (found.best.technician, found.best.entry.date) == (cast.rob, MONDAY)
    assert not found.best.is_new_day
    assert found.next_best.is_new_day
    assert found.best.year_cost == found.best.way.cost * 26
    assert found.dearer == (found.next_best.way.cost - found.best.way.cost) * 26 > 0
    # It stands beside a stop: an hour's wage, the hour of a move, and hardly a kilometre.
    assert Decimal(32) <= found.best.way.cost < Decimal(36)
    assert found.best.way.metres < 2000


def test_prospect_that_needs_a_permission_nobody_holds_fits_nowhere_and_says_so() -> None:
    cast = the_cast()
    done_round(cast)
    found = fits(a_prospect(needs=(a_badge(),)), WEEK)
    assert found.best is None
    assert "needs Harbour badge" in found.no_fits[0].why


def test_past_weeks_with_rounds_are_typical() -> None:
    done_round(the_cast())
    assert typical_weeks(date(2026, 12, 16)) == [(WEEK, 1)]


def test_timesheet_as_a_table() -> None:
    cast = the_cast()
    done_round(cast)
    HoursEntry.objects.create(
        technician=cast.rob, kind="work", began_at=datetime(2026, 12, 8, 14, tzinfo=UTC),
        ended_at=datetime(2026, 12, 8, 16, 15, tzinfo=UTC), by=cast.planner,
    )  # fmt: skip
    lines = sheets_csv(sheets([cast.rob], Month(2026, 12))).splitlines()
    assert lines[0].startswith("person,date,begins,ends,elapsed_h,worked_h")
    assert lines[1].split(",")[:6] == [
        "Rob Reef", "2026-12-07", "2026-12-07T08:40-06:00", "2026-12-07T11:50-06:00", "3.17", "3.17",
    ]  # fmt: skip
    assert lines[2].split(",")[5] == "2.25"


def test_doubled_hour_is_told_apart_in_the_table() -> None:
    cast = the_cast()
    first, second = (datetime(2026, 11, 1, 1, 30, tzinfo=CHICAGO, fold=fold) for fold in (0, 1))
    HoursEntry.objects.create(technician=cast.rob, kind="work", began_at=first, ended_at=second, by=cast.planner)
    row = sheets_csv(sheets([cast.rob], Month(2026, 11))).splitlines()[1].split(",")
    assert row[2:6] == ["2026-11-01T01:30-05:00", "2026-11-01T01:30-06:00", "1.00", "1.00"]


def test_cell_that_looks_like_a_formula_is_made_text() -> None:
    cast = the_cast()
    cast.rob.user.name = "=cmd()"
    cast.rob.user.save()
    done_round(cast)
    assert sheets_csv(sheets([cast.rob], Month(2026, 12))).splitlines()[1].startswith("'=cmd()")


def test_hours_are_rounded_to_hundredths() -> None:
    assert [hours_text(seconds) for seconds in (0, 3600, 4820)] == ["0.00", "1.00", "1.34"]


def test_timesheet_on_paper() -> None:
    cast = the_cast()
    done_round(cast)
    assert sheet_pdf(sheets([cast.rob], Month(2026, 12))[0]).startswith(b"%PDF")


def browser(user: object) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")  # type: ignore[arg-type]
    return client


def test_technicians_open_their_own_sheet_only() -> None:
    cast = the_cast()
    address = f"/settings/people/hours/{cast.rob.pk}/"
    assert browser(cast.rob.user).get(address).status_code == 200
    assert browser(cast.ana.user).get(address).status_code == 404
    assert browser(a_user("Ina Office", Role.OFFICE)).get(address).status_code == 200


def test_hours_typed_wrong_are_told_beside_the_field_and_kept() -> None:
    cast = the_cast()
    typed = {"kind": "work", "day": "2026-02-30", "begins": "09:00", "ends": "10:00", "note": "workshop"}
    typed["token"] = "0193d9c1-0000-7000-8000-000000000000"
    address = f"/settings/people/hours/{cast.rob.pk}/entries/"
    response = browser(cast.rob.user).post(address, typed)
    assert response.status_code == 422
    assert "2026-02-30" in response.content.decode()
    assert "workshop" in response.content.decode()
    response = browser(cast.rob.user).post(address, typed | {"day": "2025-12-01"})
    assert response.status_code == 302
    browser(cast.rob.user).post(address, typed | {"day": "2025-12-01"})
    assert HoursEntry.objects.count() == 1
    again = typed | {"day": "2025-12-01", "token": "0193d9c1-0000-7000-8000-000000000001"}
    response = browser(cast.rob.user).post(address, again)
    assert "Some of this time is noted already." in response.content.decode()


def test_pay_rule_with_half_a_night_is_refused_beside_the_field() -> None:
    cast = the_cast()
    typed = {"valid_from": "2026-01-01", "week_hours": "40", "night_from": "22:00", "night_premium": "3"}
    response = browser(cast.office).post(f"/settings/people/hours/{cast.rob.pk}/rules/", typed)
    assert response.status_code == 422
    assert "A night needs its beginning and its end." in response.content.decode()
    assert browser(cast.rob.user).post(f"/settings/people/hours/{cast.rob.pk}/rules/", typed).status_code == 403
    typed["night_to"] = "06:00"
    assert browser(cast.office).post(f"/settings/people/hours/{cast.rob.pk}/rules/", typed).status_code == 302
    rule = cast.rob.pay_rules.get()
    assert (rule.night_from, rule.night_to) == (time(22), time(6))
