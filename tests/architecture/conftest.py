"""One record of each kind, so that every URL can be asked for."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from django.db.backends.postgresql.psycopg_any import DateRange
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from servicedesk.billing.models import Invoice, InvoiceLine
from servicedesk.clients.models import AccessWindow, Closure, GateCode
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import LoanMachine, LoanReservation
from servicedesk.installations.models import Animal, PlantItem
from servicedesk.people.models import Depot, Leave, Lodging, User
from servicedesk.readings.models import Instrument
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal
from servicedesk.routes.models import HoursEntry, MoveNotice, PlanRun, Round, RoundChange, UrgentCall, WeekPlan
from servicedesk.routes.times import Week
from servicedesk.routes.week_models import PlanProposal, ProposalNotice
from servicedesk.stores.models import ReorderReminder
from servicedesk.visits import snapshot
from servicedesk.visits.models import Visit, VisitPhoto, VisitReport, VisitUse
from servicedesk.visits.services.signing import prepare
from tests.builders import (
    a_firm,
    a_kept_worksheet,
    a_machine,
    a_technician,
    a_user,
    a_visit,
    an_agreement,
    an_installation,
    an_item,
    van_place,
)


def patterns(resolver: URLResolver, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from patterns(entry, f"{entry.namespace}:" if entry.namespace else space)
        elif entry.name:
            yield f"{space}{entry.name}", entry


ALL = dict(patterns(get_resolver()))


def capability(name: str) -> str | None:
    """The capability that the view asks for."""
    return getattr(ALL[name].callback, "capability", None)


@dataclass
class World:
    """One record of each kind that a URL may name, by the URL's argument."""

    arguments: dict[str, dict[str, Any]] = field(default_factory=dict)

    def url(self, name: str) -> str:
        space = name.split(":", maxsplit=1)[0]
        wanted = ALL[name].pattern.converters
        known = self.arguments["all"] | self.arguments.get(space, {}) | self.arguments.get(name, {})
        return reverse(name, kwargs={key: known[key] for key in wanted})


def _snapshot(visit: Visit) -> str:
    signing = prepare(visit, visit.technician or a_user())
    built = snapshot.build(visit, signing.context, signing.form, signing.entries, signing.meanings)
    return snapshot.canonical_json(built)


@pytest.fixture
def world() -> World:
    a_firm()
    technician, installation = a_technician(), an_installation()
    site = installation.placements.get().site
    agreement = an_agreement(site)
    now = datetime.now(UTC)
    visit = a_visit(
        site, installation, agreement=agreement, technician=technician.user, state="published", started_at=now,
        ended_at=now,
    )  # fmt: skip
    item, place = an_item(), van_place(technician)
    invoice = Invoice.objects.create(client=site.client, currency="USD")
    line = InvoiceLine.objects.create(
        invoice=invoice, position=1, kind="other", description="x", quantity=1, unit_price=1, net=1, tax_category="S",
        tax_rate_percent=0,
    )  # fmt: skip
    report = VisitReport.objects.create(visit=visit, revision=1, snapshot=_snapshot(visit), sha256="0" * 64)
    reminder = ReorderReminder.objects.create(item=item, reason="short", balance=0, reorder_point=1, suggested=1)
    use = VisitUse.objects.create(visit=visit, item=item, place=place, quantity=Decimal(1))
    photo = VisitPhoto.objects.create(visit=visit, sha256="1" * 64, taken_at=now, file="none.jpg")
    week = Week.of(now.date())
    code = GateCode.objects.create(site=site, label="Gate", secret="1234")
    window = AccessWindow.objects.filter(site=site)[0]
    closure = Closure.objects.create(site=site, first_day=now.date(), last_day=now.date(), reason="works")
    leave = Leave.objects.create(technician=technician, first_day=now.date(), last_day=now.date())
    animal = Animal.objects.create(installation=installation, group="fish", name="Tang")
    machine: PlantItem = a_machine(installation, "chiller")
    contact = site.client.contacts.get()
    nothing: UUID = new_id()
    plan = WeekPlan.objects.create(iso_year=week.year, iso_week=week.number)
    change = RoundChange.objects.create(
        round=Round.objects.create(plan=plan, technician=technician, date=now.date() + timedelta(days=1))
    )
    proposal = PlanProposal.objects.create(plan=plan, run=PlanRun.objects.create(plan=plan, state="done"), based_on=1)
    told = ProposalNotice.objects.create(proposal=proposal, visit=visit, what="moves", subject="x", body="x")
    kept = a_kept_worksheet(installation, technician.user)
    look = CadenceLook.objects.create(first_day=week.monday, state="done", result={"weeks": []})
    shift = CadenceProposal.objects.create(
        look=look, agreement=agreement, rule_before=agreement.rule, first_visit_before=agreement.first_visit_on,
        rule=agreement.rule, first_on=now.date(), saved_s=0, saved_m=0, alone_s=0, alone_m=0,
    )  # fmt: skip
    loan = LoanMachine.objects.create(code="LC-1", name="Chiller", kind="chiller")
    call = UrgentCall.objects.create(
        visit=visit, technician=technician, date=now.date(), choice={}, by=technician.user, machine=loan
    )
    moved = MoveNotice.objects.create(call=call, visit=visit, what="moves", subject="x", body="y")
    worked = HoursEntry.objects.create(
        technician=technician, kind="work", began_at=now - timedelta(hours=1), ended_at=now, by=technician.user
    )
    kept_loan = LoanReservation.objects.create(
        machine=loan, site=site, days=DateRange(now.date(), now.date() + timedelta(days=2))
    )
    lodging = Lodging.objects.create(
        name="Pine Lodge", address="4 Ridge Road", city="Town", latitude=35, longitude=-85,
        time_zone="America/Chicago", price_per_night=90,
    )  # fmt: skip
    arguments: dict[str, dict[str, Any]] = {
        "all": {
            "machine": loan.pk, "reservation": kept_loan.pk, "notice": moved.pk, "entry": worked.pk,
            "site": site.pk, "client": site.client_id, "technician": technician.pk,
            "day": now.date() + timedelta(days=1),
            "year": week.year, "number": week.number, "visit": visit.pk, "code": code.pk, "window": window.pk,
            "part": closure.pk, "contact": contact.pk, "use": use.pk, "photo": photo.pk, "revision": 1,
            "step": "test", "parameter": "alkalinity", "tray": "unpaid", "line": line.pk, "leave": leave.pk,
            "kind": "vans", "proposal": shift.pk, "change": change.pk, "proposal_notice": told.pk, "token": "x" * 43,
        },
        "people": {"pk": technician.user_id},
        "people:record-edit": {"pk": Depot.objects.all()[0].pk, "kind": "depots"},
        "people:lodging-archive": {"pk": lodging.pk},
        "clients": {"pk": site.pk},
        "clients:part-add": {"kind": "closures"},
        "clients:part-remove": {"kind": "closures"},
        "installations": {"pk": installation.pk},
        "installations:animal-edit": {"pk": animal.pk},
        "consumables": {"pk": agreement.pk},
        "readings": {"pk": installation.pk},
        "care": {"pk": installation.pk},
        "visits": {"pk": visit.pk},
        "visits:agreement-visits": {"pk": agreement.pk},
        "visits:agreement-retime": {"pk": agreement.pk},
        "visits:agreement-length": {"pk": agreement.pk},
        "billing": {"pk": invoice.pk},
        "stores": {"pk": item.pk},
        "stores:reminder-ordered": {"pk": reminder.pk},
        "common": {"pk": nothing},
        "worksheets": {"name": "raise-alkalinity", "pk": kept.pk},
        "worksheets:instrument-archive": {"pk": Instrument.objects.create(name="Meter").pk},
    }  # fmt: skip
    for name in ("client", "client-edit", "client-move", "client-archive", "contact-add", "contact-archive"):
        arguments[f"clients:{name}"] = {"pk": site.client_id}
    for name in ("agreement", "agreement-edit", "agreement-archive"):
        arguments[f"clients:{name}"] = {"pk": agreement.pk}
    for name in ("plant-item", "plant-edit", "service-add"):
        arguments[f"installations:{name}"] = {"pk": machine.pk}
    for name in ("report", "report-send", "report-pdf"):
        arguments[f"billing:{name}"] = {"pk": report.pk}
    for name in ("bill-client", "invoice-draft"):
        arguments[f"billing:{name}"] = {"pk": site.client_id}
    return World(arguments)


def browser(user: User | None) -> Client:
    client = Client(raise_request_exception=False)
    if user is not None:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client
