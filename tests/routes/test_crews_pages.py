"""The second person on the Week: chosen in the dialog, dragged like any block, told on the ribbon by word and shape."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from servicedesk.routes.queries.to_publish import publish_summary
from servicedesk.routes.queries.week import board
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, a_plan, a_technician, the_cast
from tests.routes.test_crews import both, for_two, helps, move, paired, parts

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
PAGE = f"/week/{WEEK.year}/{WEEK.number}/"
HTMX = {"HX-Request": "true"}


def test_dialog_offers_who_could_come_and_the_choice_is_kept(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    client = signed_in(user=cast.planner)
    opened = client.get(f"{PAGE}move/{visit.pk}/", headers=HTMX).content.decode()
    assert f"{PAGE}help/{visit.pk}/?inside=1" in opened
    offered = client.get(f"{PAGE}help/{visit.pk}/?inside=1", headers=HTMX).content.decode()
    assert "nobody helps Rob Reef yet" in offered
    assert "both begin 08:00" in offered
    assert f'value="{cast.ana.pk}"' in offered
    sent = {"version": a_plan().version, "technician": cast.ana.pk, "day": "2026-12-07"}
    answer = client.post(f"{PAGE}help/{visit.pk}/", sent, headers=HTMX)
    assert answer.status_code == 200
    assert both(visit)[1].round.technician == cast.ana
    again = client.get(f"{PAGE}help/{visit.pk}/", headers=HTMX).content.decode()
    assert "Ana Algae helps Rob Reef" in again
    assert "Take Ana Algae off" in again


def test_double_click_on_choose_makes_one_change_and_is_answered_alike(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    client = signed_in(user=cast.planner)
    offered = client.get(f"{PAGE}help/{visit.pk}/", headers=HTMX).content.decode()
    token = offered.split('name="token" value="')[1].split('"')[0]
    version = a_plan().version
    sent = {"version": version, "technician": cast.ana.pk, "day": "2026-12-07", "token": token}
    answers = [client.post(f"{PAGE}help/{visit.pk}/", sent, headers=HTMX) for _click in range(2)]
    assert [row.status_code for row in answers] == [200, 200]
    assert a_plan().version == version + 1
    # the same form with something else asked is no second click, but late
    other = client.post(f"{PAGE}help/{visit.pk}/", sent | {"technician": ""}, headers=HTMX)
    assert other.status_code == 409


def test_drag_of_the_helpers_block_answers_with_the_rounds_that_changed(signed_in: SignedIn) -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = paired(cast)
    span = ".".join(map(str, board(WEEK).span))
    sent = {"version": a_plan().version, "technician": kim.pk, "day": "2026-12-07", "position": 1, "span": span}
    answer = signed_in(user=cast.planner).post(f"{PAGE}help/{visit.pk}/", sent, headers=HTMX).content.decode()
    assert [f'id="cell-{who.pk}-2026-12-07"' in answer for who in (cast.rob, cast.ana, kim)] == [True, True, True]
    assert both(visit)[1].round.technician == kim


@pytest.mark.parametrize("day", ["2026-12-08", "2026-12-07"])
def test_drag_to_another_day_or_the_lead_is_refused_in_words(signed_in: SignedIn, day: str) -> None:
    cast = the_cast()
    visit = paired(cast)
    sent = {"version": a_plan().version, "technician": cast.rob.pk, "day": day, "position": 1}
    answer = signed_in(user=cast.planner).post(f"{PAGE}help/{visit.pk}/", sent, headers=HTMX)
    assert answer.status_code == 422
    assert ("the second person comes on that day" if day.endswith("08") else "the second person is somebody else") in (
        answer.content.decode()
    )
    assert both(visit)[1].round.technician == cast.ana


def test_block_of_the_helper_is_told_apart_by_word_and_shape(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = paired(cast)
    page = signed_in(user=cast.planner).get(PAGE).content.decode()
    assert page.count(f'data-visit="{visit.pk}"') == 4  # a block and a line for each of the two
    assert 'class="block help"' in page
    assert "help Rob Reef for the first 45 min" in page
    assert "with Ana Algae for the first 45 min" in page
    assert page.count(f'id="stop-{visit.pk}"') == 1


def test_tray_offers_to_choose_who_helps(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    page = signed_in(user=cast.planner).get(PAGE).content.decode()
    tray = page[page.index('id="tray"') :]
    assert "nobody comes as the second person at 08:00" in tray
    assert f"{PAGE}help/{visit.pk}/" in tray
    helps(cast, visit, cast.ana)
    tray = signed_in(user=cast.planner).get(PAGE).content.decode().split('id="tray"')[1]
    assert f"{PAGE}help/{visit.pk}/" not in tray


def test_publishing_warns_of_a_missing_second_person(signed_in: SignedIn) -> None:
    cast = the_cast()
    move(cast, for_two(cast), cast.rob)
    page = signed_in(user=cast.planner).get(f"{PAGE}publish/").content.decode()
    assert "nobody comes as the second person at 08:00" in page


def test_publishing_tells_what_is_lacking_before_what_a_site_would_rather_have(signed_in: SignedIn) -> None:
    cast = the_cast()
    pier = for_two(cast)
    move(cast, pier, cast.rob)
    a_plan().rounds.update(warnings=[{"visit": str(pier.pk), "words": "Pier would rather have Ana Algae."}])
    summary = publish_summary(WEEK)
    assert ["nobody comes" in words for words in summary.warnings] == [True]
    assert summary.preferences == ["Rob Reef, Mon 7 Dec: Pier would rather have Ana Algae."]
    page = signed_in(user=cast.planner).get(f"{PAGE}publish/").content.decode()
    assert page.index("nobody comes") < page.index("Who gets what") < page.index("would rather have")


def test_choices_take_a_fixed_number_of_queries(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    client, counts = signed_in(user=cast.planner), []
    for name in ("", "Kim Kelp", "Lou Limpet"):
        if name:
            a_technician(name, cast.rob.depot)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"{PAGE}help/{visit.pk}/", headers=HTMX).status_code == 200
        counts.append(len(queries))
    assert counts[1] == counts[2]
    assert counts[2] <= 30
    assert parts(visit)[0].round.date == MONDAY
