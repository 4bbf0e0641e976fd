"""Feeding: rations by species group, split into meals over the day, and what they add to the water."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from servicedesk.science.guard import OutOfRange, ScienceError, not_negative, positive, within

LEAST_MEALS = 4  # common practice: at least four metered feeds a day
MOST_MEALS = 24
CORAL_AFTER_DARK_H = 1.0  # polyps are open about an hour after lights off
PROTEIN_PER_N = 6.25  # Jones's factor


@dataclass(frozen=True, slots=True)
class Feed:
    """As fed: shares of dry matter, of nitrogen and of phosphorus. Values of common practice, to be replaced by the
    label's."""

    label: str
    dry: float
    nitrogen: float
    phosphorus: float

    @property
    def protein(self) -> float:
        return self.nitrogen * PROTEIN_PER_N


FEEDS: dict[str, Feed] = {
    "pellet": Feed("Dry pellets", 0.92, 0.075, 0.011),
    "flake": Feed("Flake", 0.92, 0.072, 0.011),
    "frozen": Feed("Frozen crustaceans, thawed and drained", 0.15, 0.0125, 0.0016),
    "seaweed": Feed("Dried seaweed", 0.90, 0.05, 0.005),
    "plankton": Feed("Plankton powder", 0.95, 0.07, 0.010),
}


@dataclass(frozen=True, slots=True)
class Group:
    """A species group: dry feed a day in % of its live mass, and the feed it mostly takes. Common practice."""

    label: str
    dry_pct: float
    feed: str


GROUPS: dict[str, Group] = {
    "planktivore": Group("Plankton pickers (anthias, chromis)", 2.0, "frozen"),
    "herbivore": Group("Grazers (tangs, rabbitfish)", 1.5, "seaweed"),
    "omnivore": Group("Mixed feeders (wrasses, angelfish, clownfish)", 1.2, "pellet"),
    "predator": Group("Fish eaters (groupers, lionfish)", 0.8, "frozen"),
}


@dataclass(frozen=True, slots=True)
class Ration:
    """Grams of one feed a day, as fed."""

    feed: str
    mass_g: float

    @property
    def nitrogen_g(self) -> float:
        return self.mass_g * FEEDS[self.feed].nitrogen

    @property
    def phosphorus_g(self) -> float:
        return self.mass_g * FEEDS[self.feed].phosphorus

    @property
    def dry_g(self) -> float:
        return self.mass_g * FEEDS[self.feed].dry

    @property
    def protein_g(self) -> float:
        return self.mass_g * FEEDS[self.feed].protein


@dataclass(frozen=True, slots=True)
class Meal:
    """A clock time and what is given then, g by feed."""

    hour: float
    who: str
    amounts: Mapping[str, float]

    @property
    def mass_g(self) -> float:
        return sum(self.amounts.values())


def ration(*, group: str, mass_kg: float, feed: str = "", dry_pct: float | None = None) -> Ration:
    """The day's feed of a group from its live mass; the group's own feed and share unless others are given."""
    if group not in GROUPS:
        raise ScienceError(f"The group is one of {', '.join(GROUPS)}.", "groups")
    chosen = feed or GROUPS[group].feed
    _known(chosen)
    share = GROUPS[group].dry_pct if dry_pct is None else within("ration", dry_pct, 0, 10, "percent_fine")
    dry_g = 1000 * not_negative("mass of fish", mass_kg) * share / 100
    return Ration(chosen, dry_g / FEEDS[chosen].dry)


def total(rations: Sequence[Ration]) -> dict[str, float]:
    """Grams a day by feed."""
    found: dict[str, float] = {}
    for part in rations:
        found[part.feed] = found.get(part.feed, 0.0) + part.mass_g
    return found


def nitrogen_g_day(rations: Sequence[Ration]) -> float:
    """Nitrogen fed a day."""
    return sum(part.nitrogen_g for part in rations)


def phosphorus_g_day(rations: Sequence[Ration]) -> float:
    """Phosphorus fed a day."""
    return sum(part.phosphorus_g for part in rations)


def meal_hours(*, meals: int, lights_on_h: float, lights_off_h: float, margin_h: float = 1.0) -> list[float]:
    """Clock times of the meals, evenly from ``margin_h`` after lights on to ``margin_h`` before lights off.

    >>> meal_hours(meals=5, lights_on_h=9, lights_off_h=19)
    [10.0, 12.0, 14.0, 16.0, 18.0]
    """
    count = int(within("number of meals", meals, LEAST_MEALS, MOST_MEALS))
    lit = (within("lights off", lights_off_h, 0, 24) - within("lights on", lights_on_h, 0, 24)) % 24
    if lit < 2 * not_negative("margin", margin_h) + 1:
        raise OutOfRange("The lit time is too short to spread the meals over it.", "lights_off")
    gap = (lit - 2 * margin_h) / (count - 1)
    return [(lights_on_h + margin_h + gap * index) % 24 for index in range(count)]


def coral_hours(*, lights_off_h: float, feeds: int = 1, gap_h: float = 1.5) -> list[float]:
    """Clock times of coral feeds, the first an hour after lights off, when the polyps are open."""
    first = within("lights off", lights_off_h, 0, 24) + CORAL_AFTER_DARK_H
    count = int(within("number of coral feeds", feeds, 1, 4))
    return [(first + not_negative("gap", gap_h) * index) % 24 for index in range(count)]


def plan(
    *,
    fish: Sequence[Ration],
    corals: Sequence[Ration],
    meals: int,
    lights_on_h: float,
    lights_off_h: float,
    coral_feeds: int = 1,
) -> list[Meal]:
    """The day's meals in order from lights on: fish fed in equal parts by day, corals after dark."""
    found = [
        Meal(hour, "fish", {feed: mass / meals for feed, mass in total(fish).items()})
        for hour in meal_hours(meals=meals, lights_on_h=lights_on_h, lights_off_h=lights_off_h)
    ]
    if any(part.mass_g for part in corals):
        found += [
            Meal(hour, "corals", {feed: mass / coral_feeds for feed, mass in total(corals).items()})
            for hour in coral_hours(lights_off_h=lights_off_h, feeds=coral_feeds)
        ]
    return found


def feeder_turns(mass_g: float, grams_per_turn: float) -> int:
    """Whole turns of a feeder for a meal, from what one turn was weighed to give; at least one."""
    return max(round(not_negative("meal", mass_g) / positive("grams a turn", grams_per_turn)), 1)


def _known(feed: str) -> None:
    if feed not in FEEDS:
        raise ScienceError(f"The feed is one of {', '.join(FEEDS)}.", "feed")
