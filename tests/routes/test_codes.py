"""Gate codes are shown to whoever is on the round, on its day, and each time noted."""

from datetime import UTC, datetime, timedelta
from http import HTTPStatus

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client

from servicedesk.clients.models import GateCode
from servicedesk.routes.models import CodeReveal, Round
from servicedesk.routes.services.codes import code_reveal
from servicedesk.routes.services.publishing import week_publish
from tests.routes.cast import WEEK, Cast, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
ON_THE_DAY = datetime(2026, 12, 7, 15, tzinfo=UTC)


def a_published_round(cast: Cast) -> tuple[Round, GateCode]:
    site = a_site(cast, "Pier")
    row = a_round(cast.rob, [a_visit(site)])
    week_publish(week=WEEK, version=1, actor=cast.planner)
    row.refresh_from_db()
    return row, GateCode.objects.create(site=site, label="yard", secret="4711#")


def test_technician_on_the_round_sees_the_code_and_it_is_noted() -> None:
    cast = the_cast()
    row, code = a_published_round(cast)
    assert code_reveal(round=row, code=code, at=ON_THE_DAY, actor=cast.rob.user) == "4711#"
    noted = CodeReveal.objects.get()
    assert (noted.code, noted.round, noted.by) == (code, row, cast.rob.user)


@pytest.mark.parametrize("who", ["ana", "planner"])
def test_nobody_else_sees_it(who: str) -> None:
    cast = the_cast()
    row, code = a_published_round(cast)
    actor = cast.planner if who == "planner" else cast.ana.user
    with pytest.raises(ValidationError, match="only to the technician"):
        code_reveal(round=row, code=code, at=ON_THE_DAY, actor=actor)
    assert not CodeReveal.objects.exists()


@pytest.mark.parametrize("at", [datetime(2026, 12, 7, 5, 59, tzinfo=UTC), datetime(2026, 12, 8, 6, 1, tzinfo=UTC)])
def test_not_on_the_days_around(at: datetime) -> None:
    cast = the_cast()
    row, code = a_published_round(cast)
    with pytest.raises(ValidationError, match="on the day"):
        code_reveal(round=row, code=code, at=at, actor=cast.rob.user)


def test_not_for_a_door_that_is_not_on_the_round() -> None:
    cast = the_cast()
    row, _code = a_published_round(cast)
    other = GateCode.objects.create(site=a_site(cast, "Elsewhere"), label="lobby", secret="0815")
    with pytest.raises(ValidationError, match="not on the round"):
        code_reveal(round=row, code=other, at=ON_THE_DAY, actor=cast.rob.user)


def test_not_while_the_round_is_a_draft() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    row = a_round(cast.rob, [a_visit(site)])
    code = GateCode.objects.create(site=site, label="yard", secret="4711#")
    with pytest.raises(ValidationError):
        code_reveal(round=row, code=code, at=ON_THE_DAY, actor=cast.rob.user)


def test_button_is_there_on_the_day_only_and_a_refusal_is_told_in_its_place(client: Client) -> None:
    cast = the_cast()
    _row, code = a_published_round(cast)
    client.force_login(cast.rob.user)
    with time_machine.travel(ON_THE_DAY):
        assert "Show code" in client.get("/round/2026-12-07/").content.decode()
    with time_machine.travel(ON_THE_DAY - timedelta(days=2)):
        page = client.get("/round/2026-12-07/").content.decode()
        answer = client.post(f"/round/2026-12-07/codes/{code.pk}/", headers={"HX-Request": "true"})
    assert "Show code" not in page
    assert "yard: shown on the day of the round only" in page
    assert answer.status_code == HTTPStatus.OK
    assert "on the day of the round only" in answer.content.decode()
    assert "4711" not in answer.content.decode()
