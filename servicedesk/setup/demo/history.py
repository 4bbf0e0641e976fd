"""Writes the year behind: each visit's care as the same rows a sign-off makes, stored many at a time."""

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from psycopg.types.range import TimestamptzRange

from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.common.ids import new_id
from servicedesk.installations.models import PlantCheck, PlantItem, PlantService
from servicedesk.people.models import User
from servicedesk.readings.models import Reading, Sampling
from servicedesk.science.water import dosing
from servicedesk.setup.demo.care import PRODUCT_ITEMS, REAGENTS, Care, Hand
from servicedesk.setup.demo.ledger import Ledger
from servicedesk.setup.demo.many import BATCH, many_create
from servicedesk.setup.demo.past import PastVisit, past_visits
from servicedesk.setup.demo.signature import scribble
from servicedesk.setup.demo.world import System, World
from servicedesk.visits.models import Signature, Visit, VisitInstallation, VisitUse

THREE = Decimal("0.001")


@dataclass(slots=True)
class Rows:
    """What is collected before it is stored, in the order in which it must be stored."""

    visits: list[Visit] = field(default_factory=list)
    samplings: list[Sampling] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    covers: list[VisitInstallation] = field(default_factory=list)
    additions: list[Addition] = field(default_factory=list)
    checks: list[PlantCheck] = field(default_factory=list)
    services: list[PlantService] = field(default_factory=list)
    signatures: list[Signature] = field(default_factory=list)
    uses: list[VisitUse] = field(default_factory=list)
    versions: dict[int, list[ProgrammeVersion]] = field(default_factory=dict)

    def store(self) -> None:
        versions = [row for rows in self.versions.values() for row in rows]
        many_create(Visit, self.visits)
        many_create(Sampling, self.samplings)
        many_create(Reading, self.readings)
        many_create(VisitInstallation, self.covers)
        many_create(Addition, self.additions)
        many_create(PlantCheck, self.checks)
        many_create(PlantService, self.services)
        many_create(Signature, self.signatures)
        many_create(ProgrammeVersion, versions)


def history_make(world: World, hand: Hand, ledger: Ledger) -> int:
    """Live through the year before the signed weeks; returns how many visits were done."""
    rows = Rows()
    aquarist = world.first_with("lead_aquarist")
    for system in world.systems():
        _first_programme(world, rows, system, aquarist)
    done, left_out = past_visits(world)
    rows.visits += left_out
    for past in done:
        _visit(world, rows, hand, ledger, past)
    rows.store()
    ledger.flush()
    for use in rows.uses:
        use.lot, use.move = use.lot, use.move  # their numbers exist only now
    many_create(VisitUse, rows.uses)
    for system in world.systems():
        _as_left(system)
    PlantItem.objects.bulk_update([item for system in world.systems() for item in system.plant], ["settings"], BATCH)
    return len(done)


def _first_programme(world: World, rows: Rows, system: System, aquarist: User) -> None:
    began = datetime.combine(world.size.begins_on, datetime.min.time()).astimezone()
    rows.versions[system.installation.pk] = [
        ProgrammeVersion(
            id=new_id(),
            installation=system.installation,
            number=1,
            state=ProgrammeVersion.State.IN_FORCE,
            valid=TimestamptzRange(began, None),
            settings=dict(system.tank.settings),
            reason="programme at the beginning of the agreement",
            made_by=aquarist,
            approved_by=aquarist,
        )
    ]


def _visit(world: World, rows: Rows, hand: Hand, ledger: Ledger, past: PastVisit) -> None:
    rows.visits.append(past.visit)
    _sign(rows, past)
    tested: dict[str, int] = {}
    for system in past.place.systems:
        care = hand.care(system, past.local_start, past.place.cadence)
        for test in care.tests:
            tested[test.parameter] = tested.get(test.parameter, 0) + 1
        rows.covers.append(
            VisitInstallation(visit=past.visit, installation=system.installation, sampling=_sampling(rows, past, care))
        )
        _additions(rows, past, care)
        _plant(rows, past, care)
        _programme(rows, past, care)
        _uses(world, rows, ledger, past, care)
    _reagents(world, ledger, past, tested)


def _sampling(rows: Rows, past: PastVisit, care: Care) -> Sampling:
    sampling = Sampling(
        id=new_id(),
        installation=care.system.installation,
        taken_at=past.starts,
        taken_by=past.technician.user,
        source=Sampling.Source.VISIT,
    )
    rows.samplings.append(sampling)
    rows.readings += [
        Reading(
            id=new_id(),
            sampling=sampling,
            installation=care.system.installation,
            parameter_id=test.parameter,
            taken_at=past.starts,
            value=test.value,
            below_detection=test.below,
            sd=test.sd,
            typed_value=test.typed,
            typed_unit=test.unit,
            method_id=test.method,
        )
        for test in care.tests
    ]
    return sampling


def _additions(rows: Rows, past: PastVisit, care: Care) -> None:
    common: dict[str, Any] = {"installation": care.system.installation, "at": past.ends, "by": past.technician.user}
    rows.additions += [
        Addition(
            id=new_id(),
            kind=Addition.Kind.DOSE,
            product=dose.product,
            parameter_id=dose.parameter,
            mass_g=dose.mass_g,
            change=dose.change,
            note=dosing.PRODUCTS[dose.product].name,
            **common,
        )
        for dose in care.doses
    ]
    if care.water_change_l:
        rows.additions.append(
            Addition(
                id=new_id(),
                kind=Addition.Kind.WATER_CHANGE,
                volume_l=care.water_change_l,
                note="water change",
                **common,
            )
        )


def _plant(rows: Rows, past: PastVisit, care: Care) -> None:
    rows.checks += [
        PlantCheck(
            id=new_id(),
            plant_item=check.item,
            key=check.key,
            moment=check.moment,
            value=check.value,
            word=check.word,
            at=past.starts,
            by=past.technician.user,
        )
        for check in care.checks
    ]
    rows.services += [
        PlantService(
            id=new_id(),
            plant_item=item,
            done_on=past.starts.date(),
            done_by=past.technician.user,
            what=f"Service {item.label}",
        )
        for item in care.services
    ]


def _programme(rows: Rows, past: PastVisit, care: Care) -> None:
    """A change of settings ends the version before it."""
    if not care.settings:
        return
    versions = rows.versions[care.system.installation.pk]
    before = versions[-1]
    if before.valid is None:
        raise ValueError("A version of the history is always in force for a time.")
    before.valid = TimestamptzRange(before.valid.lower, past.ends)
    versions.append(
        ProgrammeVersion(
            id=new_id(),
            installation=care.system.installation,
            number=before.number + 1,
            state=ProgrammeVersion.State.IN_FORCE,
            valid=TimestamptzRange(past.ends, None),
            settings=dict(care.settings),
            reason="set at the visit",
            made_by=past.technician.user,
        )
    )


def _uses(world: World, rows: Rows, ledger: Ledger, past: PastVisit, care: Care) -> None:
    wanted = dict(care.uses)
    for dose in care.doses:
        wanted[PRODUCT_ITEMS[dose.product]] = wanted.get(PRODUCT_ITEMS[dose.product], 0.0) + dose.mass_g
    place, actor = ledger.place_of(past.place, past.technician), past.technician.user
    reason, document = f"visit at {past.place.site.name}"[:160], f"visit:{past.visit.pk}"
    for code, quantity in wanted.items():
        item, amount = world.items[code], Decimal(str(quantity)).quantize(THREE)
        for lot, part in ledger.take(
            depot=past.place.depot, place=place, item=item, quantity=amount, at=past.starts, actor=actor
        ):
            move = ledger.use(item, lot, part, place, past.ends, actor, reason, document)
            rows.uses.append(
                VisitUse(
                    id=new_id(),
                    visit=past.visit,
                    installation=care.system.installation,
                    item=item,
                    lot=lot,
                    place=place,
                    quantity=part,
                    move=move,
                )
            )


def _reagents(world: World, ledger: Ledger, past: PastVisit, tested: dict[str, int]) -> None:
    """Tests come out of the van's test box."""
    van, actor = ledger.van(past.technician), past.technician.user
    for parameter, number in tested.items():
        if parameter not in REAGENTS:
            continue
        item = world.items[REAGENTS[parameter]]
        for lot, part in ledger.take(
            depot=past.place.depot, place=van, item=item, quantity=Decimal(number), at=past.starts, actor=actor
        ):
            ledger.use(item, lot, part, van, past.ends, actor, "tests", f"visit:{past.visit.pk}")


def _sign(rows: Rows, past: PastVisit) -> None:
    rows.signatures.append(
        Signature(
            visit=past.visit,
            who=Signature.Who.TECHNICIAN,
            how=Signature.How.DRAWN,
            name=past.technician.user.name,
            strokes=scribble(past.technician.user.name),
            at=past.ends,
        )
    )
    rows.signatures.append(
        Signature(
            visit=past.visit,
            who=Signature.Who.CLIENT,
            how=Signature.How.ABSENT,
            reason="nobody at hand; report by email",
            at=past.ends,
        )
    )


def _as_left(system: System) -> None:
    """What the register shows as set now."""
    settings = system.tank.settings
    for item in system.plant:
        if item.kind == "chiller":
            item.settings = {"set_point_c": settings["temperature_c"], "differential_k": settings["differential_k"]}
        elif item.kind == "reactor":
            item.settings = {"drip_ml_min": settings["reactor_flow_ml_min"]}
