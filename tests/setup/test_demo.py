"""The demo firm: the same from the same seed, never mixed with another firm, with its troubles to be found."""

from datetime import date, timedelta
from io import StringIO
from math import hypot
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.db.models import Count, F
from django.test import override_settings

from servicedesk.billing.models import Invoice
from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.clients.models import Client, Contact, Site
from servicedesk.consumables.models import Lot, Move
from servicedesk.consumables.queries import balances, is_usable
from servicedesk.installations.models import Installation, PlantCheck, PlantItem
from servicedesk.people.models import Firm, Lodging, Permission, Role, Technician, User
from servicedesk.readings.models import Band, Reading
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.setup.demo.load import FirmExistsError, demo_load, register_make
from servicedesk.setup.demo.size import Size
from servicedesk.setup.reference import reference_load
from servicedesk.stores.models import ReorderReminder
from servicedesk.visits import snapshot
from servicedesk.visits.models import HandOn, Visit, VisitReport

TODAY = date(2026, 11, 25)  # a Wednesday
SMALL = Size(sites=4, weeks=9, today=TODAY)
KM_PER_DEGREE = 111.2


@pytest.fixture(scope="module")
def small(django_db_setup: None, django_db_blocker: Any) -> Any:
    """One small demo for all tests of this file that only look at it."""
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
            demo_load(SMALL)
        yield
        transaction.set_rollback(True)


@pytest.fixture
def looked_at(small: None, django_db_blocker: Any) -> Any:
    with django_db_blocker.unblock():
        yield


def facts() -> list[list[Any]]:
    """What was measured, done, booked and billed, without the numbers that the database gives."""
    place = "installation__code"
    machine = ("at", f"plant_item__{place}", "plant_item__label", "key")
    loads = Move.objects.exclude(key__startswith="visit:")
    return [
        list(Reading.objects.order_by("taken_at", place, "parameter").values_list("typed_value", "value")),
        list(Addition.objects.order_by("at", place, "kind", "product").values_list("mass_g", "volume_l")),
        list(Visit.objects.order_by("due_on", "site__name", "occurrence_on").values_list("state", "planned_start")),
        list(loads.order_by("key").values_list("item__code", "lot__code", "quantity")),
        list(Invoice.objects.order_by("number", "client__name").values_list("number", "grand_total", "state")),
        list(PlantCheck.objects.order_by(*machine).values_list("value", "word")),
    ]


@pytest.mark.django_db
def test_the_same_seed_gives_the_same_year() -> None:
    found = []
    for _load in range(2):
        with transaction.atomic():
            demo_load(Size(sites=2, weeks=5, today=TODAY))
            found.append(facts())
            transaction.set_rollback(True)
    assert found[0][0]
    assert found[0] == found[1]


@pytest.mark.django_db
def test_another_seed_gives_another_year() -> None:
    found = []
    for seed in (1, 2):
        with transaction.atomic():
            demo_load(Size(seed=seed, sites=1, weeks=4, today=TODAY))
            found.append(facts()[0])
            transaction.set_rollback(True)
    assert found[0] != found[1]


@pytest.mark.django_db
def test_it_refuses_when_a_firm_exists() -> None:
    Firm.objects.create(name="Another firm", address="1 Elsewhere", phone="+1 555 555 0100", email="a@b.example")
    with pytest.raises(FirmExistsError):
        demo_load(SMALL)
    with pytest.raises(CommandError, match="There is a firm"):
        call_command("load_demo", "--sites", "1", "--weeks", "4")
    assert not User.objects.exists()


@pytest.mark.django_db
def test_without_a_firm_there_are_no_sign_ins() -> None:
    out = StringIO()
    call_command("demo_accounts", stdout=out)
    assert "no firm" in out.getvalue()


@pytest.mark.django_db
def test_the_whole_register_is_as_large_as_promised() -> None:
    reference_load()
    register_make(Size(today=TODAY))
    volumes = [row.net_volume_l for row in Installation.objects.all()]
    assert Site.objects.count() >= 40
    assert len(volumes) == 58
    assert (min(volumes), max(volumes)) == (400, 30_000)
    assert Technician.objects.count() == 6
    assert set(Installation.objects.values_list("kind", flat=True)) == {
        "reef_stony", "soft_coral", "fish_only", "jellyfish"
    }  # fmt: skip
    assert Technician.objects.values("depot").distinct().count() == 4
    assert not Site.objects.filter(access_windows=None).exists()
    assert not Installation.objects.filter(plant=None).exists()
    assert all(contact.email.endswith(".example") for contact in Contact.objects.all())


@pytest.mark.django_db
def test_each_site_lies_near_the_store_that_serves_it() -> None:
    """Coordinates of the cities by common knowledge of the map.

    No site lies more than 60 km from its store, but for Jackson some 190 km west of Nashville, which has a lodging.
    """
    reference_load()
    world = register_make(Size(today=TODAY))
    for place in world.places:
        depot = world.depots[place.depot]
        north = (place.site.latitude - depot.latitude) * KM_PER_DEGREE
        east = (place.site.longitude - depot.longitude) * KM_PER_DEGREE * 0.81
        far = place.site.city == "Jackson"
        assert hypot(north, east) < (200 if far else 60), place.site
        assert not far or Lodging.objects.filter(city="Jackson").exists()
        assert place.site.time_zone == depot.time_zone


@pytest.mark.django_db
@pytest.mark.parametrize("today", [date(2026, 11, 28), date(2026, 11, 29), date(2026, 11, 26), date(2027, 1, 1)])
def test_somebody_has_calls_on_weekends_and_holidays_too(today: date) -> None:
    demo_load(Size(sites=5, weeks=4, today=today))
    assert Visit.objects.filter(stops__round__date=today, state="published").exists()


@pytest.mark.usefixtures("looked_at")
class TestSmallDemo:
    def test_each_role_may_sign_in(self) -> None:
        out = StringIO()
        call_command("demo_accounts", stdout=out)
        lines = out.getvalue().splitlines()
        assert len(lines) == User.objects.count() == 10
        for role in Role.values:
            assert any(line.startswith(role.replace("_", " ")) for line in lines)

    def test_readings_are_possible_and_mostly_in_band(self) -> None:
        bands = {(row.installation_id, row.parameter_id): row for row in Band.objects.all()}
        rows = [(row, bands[row.installation_id, row.parameter_id]) for row in Reading.objects.all()]
        in_band = [row for row, band in rows if band.low <= row.value <= band.high]
        outside = Reading.objects.exclude(
            value__gte=F("parameter__plausible_min"), value__lte=F("parameter__plausible_max")
        )
        assert len(rows) > 200
        assert not outside.exists()
        assert 0.8 < len(in_band) / len(rows) < 1

    def test_alkalinity_is_typed_in_degrees_and_kept_in_meq(self) -> None:
        """1 °dKH = 0.3566 meq/L (DIN 38409-7: 10 mg CaO a litre; M(CaO) 56.08)."""
        for row in Reading.objects.filter(parameter="alkalinity")[:20]:
            assert row.typed_unit == "dKH"
            assert row.value == pytest.approx(float(row.typed_value) * 20 / 56.077, rel=1e-3)

    def test_each_installation_has_one_programme_in_force(self) -> None:
        rows = ProgrammeVersion.objects.filter(state="in_force", valid__endswith=None)
        assert rows.count() == Installation.objects.count()

    def test_the_last_weeks_are_signed_with_true_digests(self) -> None:
        reports = list(VisitReport.objects.all())
        assert reports
        assert all(snapshot.digest(report.snapshot) == report.sha256 for report in reports)
        assert {report.visit.state for report in reports} == {"signed"}

    def test_this_week_is_published_and_done_up_to_yesterday(self) -> None:
        plan = WeekPlan.objects.get(iso_year=2026, iso_week=48)
        assert plan.state == WeekPlan.State.PUBLISHED
        stops = Visit.objects.filter(stops__round__plan=plan)
        assert set(stops.filter(planned_on__lt=TODAY).values_list("state", flat=True)) <= {"signed"}
        assert set(stops.filter(planned_on__gte=TODAY).values_list("state", flat=True)) == {"published"}

    def test_whoever_works_near_the_sites_has_a_round_today(self) -> None:
        rounds = Round.objects.filter(date=TODAY).annotate(calls=Count("stops"))
        nashville = Technician.objects.filter(depot__name="Nashville store")
        assert {row.technician_id for row in rounds if row.calls} == {row.pk for row in nashville}

    def test_next_week_waits_for_the_planner(self) -> None:
        monday = TODAY + timedelta(days=5)
        coming = Visit.objects.filter(due_on__range=(monday + timedelta(days=1), monday + timedelta(days=6)))
        assert coming.exists()
        assert set(coming.values_list("state", flat=True)) == {"due"}

    def test_no_balance_is_below_zero(self) -> None:
        assert all(row.quantity > 0 for row in balances())

    def test_an_expired_reagent_lies_in_a_van(self) -> None:
        dead = [row for row in balances() if row.place.kind == "van" and not is_usable(row.lot, TODAY)]
        assert [row.item.code for row in dead] == ["RPO4"]
        assert Lot.objects.filter(expires_on__lt=TODAY).exists()

    def test_a_reactor_went_weak_and_the_tank_follows(self) -> None:
        reactor = PlantItem.objects.get(kind="reactor", installation__code="NB-001")
        checks = reactor.checks.filter(key="effluent_alkalinity").order_by("at")
        effluent = [check.value or 0.0 for check in checks]
        tank = list(
            Reading.objects.filter(installation__code="NB-001", parameter="alkalinity")
            .order_by("taken_at")
            .values_list("value", flat=True)
        )
        assert sum(effluent[-3:]) < 0.75 * sum(effluent[:3])
        assert sum(tank[-4:]) / 4 < sum(tank[:4]) / 4 - 0.15

    def test_a_tank_grows_warm_under_its_chiller(self) -> None:
        rows = Reading.objects.filter(installation__code="NB-002", parameter="temperature").order_by("-taken_at")
        newest = rows[0]
        band = newest.installation.bands.get(parameter="temperature")
        assert newest.value > band.high
        assert PlantCheck.objects.filter(
            plant_item__installation__code="NB-002", key="condenser", word="watch"
        ).exists()

    def test_one_visit_is_overdue_and_on_no_round(self) -> None:
        late = Visit.objects.get(state="due", latest_on__lt=TODAY)
        assert not late.stops.exists()

    def test_a_badge_is_about_to_lapse(self) -> None:
        lapsing = Permission.objects.get(last_day=TODAY + timedelta(days=10))
        assert lapsing.kind.kind == "badge"
        assert lapsing.warned_at is not None

    def test_one_invoice_is_unpaid_since_forty_days(self) -> None:
        overdue = Invoice.objects.get(state="issued", due_on__lt=TODAY)
        assert overdue.issued_on == TODAY - timedelta(days=40)
        assert Invoice.objects.filter(state="paid").exists()
        assert Invoice.objects.filter(state="draft").exists()

    def test_invoice_numbers_have_no_gap(self) -> None:
        numbers = sorted(str(row.number) for row in Invoice.objects.filter(number__startswith="S2026-"))
        assert numbers == [f"S2026-{number:05}" for number in range(1, len(numbers) + 1)]

    def test_one_item_is_short_and_the_office_was_reminded(self) -> None:
        assert [reminder.item.code for reminder in ReorderReminder.objects.all()] == ["RPO4"]

    def test_a_note_asks_the_next_visitor_to_bring_something(self) -> None:
        note = HandOn.objects.get(kind="load", settled_by_visit=None)
        assert note.item is not None
        assert note.item.code == "CARBON"
        assert Visit.objects.filter(site=note.site, state__in=["published", "due"]).exists()

    def test_no_client_is_without_a_name_of_its_own(self) -> None:
        names = list(Client.objects.values_list("name", flat=True))
        assert len(set(names)) == len(names)
