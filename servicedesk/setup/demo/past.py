"""The visits of the year behind, made by the real recurrence, holidays and closures, and who did them when."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from servicedesk.common.ids import new_id
from servicedesk.common.recurrence import expand
from servicedesk.people.models import Technician
from servicedesk.setup.demo.world import Place, World
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import due_day, is_open

TRAVEL_MIN = (18, 45)
FIRST_START = {"night": time(16, 45), "home": time(9, 30), "restaurant": time(7, 30), "museum": time(7, 30)}
USUAL_START = time(8, 15)


@dataclass(slots=True)
class PastVisit:
    visit: Visit
    place: Place
    technician: Technician
    starts: datetime
    ends: datetime

    @property
    def local_start(self) -> datetime:
        return self.starts.astimezone(ZoneInfo(self.place.site.time_zone))


def past_visits(world: World) -> tuple[list[PastVisit], list[Visit]]:
    """Visits done before the signed weeks, in the order they were done; and those that were left out."""
    done: list[tuple[date, Place, Visit]] = []
    left_out: list[Visit] = []
    for place in world.places:
        for occurrence in _occurrences(place, world.size.begins_on, world.size.signed_from):
            visit = _visit(place, occurrence)
            if visit.state == Visit.State.CANCELLED:
                left_out.append(visit)
            elif visit.due_on < world.size.signed_from:
                done.append((_done_on(world, place, visit), place, visit))
    done.sort(key=lambda row: (row[0], row[1].site.pk))
    free_from: dict[tuple[int, date], datetime] = {}
    rows = [_done(world, day, place, visit, free_from) for day, place, visit in done]
    return sorted(rows, key=lambda row: row.starts), left_out


def _occurrences(place: Place, start: date, until: date) -> list[date]:
    agreement = place.agreement
    if agreement is None:
        return []
    return expand(agreement.rule, agreement.first_visit_on, start, until - timedelta(days=1))


def _visit(place: Place, occurrence: date) -> Visit:
    agreement = place.agreement
    if agreement is None:
        raise ValueError("A visit of the history belongs to an agreement.")
    due = due_day(agreement, occurrence)
    day = due.day or occurrence
    return Visit(
        id=new_id(),
        site=place.site,
        agreement=agreement,
        occurrence_on=occurrence,
        state=Visit.State.CANCELLED if due.day is None else Visit.State.SIGNED,
        due_on=day,
        earliest_on=day - timedelta(days=agreement.slack_days_before),
        latest_on=day + timedelta(days=agreement.slack_days_after),
        due_why=due.why[:200],
        duration_min=agreement.duration_min,
    )


def _done_on(world: World, place: Place, visit: Visit) -> date:
    """Mostly on the day; now and then a day later, as days go."""
    chance = world.size.rng("done", place.site.pk - world.places[0].site.pk, visit.occurrence_on)
    day = visit.due_on
    if chance.random() < 0.07 and place.agreement is not None:
        later = day + timedelta(days=1)
        if later < world.size.signed_from and is_open(place.agreement, later):
            return later
    return day


def _done(
    world: World, day: date, place: Place, visit: Visit, free_from: dict[tuple[int, date], datetime]
) -> PastVisit:
    technician = _who(world, place, day)
    chance = world.size.rng("length", place.site.pk - world.places[0].site.pk, day)
    zone = ZoneInfo(place.site.time_zone)
    first = datetime.combine(day, FIRST_START.get(place.windows, USUAL_START), tzinfo=zone)
    starts = max(first, free_from.get((technician.pk, day), first)) + timedelta(minutes=chance.randint(0, 12))
    ends = starts + timedelta(minutes=round(place.minutes * chance.uniform(0.85, 1.2)))
    free_from[technician.pk, day] = ends + timedelta(minutes=chance.randint(*TRAVEL_MIN))
    visit.technician, visit.planned_on, visit.planned_start = technician.user, day, starts.time().replace(second=0)
    visit.promised_start = visit.planned_start
    visit.started_at, visit.ended_at = starts, ends
    visit.signed_at = ends
    return PastVisit(visit, place, technician, starts, ends)


def _who(world: World, place: Place, day: date) -> Technician:
    usual = place.technician or world.team(place.depot)[0]
    if not world.is_away(usual, day):
        return usual
    team = [row for row in world.team(place.depot) if not world.is_away(row, day)]
    return team[0] if team else usual
