"""What the nitrate and phosphate balance share: inputs, sentences, the sum and the charts."""

from dataclasses import replace
from math import inf, isfinite

from servicedesk.science.guard import OutOfRange
from servicedesk.science.water.feeding import FEEDS
from servicedesk.science.water.nutrients import Balance
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import BarChart, Curve, Input, LineChart, Step, amount, step

WET = FEEDS["frozen"]
COURSE_D = 90
MOST_FEED_G_L = 0.5  # twenty times heavy feeding
DAYS_A_WEEK = 7
DAYS = [float(day) for day in range(COURSE_D + 1)]


def feed_factor(system: Balance, dissolved_g_day: float, missing: float) -> float:
    """By what the feed may be multiplied; what the feed adds after the skimmer goes in proportion to it."""
    return max(1 - missing / dissolved_g_day, 0.0) if dissolved_g_day > 0 else 0.0


def settled(system: Balance) -> float | None:
    """Where it settles, None when it rises without end."""
    return system.steady_mg_l if isfinite(system.steady_mg_l) else None


def outlook(system: Balance, quantity: str, now: float) -> Say:
    month = amount(quantity, system.after_days(now, 30))
    if system.steady_mg_l == inf:
        return say("Nothing takes {what} out in step with it: it rises without end, to {month} in 30 days.",
                   what=quantity, month=month)  # fmt: skip
    if abs(system.steady_mg_l - now) <= 0.05 * max(now, 1e-9):
        return say("As fed and cared for now, {what} stays where it is, at {now}.", what=quantity,
                   now=amount(quantity, now))  # fmt: skip
    return say(
        "As fed and cared for now, {what} goes from {now} to {month} in 30 days by this sum and settles at {settled}.",
        what=quantity,
        now=amount(quantity, now),
        month=month,
        settled=amount(quantity, system.steady_mg_l),
    )


def change_order(system: Balance, target: float, changed_pct: float) -> Say:
    share = system.change_needed_per_day(target)
    if share > 1 / 7:
        return say("Water changes alone cannot: more than the whole volume a week would be needed.")
    return say(
        "Or change {all} of the water a week in all, now {now}: {litres} a week.",
        all=amount("percent", 700 * share),
        now=amount("percent", changed_pct),
        litres=amount("volume", 7 * share * system.volume_l),
    )


def orders(
    system: Balance,
    quantity: str,
    *,
    target: float,
    missing: float,
    feeds: tuple[float, float],
    factor: float,
    changed_pct: float,
    to_spare: str,
    ways: tuple[Say, ...],
) -> tuple[Say, ...]:
    """What holds the target: spare export put to use, or one of the feed, the water changes and ``ways``.

    ``feeds``: dry and frozen a day; ``to_spare``: what to do when export is to spare, as the end of a sentence.
    """
    goal = amount(quantity, target)
    if missing <= 0:
        return (
            say(
                f"To hold {{target}}: {{less}} of export is to spare: {to_spare}, raised by a tenth a week.",
                target=goal,
                less=amount("mass_per_day", -missing),
            ),
            *feed_most(factor, *feeds),
        )
    return (
        say(
            "To hold {target}, {missing} more {what} must go out. Any one of these does it, or parts of several:",
            target=goal,
            missing=amount("mass_per_day", missing),
            what=quantity,
        ),
        *feed_most(factor, *feeds),
        change_order(system, target, changed_pct),
        *ways,
    )


def made_steps(
    element: str,
    product: str,
    *,
    feeds: tuple[float, float],
    content_pct: float,
    wet_share: float,
    fed_g_day: float,
    dissolved: float,
    per_element: float,
    load_g_day: float,
) -> tuple[Step, ...]:
    """The element fed, and what of it dissolves in the water."""
    return (
        step(
            f"{element} fed",
            f"{{feed}} × {{content}} ÷ 100 + {{frozen}} × {wet_share:g}",
            amount("mass_per_day", fed_g_day),
            "common practice",
            feed=amount("mass_per_day", feeds[0]),
            content=amount("percent_fine", content_pct),
            frozen=amount("mass_per_day", feeds[1]),
        ),
        step(
            product,
            f"{{fed}} × {{dissolved}} ÷ 100 × {per_element:.3f}",
            amount("mass_per_day", load_g_day),
            "stoichiometry",
            fed=amount("mass_per_day", fed_g_day),
            dissolved=amount("percent", 100 * dissolved),
        ),
    )


def taken_step(fixed: tuple[tuple[str, float], ...]) -> Step:
    """What goes out whatever the level, part by part."""
    names = [name.lower() for name, _value in fixed]
    return step(
        f"Taken out by {', '.join(names[:-1])} and {names[-1]}",
        " + ".join(f"{{{name}}}" for name in names),
        amount("mass_per_day", sum(value for _name, value in fixed)),
        "mass balance",
        **{name: amount("mass_per_day", value) for name, (_name, value) in zip(names, fixed, strict=True)},
    )


def common_steps(system: Balance, quantity: str, target: float, missing: float, *, measured: bool) -> tuple[Step, ...]:
    return (
        step(
            "Lost a day in rock, sand and growth",
            "from the two readings" if measured else "taken by common practice",
            amount("per_day", system.lost_per_day),
            "mass balance" if measured else "common practice",
        ),
        step(
            "Settles at",
            "(1000 × ({load} − {out}) ÷ {volume} + {changed} × {new}) ÷ ({lost} + {changed})",
            amount(quantity, system.steady_mg_l),
            "mass balance",
            load=amount("mass_per_day", system.load_g_day),
            out=amount("mass_per_day", system.fixed_g_day),
            volume=amount("volume", system.volume_l),
            changed=amount("per_day", system.changed_per_day),
            new=amount(quantity, system.new_mg_l),
            lost=amount("per_day", system.lost_per_day),
        ),
        step(
            "Further export to hold the target",
            "{load} − {out} − ({lost} × {target} + {changed} × ({target} − {new})) × {volume} ÷ 1000",
            amount("mass_per_day", missing),
            "mass balance",
            load=amount("mass_per_day", system.load_g_day),
            out=amount("mass_per_day", system.fixed_g_day),
            lost=amount("per_day", system.lost_per_day),
            changed=amount("per_day", system.changed_per_day),
            target=amount(quantity, target),
            new=amount(quantity, system.new_mg_l),
            volume=amount("volume", system.volume_l),
        ),
    )


def assumed(*, measured: bool) -> tuple[Say, ...]:
    if measured:
        return ()
    return (
        say(
            "What rock, sand and growth take is assumed. The sum shows the direction and the size of a change; two "
            "readings some weeks apart show the truth."
        ),
    )


def course_chart(system: Balance, title: str, quantity: str, now: float, target: float, missing: float) -> LineChart:
    held = replace(system, fixed_g_day=max(system.fixed_g_day + missing, 0.0))
    return LineChart(
        f"{title} from today",
        "Days",
        "days",
        title,
        quantity,
        (
            Curve("As now", DAYS, [system.after_days(now, day) for day in DAYS]),
            Curve("With the export that holds the target", DAYS, [held.after_days(now, day) for day in DAYS]),
        ),
        (("Target", target),),
    )


def parts_chart(system: Balance, title: str, now: float, fixed: tuple[tuple[str, float], ...]) -> BarChart:
    parts = system.parts_g_day(now)
    bars = (
        ("From feed", parts["load"]),
        *((name, -value) for name, value in fixed if value),
        ("Rock, sand, growth", parts["lost"]),
        ("Water change", parts["changed"]),
    )
    return BarChart(f"{title} in and out today", "mass_per_day", bars, "Change of the stock")


def feed_most(factor: float, feed_g_day: float, frozen_g_day: float) -> tuple[Say, ...]:
    """The feed that holds the target, of the kinds fed now."""
    if feed_g_day + frozen_g_day == 0:
        return ()
    if factor == 0:
        return (say("No cut in feed is enough alone."),)
    dry, frozen = (amount("mass_per_day", factor * fed) for fed in (feed_g_day, frozen_g_day))
    if frozen_g_day == 0:
        return (say("Feed at most {dry} of dry feed.", dry=dry),)
    if feed_g_day == 0:
        return (say("Feed at most {frozen} of frozen feed.", frozen=frozen),)
    return (say("Feed at most {dry} of dry and {frozen} of frozen feed.", dry=dry, frozen=frozen),)


def check_feed(volume_l: float, feed_g_day: float) -> None:
    """Refuse what can only be a slip of units."""
    if feed_g_day > MOST_FEED_G_L * volume_l:
        raise OutOfRange(
            say(
                "{feed} of feed a day in {volume} cannot be: check units.",
                feed=amount("mass", feed_g_day),
                volume=amount("volume", volume_l),
            ),
            "feed_g_day",
        )


FEED = Input("feed_g_day", "Dry feed a day", "mass_per_day", 0, 50000, recall="programme.feed_g_day")
FROZEN = Input("frozen_g_day", "Frozen feed a day, thawed and drained", "mass_per_day", 0, 100000, default=0)
CHANGED = Input("changed_pct", "Water changed a week", "percent", 0, 100, default=10)
ALGAE = Input("algae_g_day", "Wet algae harvested a day", "mass_per_day", 0, 100000, default=0,
              help="A harvest of 700 g each week is 100 g a day.")  # fmt: skip
LOST = Input("lost_pct", "Lost a day in rock, sand and growth", "percent_fine", 0, 60, default=5,
             help="Common practice 1 to 15 % a day; found from two readings when both are given.",
             detail=True)  # fmt: skip
SKIMMED = Input("skimmed_pct", "Share of the load skimmed off", "percent", 0, 90, default=20,
                help="Common practice 10 to 30 %.", usual=(0, 40), detail=True)  # fmt: skip
