"""An urgent call: from a few letters to the site, then who could be there when, and what each choice breaks."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.consumables.queries import LoanRow, loans
from servicedesk.installations.models import Installation
from servicedesk.people.models import Firm, PermissionKind, Technician
from servicedesk.routes.models import Round, RoundChange, UrgentCall
from servicedesk.routes.queries.daybook import Entry, day_words, entries_ahead, windows_of_site
from servicedesk.routes.times import Week, distance_words, hours_words
from servicedesk.routes.translate import told
from servicedesk.routes.urgent import Fetch, Wanted, Way, ways
from servicedesk.visits.queries.schedule import OPEN

SHOWN, BEST = 8, 3
HIRE_DAYS = 14
PERMISSION_SOON = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class Hit:
    site: Site
    installations: list[Installation]


def hits(letters: str, *, today: date | None = None) -> list[Hit]:
    """Sites by any words of site, street, city, client, contact, telephone or installation; two queries."""
    words, on = letters.split(), today or timezone.localdate()
    if not words:
        return []
    found = Site.objects.filter(archived_at=None).select_related("client")
    for word in words:
        standing = Q(placements__valid__contains=on) & (
            Q(placements__installation__code__icontains=word) | Q(placements__installation__name__icontains=word)
        )
        found = found.filter(
            Q(name__icontains=word)
            | Q(street__icontains=word)
            | Q(city__icontains=word)
            | Q(phone__icontains=word)
            | Q(client__name__icontains=word)
            | Q(client__number__istartswith=word)
            | Q(client__contacts__name__icontains=word)
            | standing
        )
    sites = list(found.distinct()[: SHOWN * 3])
    sites.sort(key=lambda site: (not site.name.lower().startswith(words[0].lower()), site.name))
    sites = sites[:SHOWN]
    rows = Installation.objects.filter(placements__site__in=sites, placements__valid__contains=on, archived_at=None)
    standing_at: dict[int, list[Installation]] = {}
    for row in rows.prefetch_related("placements").distinct():
        for placement in row.placements.all():
            if on in placement.valid:
                standing_at.setdefault(placement.site_id, []).append(row)
    return [Hit(site, standing_at.get(site.pk, [])) for site in sites]


def call_open(site: Site) -> UrgentCall | None:
    """The call of this site that somebody was given already and has not begun."""
    rows = UrgentCall.objects.filter(visit__site=site, visit__state__in=OPEN, date__gte=timezone.localdate())
    return rows.select_related("technician__user", "round").first()


def given_words(call: UrgentCall) -> str:
    """Who was given the call, and what to do before somebody else is."""
    names = {"name": call.technician, "day": day_words(call.date)}
    change = call.round.changes.first() if call.round is not None else None
    if change is not None and change.state == RoundChange.State.ASKED:
        return _("%(name)s is asked already, %(day)s. Take the call back from them first.") % names
    if change is not None and change.state == RoundChange.State.REFUSED:
        return _("%(name)s refused, %(day)s, but still holds the call. Take it back from them first.") % names
    return _("%(name)s was given the call already, %(day)s. Take it back from them first.") % names


@dataclass(frozen=True, slots=True)
class Asked:
    """What the caller needs."""

    site: Site
    what: str
    duration_min: int
    any_hour: bool = False
    machine_kind: str = ""
    more_needs: tuple[PermissionKind, ...] = ()
    days: int = 2


@dataclass(frozen=True, slots=True)
class Held:
    name: str
    last_day: date
    ends_soon: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """Somebody who could go, on a day, in one way."""

    entry: Entry
    way: Way
    machine: LoanRow | None
    fetch: Fetch | None
    held: list[Held]
    asked: Asked
    labels: list[str] = field(default_factory=list)

    @property
    def technician(self) -> Technician:
        return self.entry.technician

    @property
    def round(self) -> Round | None:
        return self.entry.round

    @property
    def version(self) -> int:
        return self.round.plan.version if self.round is not None else 0

    @property
    def week(self) -> Week:
        return Week.of(self.entry.date)

    @property
    def key(self) -> str:
        machine = self.machine.machine.pk if self.machine else 0
        return f"{self.technician.pk}|{self.entry.date.isoformat()}|{machine}|{self.way.key}"

    @property
    def begins(self) -> datetime:
        """When they begin, on the site's own clock."""
        return self.way.begins.astimezone(ZoneInfo(self.asked.site.time_zone))

    @property
    def back(self) -> datetime:
        return self.way.back.astimezone(ZoneInfo(self.technician.time_zone))

    @property
    def km_words(self) -> str:
        return distance_words(self.way.metres)

    @property
    def overtime_words(self) -> str:
        return hours_words(self.way.overtime_s)

    @property
    def drive_words(self) -> str:
        return hours_words(self.way.drive_s)

    @property
    def figures(self) -> dict[str, object]:
        """What was chosen from, for the books."""
        way = self.way
        return {
            "begins": way.begins.isoformat(),
            "cost": str(way.cost.quantize(Decimal("0.01"))),
            "metres": way.metres,
            "overtime_s": way.overtime_s,
            "promises_broken": way.promises_broken,
            "moved": [row.known.id for row in way.shifted],
            "taken_off": [row.id for row in way.dropped],
            "fetch": self.fetch.name if self.fetch else "",
        }

    @property
    def weight(self) -> tuple[int, int, int]:
        """How much it breaks: promises, visits taken off, overtime."""
        return self.way.promises_broken, len(self.way.dropped), self.way.overtime_s


@dataclass(frozen=True, slots=True)
class Refusal:
    """Somebody who cannot, and why."""

    technician: Technician
    days: str
    why: str


@dataclass(frozen=True, slots=True)
class Answer:
    best: list[Choice]
    choices: list[Choice]
    refusals: list[Refusal]
    machines: list[LoanRow]
    machine_wanted: bool
    currency: str

    def by_key(self, key: str) -> Choice | None:
        return next((row for row in self.choices if row.key == key), None)


def answer(asked: Asked, now: datetime) -> Answer:
    """Everything the dispatcher chooses from, in a fixed number of queries."""
    zone = ZoneInfo(asked.site.time_zone)
    first = now.astimezone(zone).date()
    machines = _machines(asked, first)
    also = [(row.stay.depot.latitude, row.stay.depot.longitude) for row in machines if row.stay and row.stay.depot]
    also.append((asked.site.latitude, asked.site.longitude))
    entries = entries_ahead(now, first, first + timedelta(days=max(asked.days, 1) - 1), also)
    needs = tuple(dict.fromkeys([*asked.site.needed_permissions.all(), *asked.more_needs]))
    barred = set(asked.site.agreements.filter(archived_at=None).values_list("barred_technicians", flat=True))
    choices: list[Choice] = []
    refusals: list[tuple[Technician, date, str]] = []
    for entry in entries:
        why = _("the client does not want them") if entry.technician.user_id in barred else entry.why_not
        if why or entry.day is None:
            refusals.append((entry.technician, entry.date, why))
            continue
        machine, fetch = _machine_for(entry, machines, asked)
        found, reason = ways(entry.day, _wanted(asked, entry.date, needs, fetch))
        if not found:
            refusals.append((entry.technician, entry.date, told(reason) if reason else _("no room in the day")))
        held = _held(entry, needs)
        choices += [Choice(entry, way, machine, fetch, held, asked) for way in found]
    currency = Firm.objects.values_list("currency", flat=True).first() or "USD"
    choices.sort(key=lambda row: (row.way.begins, row.way.cost))
    return Answer(_best(choices), choices, _refusals(refusals), machines, bool(asked.machine_kind), currency)


def _wanted(asked: Asked, day: date, needs: Sequence[PermissionKind], fetch: Fetch | None) -> Wanted:
    site = asked.site
    return Wanted(
        name=site.name,
        at=(site.latitude, site.longitude),
        zone=site.time_zone,
        duration_s=asked.duration_min * 60,
        windows=None if asked.any_hour else windows_of_site(site, day),
        needs=tuple(kind.name for kind in needs),
        fetch=fetch,
    )


def _machines(asked: Asked, first: date) -> list[LoanRow]:
    """Machines of the kind that may go to the site, those there already first."""
    if not asked.machine_kind:
        return []
    last = first + timedelta(days=HIRE_DAYS)
    rows = [row for row in loans(first) if row.machine.kind == asked.machine_kind]
    free = [row for row in rows if row.is_free_for(asked.site, first, last)]
    return sorted(free, key=lambda row: not row.is_out)


def _machine_for(entry: Entry, machines: Sequence[LoanRow], asked: Asked) -> tuple[LoanRow | None, Fetch | None]:
    """The machine a technician would bring: there already, in the own van, else the least way round by a store."""
    for row in machines:
        if row.stay is None or entry.day is None:
            continue
        if row.is_out or (row.stay.van is not None and row.stay.van.technician_id == entry.technician.pk):
            return row, None
    in_store = [row for row in machines if row.stay is not None and row.stay.depot is not None]
    if not in_store or entry.day is None:
        return None, None
    start, site, drive = entry.day.start, (asked.site.latitude, asked.site.longitude), entry.day.travel.drive

    def way_round(row: LoanRow) -> int:
        assert row.stay is not None and row.stay.depot is not None  # noqa: S101, PT018
        at = (row.stay.depot.latitude, row.stay.depot.longitude)
        return drive(start, at)[0] + drive(at, site)[0]

    best = min(in_store, key=way_round)
    assert best.stay is not None and best.stay.depot is not None  # noqa: S101, PT018
    depot = best.stay.depot
    return best, Fetch(str(depot), (depot.latitude, depot.longitude))


def _held(entry: Entry, needs: Sequence[PermissionKind]) -> list[Held]:
    """The permissions that let somebody do it on the day, with their last day."""
    rows = []
    for kind in needs:
        last = [
            row.last_day
            for row in (entry.day.permissions if entry.day else ())
            if row.kind == kind.name and row.first_day <= entry.date <= row.last_day
        ]
        if last:
            rows.append(Held(kind.name, max(last), max(last) - entry.date < PERMISSION_SOON))
    return rows


def _best(choices: Sequence[Choice]) -> list[Choice]:
    """The soonest, the one that breaks least and the cheapest, each once; then the soonest of others, to compare."""
    if not choices:
        return []
    named = [
        (min(choices, key=lambda row: (row.way.begins, row.way.cost)), _("soonest")),
        (min(choices, key=lambda row: (row.weight, row.way.begins, row.way.cost)), _("breaks least")),
        (min(choices, key=lambda row: (row.way.cost, row.way.begins)), _("cheapest")),
    ]
    out: list[Choice] = []
    for choice, label in named:
        if choice not in out:
            out.append(choice)
        choice.labels.append(label)
    for choice in choices:
        if len(out) < BEST and choice.technician.pk not in {row.technician.pk for row in out}:
            choice.labels.append(_("another person"))
            out.append(choice)
    return out


def _refusals(rows: Sequence[tuple[Technician, date, str]]) -> list[Refusal]:
    """One row for each person and reason, with its days."""
    grouped: dict[tuple[int, str], list[tuple[Technician, date]]] = {}
    for who, day, why in rows:
        grouped.setdefault((who.pk, why), []).append((who, day))
    return [
        Refusal(found[0][0], ", ".join(day_words(day) for _who, day in found), why)
        for (_pk, why), found in grouped.items()
    ]
