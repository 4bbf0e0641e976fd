"""Loads the whole demo firm in the order in which a firm comes to be."""

from django.db import transaction

from servicedesk.people.models import Firm
from servicedesk.routes.times import Week
from servicedesk.setup.demo import wrongs
from servicedesk.setup.demo.accounts import accounts_make
from servicedesk.setup.demo.care import Hand
from servicedesk.setup.demo.catalogue import catalogue_make
from servicedesk.setup.demo.history import history_make
from servicedesk.setup.demo.ledger import Ledger
from servicedesk.setup.demo.loans import loans_make
from servicedesk.setup.demo.many import audit_named
from servicedesk.setup.demo.people import people_make
from servicedesk.setup.demo.signing import visits_sign
from servicedesk.setup.demo.sites import agreements_make, sites_make
from servicedesk.setup.demo.size import Size
from servicedesk.setup.demo.systems import systems_make
from servicedesk.setup.demo.tester import Tester
from servicedesk.setup.demo.weeks import week_make
from servicedesk.setup.demo.worksheets import worksheets_keep
from servicedesk.setup.demo.world import Place, World
from servicedesk.setup.reference import reference_load
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import agreement_extend


class FirmExistsError(Exception):
    """There is a firm already; the demo never mixes with it."""

    def __init__(self) -> None:
        super().__init__("There is a firm in this database already; the demo is loaded into an empty one only.")


@transaction.atomic
def demo_load(size: Size) -> dict[str, int]:
    """Load it all or nothing; returns what there is of each."""
    if Firm.objects.exists():
        raise FirmExistsError
    audit_named("load_demo")
    reference_load()
    world = register_make(size)
    ledger, hand = Ledger(world), Hand(Tester())
    history_make(world, hand, ledger)
    _signed_weeks(world, hand, ledger)
    wrongs.reagent_expires(world, ledger)
    wrongs.stock_levels(world, ledger)
    wrongs.badge_lapses(world)
    wrongs.visit_overdue(world, _place(world, "overdue"))
    wrongs.note_left(world, _place(world, "hand_on"))
    loans_make(world)
    kept = worksheets_keep(world)
    invoices = accounts_make(world)
    return {
        "sites": len(world.places),
        "installations": sum(1 for _system in world.systems()),
        "technicians": len(world.technicians),
        "visits signed": Visit.objects.filter(state=Visit.State.SIGNED).count(),
        "visits to come": Visit.objects.filter(state__in=[Visit.State.DUE, Visit.State.PUBLISHED]).count(),
        "invoices": invoices,
        "worksheets kept": kept,
    }


def register_make(size: Size) -> World:
    """People, sites, agreements, systems and catalogue, without any history."""
    world = World(size)
    people_make(world)
    catalogue_make(world)
    rows = sites_make(world)
    agreements_make(world)
    systems_make(world, rows)
    return world


def _signed_weeks(world: World, hand: Hand, ledger: Ledger) -> None:
    """Last week and this one: extended, planned, published, and done up to yesterday."""
    for place in world.places:
        if place.agreement is not None:
            agreement_extend(agreement=place.agreement, today=world.size.signed_from, until=None)
    for week in (Week.of(world.size.signed_from), Week.of(world.size.today)):
        week_make(world, week)
        visits = Visit.objects.filter(
            state=Visit.State.PUBLISHED, planned_on__range=(week.monday, week.sunday), planned_on__lt=world.size.today
        )
        ready = visits.select_related("site__client", "agreement", "technician").order_by(
            "planned_on", "planned_start", "pk"
        )
        visits_sign(world, hand, ledger, list(ready))


def _place(world: World, wrong: str) -> Place:
    """The site that a thing wrong belongs to; the last one in a demo cut short."""
    return next((place for place in world.places if place.wrong == wrong), world.places[-1])
