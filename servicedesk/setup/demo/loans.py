"""The demo firm's loan equipment: some in store, one in a van, one out and overdue, one kept for a site."""

from datetime import UTC, datetime, time, timedelta
from decimal import Decimal

from django.db.backends.postgresql.psycopg_any import DateRange

from servicedesk.consumables.models import LoanMachine, LoanReservation, LoanStay
from servicedesk.people.models import Role
from servicedesk.setup.demo.world import World

KINDS = LoanMachine.Kind
# label, name, kind, size, kg: our own invention
MACHINES = (
    ("LC-1", "Small chiller", KINDS.CHILLER, "1,200 W", "38"),
    ("LC-2", "Large chiller", KINDS.CHILLER, "2,600 W", "61"),
    ("LC-3", "Small chiller", KINDS.CHILLER, "1,200 W", "38"),
    ("LP-1", "Return pump", KINDS.PUMP, "6,000 L/h", "4"),
    ("LA-1", "Air pump on battery", KINDS.AIR, "12 h", "3"),
    ("LT-1", "Holding tub with lid", KINDS.TUB, "400 L", "22"),
    ("LW-1", "Battery supply", KINDS.POWER, "1.5 kWh", "18"),
)


def loans_make(world: World) -> None:
    """Entered two months ago; a chiller went out three weeks ago and should have been back."""
    depots, places = list(world.depots.values()), world.places
    office = world.first_with(Role.OFFICE)
    entered = datetime.combine(world.size.today - timedelta(days=60), time(15), tzinfo=UTC)
    rows = {}
    for number, (code, name, kind, size, kg) in enumerate(MACHINES):
        machine = LoanMachine.objects.create(code=code, name=name, kind=kind, size=size, mass_kg=Decimal(kg))
        rows[code] = LoanStay.objects.create(
            machine=machine, depot=depots[number % len(depots)], since=entered, by=office, note="entered"
        )
    went = entered + timedelta(days=39)
    out, van = rows["LC-2"], rows["LP-1"]
    for stay in (out, van):
        stay.until = went
        stay.save()
    system = next(iter(places[-1].systems), None)
    LoanStay.objects.create(
        machine=out.machine, site=places[-1].site, installation=system.installation if system else None, since=went,
        due_back_on=went.date() + timedelta(days=14), by=office, note="the old one iced up",
    )  # fmt: skip
    driver = world.technicians[0]
    LoanStay.objects.create(machine=van.machine, van=driver.van, since=went, by=office)
    first = world.size.today + timedelta(days=6)
    LoanReservation.objects.create(
        machine=rows["LT-1"].machine, site=places[0].site, days=DateRange(first, first + timedelta(days=5)),
        why="the rockwork is rebuilt", by=office,
    )  # fmt: skip
