"""Hours on the pages of the office are those of the place they speak of, not of whoever reads them."""

from datetime import UTC, datetime, time

import pytest
import time_machine

from servicedesk.people.models import WorkingHours
from servicedesk.routes.services.publishing import week_publish
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import EASTERN, WEEK, Cast, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
TEN = datetime(2026, 12, 7, 16, 0, tzinfo=UTC)  # Mon 7 Dec, 10:00 in Chicago, 11:00 in New York


@pytest.fixture
def cast() -> Cast:
    """Everybody lives by the clock of Chicago; a site lies an hour to the east of it."""
    return the_cast()


@time_machine.travel(TEN, tick=False)
def test_hour_to_offer_a_client_is_on_the_client_s_clock(cast: Cast, signed_in: SignedIn) -> None:
    visit = a_visit(a_site(cast, "Cove", time_zone=EASTERN))
    a_round(cast.rob, [visit], first_s=8 * 3600)
    with time_machine.travel(datetime(2026, 12, 4, 15, tzinfo=UTC)):
        week_publish(week=WEEK, version=1, actor=cast.planner)
    assert Visit.objects.get().promised_start == time(9)
    page = signed_in(user=cast.planner).get("/week/late/").content.decode()
    assert "would 11:00 do?" in page
    assert 'value="11:00"' in page


@time_machine.travel(TEN, tick=False)
def test_urgent_call_tells_the_hour_at_the_site_and_home_at_home(cast: Cast, signed_in: SignedIn) -> None:
    site = a_site(cast, "Cove", time_zone=EASTERN)
    cast.ana.working_hours.all().delete()
    WorkingHours.objects.filter(technician=cast.rob).update(starts=time(11), ends=time(17))
    wanted = {"what": "Leak", "duration_min": "60", "days": "1", "any_hour": "on"}
    page = signed_in(user=cast.planner).get(f"/week/urgent/{site.pk}/", wanted).content.decode()
    assert '<b class="at">12:00</b>' in page
    assert "<dd>12:00</dd>" in page  # an hour later, on the technician's own clock
