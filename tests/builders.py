"""Builders of records for tests: sensible defaults, everything may be overridden by name."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateRange

from servicedesk.billing.models import InvoiceSeries
from servicedesk.clients.models import AccessWindow, Agreement, AgreementPrice, Client, ClientAddress, Contact, Site
from servicedesk.common.ids import new_id
from servicedesk.common.recurrence import Cadence, to_rule
from servicedesk.consumables.models import Item, Lot, Move, StockPlace
from servicedesk.consumables.queries import place_for_van, place_of_kind
from servicedesk.installations.models import Installation, Placement, PlantItem
from servicedesk.people.models import Depot, Firm, Role, Technician, User, Van, WorkingHours
from servicedesk.readings.models import Sampling
from servicedesk.readings.services import TypedReading, bands_from_template, sampling_record
from servicedesk.science.worksheets import catalogue, run
from servicedesk.science.worksheets.record import record
from servicedesk.science.worksheets.typed import parse
from servicedesk.visits.models import Visit, VisitInstallation
from servicedesk.worksheets.models import KeptWorksheet
from servicedesk.worksheets.services import keep

LONG_AGO = date(2024, 1, 1)
CENTRAL = "America/Chicago"
NASHVILLE = (36.1627, -86.7816)
STROKES = [[[10, 10], [60, 40], [120, 20]]]
_numbers = count(1)


def number() -> int:
    return next(_numbers)


def a_firm(**over: Any) -> Firm:
    fields: dict[str, Any] = {
        "name": "Test Reef Care",
        "address": "1 Pier Road\nNashville, TN 37000",
        "phone": "615-555-0100",
        "email": "office@test.example",
        "office_list": ["office@test.example"],
        "time_zone": CENTRAL,
    }
    return Firm.objects.get_or_create(id=1, defaults=fields | over)[0]


def a_user(*roles: str, **over: Any) -> User:
    n = number()
    fields: dict[str, Any] = {"name": f"Person {n}", "email": f"person{n}@test.example", "unit_system": "metric"}
    return User.objects.create_user(
        **(fields | over), password="reef-round-2026", roles=[str(role) for role in roles or (Role.OWNER,)]
    )


def a_depot(**over: Any) -> Depot:
    fields: dict[str, Any] = {"name": f"Store {number()}", "address": "1 Dock", "city": "Nashville"}
    place = {"latitude": NASHVILLE[0], "longitude": NASHVILLE[1], "time_zone": CENTRAL}
    return Depot.objects.create(**(fields | place | over))


def a_technician(**over: Any) -> Technician:
    """A technician with a van, working Monday to Friday."""
    n = number()
    fields: dict[str, Any] = {
        "initials": f"{n:X}"[-4:],  # short, and unlike those of any other technician of a test
        "home_latitude": NASHVILLE[0],
        "home_longitude": NASHVILLE[1],
        "time_zone": CENTRAL,
        "first_day": LONG_AGO,
    }
    depot = over.pop("depot", None) or a_depot()
    user = over.pop("user", None) or a_user(Role.TECHNICIAN)
    technician = Technician.objects.create(user=user, depot=depot, **(fields | over))
    WorkingHours.objects.bulk_create(
        WorkingHours(
            technician=technician, weekday=weekday, starts=time(8), ends=time(16, 30), lunch_min=30, valid_from=LONG_AGO
        )
        for weekday in range(5)
    )
    Van.objects.create(
        name=f"Van {n}", plate=f"V-{n}", depot=depot, technician=technician, payload_kg=900, water_tank_l=300
    )
    return technician


def a_client(**over: Any) -> Client:
    n = number()
    client = Client.objects.create(**({"number": f"C{n:04}", "name": f"Harbour Hotel {n}"} | over))
    ClientAddress.objects.create(
        client=client, valid=DateRange(LONG_AGO, None), street="1 Quay", city="Nashville", region="TN", postcode="37000"
    )
    Contact.objects.create(
        client=client, name="Front desk", email=f"desk{n}@harbour.example", gets_reports=True, gets_invoices=True
    )
    return client


def a_site(client: Client | None = None, *, windows: bool = True, **over: Any) -> Site:
    fields: dict[str, Any] = {
        "name": f"Lobby {number()}",
        "street": "1 Quay",
        "city": "Nashville",
        "region": "TN",
        "postcode": "37000",
        "latitude": NASHVILLE[0],
        "longitude": NASHVILLE[1],
        "time_zone": CENTRAL,
        "holiday_region": "US-TN",
    }
    site = Site.objects.create(client=client or a_client(), **(fields | over))
    if windows:
        AccessWindow.objects.bulk_create(
            AccessWindow(site=site, weekday=weekday, opens=time(7), closes=time(18)) for weekday in range(5)
        )
    return site


def an_installation(site: Site | None = None, *, bands: bool = True, **over: Any) -> Installation:
    """A reef of 1000 L net with the usual bands; needs the reference data when ``bands``."""
    fields: dict[str, Any] = {
        "code": f"N{number():04}",
        "name": "Lobby reef",
        "kind": "reef_stony",
        "display_l": 900,
        "sump_l": 250,
        "displacement_l": 150,
        "started_on": LONG_AGO,
    }
    installation = Installation.objects.create(**(fields | over))
    Placement.objects.create(installation=installation, site=site or a_site(), valid=DateRange(LONG_AGO, None))
    if bands:
        bands_from_template(installation=installation, actor=None)
    return installation


def a_machine(installation: Installation, kind: str, **over: Any) -> PlantItem:
    fields: dict[str, Any] = {"label": f"{kind} {number()}", "installed_on": LONG_AGO}
    return PlantItem.objects.create(installation=installation, kind=kind, **(fields | over))


def an_agreement(site: Site | None = None, **over: Any) -> Agreement:
    """Weekly on the weekday of the first visit, Monday 5 January 2026, for 180.00, materials extra."""
    site = site or a_site()
    price = {"fee": over.pop("fee", Decimal(180)), "hourly_rate": over.pop("hourly_rate", Decimal(95))}
    first: date = over.get("first_visit_on") or date(2026, 1, 5)
    fields: dict[str, Any] = {
        "number": f"A{number():05}",
        "title": "Reef care",
        "starts_on": date(2025, 1, 1),
        "first_visit_on": first,
        "rule": to_rule(Cadence("weeks", 1, (first.weekday(),))),
        "duration_min": 60,
    }
    agreement = Agreement.objects.create(client=site.client, site=site, **(fields | over))
    AgreementPrice.objects.create(agreement=agreement, valid_from=date(2025, 1, 1), **price)
    return agreement


def a_visit(site: Site | None = None, *installations: Installation, **over: Any) -> Visit:
    """A visit due today, two days either way."""
    due_on: date = over.get("due_on") or datetime.now(UTC).date()
    fields: dict[str, Any] = {
        "due_on": due_on,
        "earliest_on": due_on - timedelta(days=2),
        "latest_on": due_on + timedelta(days=2),
        "duration_min": 60,
    }
    visit = Visit.objects.create(site=site or a_site(), **(fields | over))
    VisitInstallation.objects.bulk_create(
        VisitInstallation(visit=visit, installation=installation) for installation in installations
    )
    return visit


def an_item(**over: Any) -> Item:
    n = number()
    fields: dict[str, Any] = {"code": f"ITEM{n}", "name": f"Carbon {n}", "kind": "media", "unit": "g"}
    return Item.objects.create(**(fields | {"pack_quantity": Decimal(1000)} | over))


def a_lot(item: Item, **over: Any) -> Lot:
    fields: dict[str, Any] = {"code": f"L{number()}", "expires_on": date(2099, 1, 1)}
    return Lot.objects.create(item=item, **(fields | over))


def stocked(item: Item, place: StockPlace, quantity: int | Decimal, lot: Lot | None = None) -> Move:
    """Bought and lying at ``place``."""
    return Move.objects.create(
        key=f"test:{number()}",
        item=item,
        lot=lot,
        quantity=Decimal(quantity),
        from_place=place_of_kind("supplier"),
        to_place=place,
        at=datetime.now(UTC) - timedelta(days=30),
    )


def van_place(technician: Technician) -> StockPlace:
    return place_for_van(technician.van)


def a_series(**over: Any) -> InvoiceSeries:
    return InvoiceSeries.objects.create(**({"name": "S", "year": 2026} | over))


def readings(installation: Installation, at: datetime, **values: tuple[str, str]) -> Sampling:
    """Readings typed at a time: ``readings(reef, at, alkalinity=("8.0", "dKH"))``."""
    return sampling_record(
        sampling_id=new_id(),
        installation=installation,
        taken_at=at,
        actor=None,
        source=Sampling.Source.TYPED,
        readings=[TypedReading(key, typed, unit, confirmed=True) for key, (typed, unit) in values.items()],
    )


def a_kept_worksheet(installation: Installation, by: User, name: str = "salt-batch", **typed: str) -> KeptWorksheet:
    """A worked sheet kept for an installation."""
    sheet = catalogue.worksheet(name)
    values = parse(sheet, typed)
    told = record(sheet, values, run.answer(sheet, values), lambda _quantity: "")
    return keep(installation=installation, record=told, note="", token=str(new_id()), actor=by)
