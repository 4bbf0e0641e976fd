"""Travel times: the estimate by the owner's constants, drives of a file and of the road service, the notice."""

import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from servicedesk.people.models import Role, User
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.travel import great_circle_km
from servicedesk.routes import travel_importing
from servicedesk.routes.models import PlanRun, Round
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.travel import (
    _remembered,
    known_drives,
    provider_for,
    service_address,
    travel_rule,
    week_notice,
)
from servicedesk.routes.services import travel as services
from servicedesk.routes.services.runs import run_execute
from servicedesk.routes.travel import ESTIMATE, FILE, NO_ROAD, ROADS, point_key
from servicedesk.routes.travel_models import TravelDrive, TravelFill, TravelRule
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    NASHVILLE,
    WEEK,
    Cast,
    a_plan,
    a_round,
    a_site,
    a_user,
    a_visit,
    the_cast,
)
from tests.routes.road_server import Roads, road_server

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
FRANKLIN = (35.9251, -86.8689)


def drive(start: tuple[float, float], end: tuple[float, float], seconds: int | None, source: str = "file") -> None:
    metres = None if seconds is None else 1234
    TravelRule.objects.get_or_create(pk=1)  # as every way of storing drives writes it
    TravelDrive.objects.create(
        start=point_key(start), end=point_key(end), source=source, seconds=seconds, metres=metres,
        known_at=datetime.now(UTC),
    )  # fmt: skip


@pytest.fixture
def roads() -> Iterator[Roads]:
    with road_server() as running:
        TravelRule.objects.create(service_url=running.url, timeout_s=1)
        yield running


@pytest.fixture(autouse=True)
def fresh(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing remembered of another test's drives; few tries of the planner."""
    _remembered.cache_clear()
    whole = WeekProblem.solve
    monkeypatch.setattr(WeekProblem, "solve", lambda self, _s, seed, tell: whole(self, 1, seed, tell, iterations=5))


def test_estimate_goes_by_the_owners_constants() -> None:
    slow = TravelRule(detour=1.5, per_move_s=600, city_kmh=10, town_kmh=10, country_kmh=10, motorway_kmh=10)
    services.rule_save(rule=slow, actor=a_user("Olive Owner", Role.OWNER))
    seconds, metres = provider_for([NASHVILLE, FRANKLIN]).drive(NASHVILLE, FRANKLIN)
    km = great_circle_km(NASHVILLE, FRANKLIN) * 1.5
    assert (seconds, metres) == (round(km / 10 * 3600) + 600, round(km * 1000))


def test_every_cell_says_where_it_is_from_and_the_file_is_believed_first() -> None:
    drive(NASHVILLE, FRANKLIN, 700, "roads")
    drive(NASHVILLE, FRANKLIN, 650)
    drive(FRANKLIN, NASHVILLE, 720, "roads")
    drive(NASHVILLE, MURFREESBORO, None, "roads")
    places = [NASHVILLE, FRANKLIN, MURFREESBORO]
    matrix = provider_for(places).table(places)
    assert [matrix.source[0], matrix.source[1]] == [[ESTIMATE, FILE, NO_ROAD], [ROADS, ESTIMATE, ESTIMATE]]
    assert (matrix.seconds[0][1], matrix.seconds[1][0], matrix.seconds[0][0]) == (650, 720, 0)
    assert matrix.seconds[0][2] == matrix.seconds[2][0] > 0  # no road: the estimate stands in


def test_point_moved_by_a_few_metres_keeps_its_drives() -> None:
    drive(NASHVILLE, FRANKLIN, 700)
    near = (FRANKLIN[0] + 0.00003, FRANKLIN[1])
    assert provider_for([NASHVILLE, near]).drive(NASHVILLE, near)[0] == 700


def test_planner_times_rounds_by_known_drives_and_hand_moves_alike() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier", FRANKLIN))
    drive(NASHVILLE, FRANKLIN, 777)
    drive(FRANKLIN, NASHVILLE, 888)
    problem = week_problem(WEEK, a_plan(), {cast.rob.pk: cast.rob})
    timed = problem.timed((cast.rob.pk, MONDAY), [str(visit.pk)])
    assert (timed.travel_s, timed.distance_m, timed.stops[0].travel_s) == (777 + 888, 2468, 777)
    table = problem._timer.problem.table
    assert table is not None
    assert Evaluator(problem._timer.instance) is not None
    a_round(cast.rob, [visit])
    Round.objects.update(locked=True)
    kept = week_problem(WEEK, a_plan(), {cast.rob.pk: cast.rob})._timer.as_asked((cast.rob.pk, MONDAY))
    assert kept.travel_s == 777 + 888


def test_unchanged_drives_are_read_once_by_a_process() -> None:
    services.drives_import(drives=[], actor=a_user("Olive Owner", Role.OWNER))
    drive(NASHVILLE, FRANKLIN, 700)
    provider_for([NASHVILLE, FRANKLIN])
    with CaptureQueriesContext(connection) as queries:
        assert provider_for([FRANKLIN, NASHVILLE]).drive(NASHVILLE, FRANKLIN)[0] == 700
    assert len(queries) == 1


def test_change_of_drives_reaches_a_process_that_remembers_them() -> None:
    owner = a_user("Olive Owner", Role.OWNER)
    for seconds in (700, 900):
        row = TravelDrive(
            start=point_key(NASHVILLE), end=point_key(FRANKLIN), source="file", seconds=seconds, metres=1,
            known_at=datetime.now(UTC),
        )  # fmt: skip
        services.drives_import(drives=[row], actor=owner)
        assert provider_for([NASHVILLE, FRANKLIN]).drive(NASHVILLE, FRANKLIN)[0] == seconds


# The worker's reading of roads.


def test_worker_reads_what_is_missing_in_blocks_of_fifty(roads: Roads) -> None:
    cast = the_cast()
    for index in range(59):
        a_site(cast, f"Site {index}", (35 + index / 100, -86.0))
    fill = services.fill_request(actor=cast.planner)
    assert fill is not None
    services.fill_execute(fill.pk)
    fill.refresh_from_db()
    places = 59 + 1  # the store and both homes are one place
    assert (fill.state, fill.wanted, fill.asked, fill.estimated) == ("done", places * 59, places * 59, 0)
    assert sorted(roads.asked) == [(10, 10), (10, 50), (50, 10), (50, 50)]
    assert TravelDrive.objects.filter(source="roads").count() == places * 59


def test_second_reading_asks_only_for_new_places(roads: Roads) -> None:
    cast = the_cast()
    a_site(cast, "Old", FRANKLIN)
    first, second = services.fill_request(actor=None), None
    assert first is not None
    services.fill_execute(first.pk)
    asked = len(roads.asked)
    services.fill_execute(first.pk)  # delivered twice
    assert len(roads.asked) == asked
    a_site(cast, "New", MURFREESBORO)
    second = services.fill_request(actor=None)
    assert second is not None
    services.fill_execute(second.pk)
    second.refresh_from_db()
    assert (second.wanted, second.asked, second.estimated) == (6, 4, 0)


def test_old_drives_are_asked_again_but_hold_until_answered(roads: Roads) -> None:
    cast = the_cast()
    a_site(cast, "Pier", FRANKLIN)
    drive(NASHVILLE, FRANKLIN, 4321, "roads")
    TravelDrive.objects.update(known_at=datetime.now(UTC) - timedelta(days=400))
    roads.failing += ["500", "500"]
    fill = services.fill_request(actor=None)
    assert fill is not None
    services.fill_execute(fill.pk)
    fill.refresh_from_db()
    assert (fill.state, fill.estimated) == ("failed", 1)
    assert provider_for([NASHVILLE, FRANKLIN]).drive(NASHVILLE, FRANKLIN)[0] == 4321


def test_without_a_service_nothing_is_asked() -> None:
    assert services.fill_request(actor=None) is None
    assert TravelFill.objects.count() == 0


def test_service_named_by_the_environment_is_asked_and_the_owners_comes_first(settings: object) -> None:
    with road_server() as running:
        settings.OSRM_URL = running.url  # type: ignore[attr-defined]
        assert service_address(travel_rule()) == running.url
        TravelRule.objects.create(service_url="http://roads.example:5000")
        assert service_address(travel_rule()) == "http://roads.example:5000"


def test_another_service_forgets_what_the_old_one_told(roads: Roads) -> None:
    drive(NASHVILLE, FRANKLIN, 700, "roads")
    drive(FRANKLIN, NASHVILLE, 650)
    rule = travel_rule()
    rule.service_url = "http://roads.example:5000"
    services.rule_save(rule=rule, actor=a_user("Olive Owner", Role.OWNER))
    assert list(TravelDrive.objects.values_list("source", flat=True)) == ["file"]


def planned(cast: Cast) -> PlanRun:
    run = PlanRun.objects.create(plan=a_plan(), requested_by=cast.planner, seconds=1)
    run_execute(run.pk)
    run.refresh_from_db()
    assert run.state == "done", run.message
    return run


def test_week_is_planned_by_roads_and_says_nothing(roads: Roads) -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier", FRANKLIN))
    planned(cast)
    row = Round.objects.get(stops__isnull=False)
    there = roads.drive((36.1627, -86.7816), (35.9251, -86.8689))
    assert there is not None
    assert row.travel_s == 2 * round(there[0])
    assert week_notice(a_plan()) == ""


def test_week_planned_while_the_service_is_down_says_so(roads: Roads, client: Client) -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier", FRANKLIN))
    roads.failing += ["500"] * 2
    planned(cast)
    assert Round.objects.get(stops__isnull=False).travel_s > 0
    client.force_login(cast.planner, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(reverse("routes:week", args=[WEEK.year, WEEK.number])).content.decode()
    assert "2 of 2 drives are estimated." in page
    assert "The road service gave an answer that makes no sense (HTTP 500)." in page
    planned(cast)  # up again
    page = client.get(reverse("routes:week", args=[WEEK.year, WEEK.number])).content.decode()
    assert "are estimated" not in page


def test_drives_without_a_road_are_flagged_on_the_week(roads: Roads) -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Island", FRANKLIN))
    roads.cut_off.add((35.9251, -86.8689))
    planned(cast)
    assert "For 2 there is no road." in week_notice(a_plan())


def test_no_page_asks_the_service(roads: Roads, client: Client) -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier", FRANKLIN))
    client.force_login(a_user("Olive Owner", Role.OWNER), backend="django.contrib.auth.backends.ModelBackend")
    for name, arguments in (("week", [WEEK.year, WEEK.number]), ("travel-settings", []), ("cadence", [])):
        assert client.get(reverse(f"routes:{name}", args=arguments)).status_code == 200
    week_problem(WEEK, a_plan(), {cast.rob.pk: cast.rob})
    assert roads.asked == []


# The file.


def fates(*rows: tuple[str, str, str, str]) -> list[tuple[str, str]]:
    named = [dict(zip(("from", "to", "seconds", "metres"), row, strict=True)) for row in rows]
    return [(row.state, row.words) for row in travel_importing.fates(named)]


def test_places_are_known_by_site_technician_store_and_coordinates() -> None:
    cast = the_cast()
    a_site(cast, "Pier", FRANKLIN)
    found = fates(
        ("Pier", "RO", "700", "20000"), ("rob reef", "harbour hotels: pier", "710", "20100"),
        ("Main store", "35.8456, -86.3903", "1900.4", "51000"),
    )  # fmt: skip
    assert [state for state, _words in found] == ["ok"] * 3


def test_each_bad_row_says_what_is_wrong_and_the_rest_is_stored() -> None:
    cast = the_cast()
    a_site(cast, "Pier", FRANKLIN)
    second = type(cast.client).objects.create(number="C2", name="Other")
    a_site(Cast(cast.firm, cast.planner, cast.office, cast.rob, cast.ana, second), "Pier", MURFREESBORO)
    found = fates(
        ("Pier", "RO", "700", "1"), ("Nowhere", "RO", "700", "1"), ("", "RO", "1", "1"),
        ("Harbour Hotels: Pier", "RO", "soon", "1"), ("Other: Pier", "RO", "-5", "1"), ("RO", "ro", "5", "1"),
        ("Other: Pier", "RO", "900", "41000"), ("other: pier", "ro", "901", "41000"), ("Other: Pier", "RO", "nan", "1"),
    )  # fmt: skip
    assert [state for state, _words in found] == ["wrong"] * 6 + ["ok", "wrong", "wrong"]
    words = [text for _state, text in found]
    assert "several places are called “Pier”" in words[0]
    assert "no site, technician or store “Nowhere”" in words[1]
    assert words[2] == "from is empty."
    assert words[3] == "seconds must be a number."
    assert "seconds lies between 0 and" in words[4]
    assert words[5] == "from and to are the same place."
    assert words[7] == "Line 8 has this drive already."


def upload(text: str) -> SimpleUploadedFile:
    return SimpleUploadedFile("drives.csv", text.encode(), content_type="text/csv")


def test_page_shows_fates_first_and_stores_on_the_second_press(client: Client) -> None:
    cast = the_cast()
    a_site(cast, "Pier", FRANKLIN)
    client.force_login(a_user("Olive Owner", Role.OWNER), backend="django.contrib.auth.backends.ModelBackend")
    url, text = reverse("routes:travel-import"), "from,to,seconds,metres\nRO,Pier,700,20000\nRO,Nowhere,1,1\n"
    token = "01890a5d-ac96-774b-bcce-b302099a8057"
    page = client.post(url, {"file": upload(text), "token": token, "look": ""}).content.decode()
    assert "1 would be stored, 0 are in the books already, 1 cannot be read." in page
    assert TravelDrive.objects.count() == 0
    assert client.post(url, {"file": upload(text), "token": token, "store": ""}).status_code == 302
    assert known_drives([point_key(NASHVILLE), point_key(FRANKLIN)])[point_key(NASHVILLE), point_key(FRANKLIN)].seconds
    bad = client.post(url, {"file": upload("from,to\nx,y"), "token": token, "look": ""})
    assert (bad.status_code, "The first row lacks: seconds, metres." in bad.content.decode()) == (422, True)


def test_command_reads_the_same_table(tmp_path: object) -> None:
    cast = the_cast()
    a_site(cast, "Pier", FRANKLIN)
    a_user("Olive Owner", Role.OWNER)
    path = tmp_path / "drives.csv"  # type: ignore[operator]
    path.write_text("from;to;seconds;metres\nRO;Pier;700;20000\n")
    for expected in ("1 stored, 0 known already", "0 stored, 1 known already"):
        out = io.StringIO()
        call_command("import-data", "drives", str(path), stdout=out)
        assert expected in out.getvalue()
    path.write_text("from;to;seconds;metres\nRO;Nowhere;700;20000\n")
    with pytest.raises(CommandError):
        call_command("import-data", "drives", str(path), stdout=io.StringIO())


# The settings page.

FIELDS = {
    "detour": "1.32", "per_move_s": "150", "city_kmh": "24", "city_to_km": "4", "town_kmh": "40", "town_to_km": "14",
    "country_kmh": "68", "country_to_km": "45", "motorway_kmh": "92", "service_url": "", "service_profile": "driving",
    "timeout_s": "10",
}  # fmt: skip


def owner(client: Client, **over: str) -> User:
    found = a_user("Olive Owner", Role.OWNER, **over)
    client.force_login(found, backend="django.contrib.auth.backends.ModelBackend")
    return found


def test_owner_changes_the_constants(client: Client) -> None:
    owner(client)
    assert client.post(reverse("routes:travel-settings"), FIELDS | {"city_kmh": "18,5"}).status_code == 302
    assert TravelRule.objects.get().city_kmh == 18.5


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("detour", "0.9", "Must be at least 1."),
        ("city_kmh", "400", "Must be at most 130."),
        ("motorway_kmh", "fast", "fast"),
        ("town_to_km", "3", "Each stretch must end farther out than the one before."),
        ("per_move_s", "5000", "less than or equal to 1800"),
        ("timeout_s", "0", "greater than or equal to 1"),
        ("service_url", "ftp://roads", "Write an address such as"),
        ("service_url", "http://a b", "Write an address such as"),
        ("service_url", "http://x:99999", "Write an address such as"),
        ("service_profile", "../etc", "Only letters, digits"),
    ],
)
def test_insane_constant_is_refused_beside_its_field_and_the_rest_is_kept(
    client: Client, field: str, typed: str, words: str
) -> None:
    owner(client)
    page = client.post(reverse("routes:travel-settings"), FIELDS | {"country_to_km": "50", field: typed})
    text = page.content.decode()
    assert page.status_code == 422
    assert words in text
    assert f'value="{typed}"' in text
    assert 'value="50"' in text
    assert not TravelRule.objects.exists()


def test_reader_in_miles_types_miles_and_an_untouched_page_changes_nothing(client: Client) -> None:
    owner(client, unit_system="us")
    page = client.get(reverse("routes:travel-settings"))
    shown = {name: page.context["form"][name].value() for name in FIELDS}
    assert (shown["city_kmh"], "mph" in page.content.decode()) == ("14.91", True)
    assert client.post(reverse("routes:travel-settings"), shown).status_code == 302
    kept = TravelRule.objects.get()
    assert (kept.city_kmh, kept.country_to_km, kept.motorway_kmh) == (24, 45, 92)
    client.post(reverse("routes:travel-settings"), shown | {"city_kmh": "20"})
    assert TravelRule.objects.get().city_kmh == pytest.approx(32.18688)


def test_reading_of_drives_is_asked_from_the_page(client: Client, roads: Roads) -> None:
    owner(client)
    client.post(reverse("routes:travel-fill"))
    client.post(reverse("routes:travel-fill"))
    assert TravelFill.objects.count() == 1
    assert roads.asked == []
    assert "The worker is reading" in client.get(reverse("routes:travel-fill-state")).content.decode()
