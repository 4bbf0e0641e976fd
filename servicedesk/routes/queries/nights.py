"""An evening of the week laid open: what a night away there would cost and save, and what forbids it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.people.models import Lodging, Technician
from servicedesk.planner.problem import REST_S
from servicedesk.routes.hours import ONE_DAY
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.nights import morning_of
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.over import over_words
from servicedesk.routes.queries.problem import Key, lodgings_open
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.week import currency
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import Week, distance_words, hours_words, instant
from servicedesk.routes.travel import Point

SHOWN = 4


@dataclass(frozen=True, slots=True)
class NightChoice:
    """One way to spend the night; ``lodging`` None is at home. Figures are of both days, against driving home.

    ``days``: both, with the rounds of others that share a visit for two with them.
    """

    lodging: Lodging | None
    days: Mapping[Key, Timed]
    broken: list[str]
    is_now: bool
    saved_m: int = 0
    saved_s: int = 0
    saved: Decimal = Decimal(0)

    @property
    def price(self) -> Decimal:
        return self.lodging.price_per_night if self.lodging is not None else Decimal(0)

    @property
    def drive_words(self) -> str:
        """Saves 140 km and 2 h 10 min of driving."""
        words = {"km": distance_words(abs(self.saved_m)), "time": hours_words(abs(self.saved_s))}
        if self.saved_m >= 0 and self.saved_s >= 0:
            return _("saves %(km)s and %(time)s of driving") % words
        return _("adds %(km)s and %(time)s of driving") % words

    @property
    def is_cheaper(self) -> bool:
        return self.saved > 0

    @property
    def difference(self) -> Decimal:
        return abs(self.saved)


class Evening:
    """A technician's evening and the morning after it, in a week's plan."""

    def __init__(self, week: Week, plan: WeekPlan, technician: Technician, day: date) -> None:
        self.week, self.plan, self.technician = week, plan, technician
        self.night: Key = (technician.pk, day)
        self.morning = morning_of(self.night)
        self.rows = {
            row.date: row
            for row in Round.objects.filter(
                plan=plan, technician=technician, date__range=(day - ONE_DAY, day + 2 * ONE_DAY)
            ).select_related("lodging")
        }
        self.lodging = self.rows[day].lodging if day in self.rows else None

    @cached_property
    def problem(self) -> WeekProblem:
        """Both days, with the rounds of others that share a visit for two with them."""
        people = {row.pk: row for row in technicians_between(self.week.monday, self.week.sunday)}
        people[self.technician.pk] = self.technician
        return week_problem(self.week, self.plan, people, only={self.night, self.morning}, lodgings=self.lodgings)

    @cached_property
    def lodgings(self) -> list[Lodging]:
        """Those in use, and the one that stands in the plan."""
        found = lodgings_open()
        return found if self.lodging is None or self.lodging in found else [*found, self.lodging]

    @property
    def currency(self) -> str:
        return currency()

    def refused(self) -> list[str]:
        """Why nothing about this night may be changed; empty when it may."""
        names = {"name": self.technician}
        over = over_words(self.technician, self.night[1])
        if over:
            return [over]
        locked = [key[1] for key in (self.night, self.morning) if key[1] in self.rows and self.rows[key[1]].locked]
        words = _("The round of %(name)s on %(day)s is locked. Free it first.")
        return [words % (names | {"day": _day(day)}) for day in locked]

    def forbidden(self) -> list[str]:
        """Why this night may not be spent away, whatever the lodging."""
        who, names = self.technician, {"name": self.technician}
        if not who.may_stay_away:
            return [_("%(name)s has not agreed to nights away; that is noted under Settings, People.") % names]
        if self.morning[1] not in self.week.days:
            return [_("The night after the last day of a week belongs to two weeks and cannot be planned.")]
        found = []
        for key, words in (
            (self.night, _("%(name)s does not work on %(day)s: %(why)s.")),
            (
                self.morning,
                _(
                    "%(name)s does not work on the next day, %(day)s: %(why)s. "
                    "A night away lies between two working days."
                ),
            ),
        ):
            if key not in self.problem.data.shifts:
                why = self.problem.data.off.get(key, "")
                found.append(words % (names | {"day": _day(key[1]), "why": why}))
        others = Round.objects.filter(plan=self.plan, technician=who, lodging__isnull=False).exclude(date=self.night[1])
        if others.count() >= who.most_nights:
            words = ngettext(
                "%(name)s is away %(n)d night this week already; more are not agreed.",
                "%(name)s is away %(n)d nights this week already; more are not agreed.",
                others.count(),
            )
            found.append(words % (names | {"n": others.count()}))
        return found

    def choice(self, lodging: Lodging | None) -> NightChoice:
        """Both days timed with the night spent there, and the rounds that can only be timed together with them."""
        week, orders = self.with_night(lodging), self.orders
        days = week.together(orders)
        broken = list(dict.fromkeys(words for key, timed in days.items() for words in self._broken(key, timed)))
        is_now = (lodging.pk if lodging else None) == (self.lodging.pk if self.lodging else None)
        return NightChoice(lodging, days, [*broken, *self._short_rests(days)], is_now)

    def with_night(self, lodging: Lodging | None) -> WeekProblem:
        """The days read, with the night spent there."""
        return self.problem.with_nights({self.night: lodging})

    @property
    def own(self) -> tuple[Key, Key]:
        """The two days that the night lies between."""
        return self.night, self.morning

    @cached_property
    def orders(self) -> dict[Key, list[str]]:
        """The rounds as they stand; a day without one may be driven for the night alone."""
        data = self.problem.data
        return {key: [] for key in self.own if key in data.shifts} | data.orders

    def _broken(self, key: Key, timed: Timed) -> list[str]:
        """The rules that a day breaks; of somebody else's, those that it does not break as it stands."""
        if key in self.own:
            return timed.hard
        stands = self.problem.timed(key, self.orders[key]).hard
        return [words for words in timed.hard if words not in stands]

    def against_home(self, choice: NightChoice) -> NightChoice:
        """The choice with what it saves or costs more than driving home."""
        home = self._home
        metres, seconds, cost = (
            sum(getattr(timed, name) for timed in home.days.values())
            - sum(getattr(timed, name) for timed in choice.days.values())
            for name in ("distance_m", "travel_s", "cost")
        )
        saved = Decimal(str(round(cost, 2)))
        return NightChoice(choice.lodging, choice.days, choice.broken, choice.is_now, metres, seconds, saved)

    @cached_property
    def _home(self) -> NightChoice:
        return self.choice(None)

    def choices(self) -> list[NightChoice]:
        """At home, and the lodgings nearest the way from the last stop to the next day's first."""
        rows = sorted(self.lodgings, key=lambda row: (row != self.lodging, self._detour_s(row)))[:SHOWN]
        return [self.against_home(self._home), *(self.against_home(self.choice(row)) for row in rows)]

    def _detour_s(self, lodging: Lodging) -> int:
        """From the last stop there, and from there to the first stop of the morning."""
        point, travel = (lodging.latitude, lodging.longitude), self.problem.data.travel
        last, first = self._stop_at(self.night, -1), self._stop_at(self.morning, 0)
        to, on = travel.drive(last, point)[0] if last else 0, travel.drive(point, first)[0] if first else 0
        return to + on

    def _stop_at(self, key: Key, place: int) -> Point | None:
        order = self.problem.data.orders.get(key)
        if not order:
            return None
        site = self.problem.data.visits[order[place]].visit.site
        return site.latitude, site.longitude

    def _short_rests(self, days: Mapping[Key, Timed]) -> list[str]:
        """Too little rest before, between or after the two days."""
        spans: dict[date, tuple[int, int]] = {}
        for day, row in self.rows.items():
            if row.leave_s is not None and row.return_s is not None:
                spans[day] = (row.leave_s, row.return_s)
        for key, timed in days.items():
            if key[0] != self.technician.pk:
                continue
            spans.pop(key[1], None)
            if timed.leave_s is not None and timed.return_s is not None:
                spans[key[1]] = (timed.leave_s, timed.return_s)
        return list(_rests_broken(self.technician, spans))


def _rests_broken(who: Technician, spans: Mapping[date, tuple[int, int]]) -> Iterable[str]:
    zone = ZoneInfo(who.time_zone)
    for day, (_leave, back) in sorted(spans.items()):
        after = spans.get(day + ONE_DAY)
        if after is None:
            continue
        rest = _moment(day + ONE_DAY, after[0], zone) - _moment(day, back, zone)
        if rest < timedelta(seconds=REST_S):
            words = _("%(name)s would have only %(rest)s of rest after %(day)s, %(least)s are needed.")
            yield words % {
                "name": who, "rest": hours_words(rest.total_seconds()), "day": _day(day), "least": hours_words(REST_S),
            }  # fmt: skip


def _moment(day: date, seconds: int, zone: ZoneInfo) -> datetime:
    return instant(day, seconds, zone)


def _day(day: date) -> str:
    return str(date_format(day, "D j M"))
