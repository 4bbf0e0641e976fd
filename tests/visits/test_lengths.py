"""How long visits really take, learned from past ones, and used when a week is planned."""

from datetime import UTC, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from servicedesk.clients.models import Agreement
from servicedesk.installations.models import Installation
from servicedesk.people.models import Role
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.lengths import agreement_length, learned_of, visit_length
from servicedesk.visits.services.lengths import lengths_refresh
from tests.builders import a_user, a_visit, an_agreement, an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def reef() -> Installation:
    return an_installation(bands=False)


@pytest.fixture
def agreement(reef: Installation) -> Agreement:
    return an_agreement(reef.placements.get().site, duration_min=60)


def done(agreement: Agreement, reef: Installation, *minutes: float, **over: object) -> None:
    """Signed visits of such lengths, the last one yesterday, one a week."""
    for weeks, length in enumerate(reversed(minutes)):
        ended = datetime.now(UTC) - timedelta(days=1 + 7 * weeks)
        times = {"started_at": ended - timedelta(minutes=length), "ended_at": ended, "signed_at": ended}
        fields = {"agreement": agreement, "state": "signed", "due_on": ended.date()} | times | over
        a_visit(agreement.site, reef, **fields)


def coming(agreement: Agreement, reef: Installation, **over: object) -> Visit:
    fields = {"agreement": agreement, "duration_min": 60, "due_on": datetime.now(UTC).date() + timedelta(days=3)}
    return a_visit(agreement.site, reef, **(fields | over))


def planned_with(visit: Visit) -> int:
    lengths_refresh()
    visit.refresh_from_db()
    return visit.duration_min


def test_typed_value_holds_until_there_are_four(agreement: Agreement, reef: Installation) -> None:
    visit = coming(agreement, reef)
    done(agreement, reef, 80, 82, 84)
    assert planned_with(visit) == 60
    done(agreement, reef, 82)
    assert planned_with(visit) == 82


def test_forgotten_tablet_hardly_counts(agreement: Agreement, reef: Installation) -> None:
    done(agreement, reef, 80, 82, 84, 78, 81, 900)
    assert 80 <= planned_with(coming(agreement, reef)) <= 86


def test_impossible_lengths_are_no_lengths() -> None:
    assert learned_of([2, 3, 1000, 5000, 80, 80, 80]) is None
    assert learned_of([80.0] * 4) is not None


def test_only_the_newest_dozen_teaches(agreement: Agreement, reef: Installation) -> None:
    done(agreement, reef, *[40] * 10, *[90] * 12)
    assert planned_with(coming(agreement, reef)) == 90


def test_visits_that_looked_after_something_else_teach_nothing(agreement: Agreement, reef: Installation) -> None:
    second = an_installation(agreement.site, bands=False)
    done(agreement, reef, 80, 82, 84, 82)
    both = coming(agreement, reef)
    both.covers.create(installation=second)
    assert planned_with(both) == 60


def test_extra_visits_neither_teach_nor_learn(agreement: Agreement, reef: Installation) -> None:
    done(agreement, reef, 80, 82, 84, 82, kind="extra")
    assert planned_with(coming(agreement, reef)) == 60
    done(agreement, reef, 80, 82, 84, 82)
    extra = a_visit(agreement.site, reef, kind="extra", duration_min=30)
    assert planned_with(extra) == 30
    assert visit_length(extra) is None


def test_visit_given_out_keeps_its_length(agreement: Agreement, reef: Installation) -> None:
    done(agreement, reef, 80, 82, 84, 82)
    assert planned_with(coming(agreement, reef, state="published")) == 60


def test_agreement_may_insist_on_what_was_typed(agreement: Agreement, reef: Installation) -> None:
    visit = coming(agreement, reef)
    done(agreement, reef, 80, 82, 84, 82)
    assert planned_with(visit) == 82
    Agreement.objects.update(learn_duration=False)
    assert planned_with(visit) == 60


def test_refreshing_twice_changes_nothing_more(agreement: Agreement, reef: Installation) -> None:
    visit = coming(agreement, reef)
    done(agreement, reef, 80, 82, 84, 82)
    assert (lengths_refresh([visit.pk]), lengths_refresh([visit.pk])) == (1, 0)


def test_spread_is_shown_where_the_length_is_typed_and_on_the_visit(
    agreement: Agreement, reef: Installation, client: Client
) -> None:
    done(agreement, reef, 70, 76, 84, 90)
    length = agreement_length(agreement)
    assert length.learned is not None
    assert length.learned.low < length.learned.minutes == 80 < length.learned.high
    client.force_login(a_user(Role.PLANNER), backend="django.contrib.auth.backends.ModelBackend")
    part = client.get(reverse("visits:agreement-length", args=[agreement.pk])).content.decode()
    words = f"The last 4 visits took 80 min, two in three of them {length.learned.low} to {length.learned.high} min"
    assert words in part
    assert (
        reverse("visits:agreement-length", args=[agreement.pk])
        in client.get(reverse("clients:agreement-edit", args=[agreement.pk])).content.decode()
    )
    assert words in client.get(reverse("visits:visit", args=[coming(agreement, reef).pk])).content.decode()
