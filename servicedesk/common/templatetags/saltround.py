"""Template tags and filters used on every page (built in by the settings)."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.common.display import current_display
from servicedesk.common.ids import new_id
from servicedesk.common.recurrence import day_name
from servicedesk.common.recurrence import words as rule_words
from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES

register = template.Library()

STATE_SHAPES = {"good": "●", "due": "◆", "wait": "○", "warn": "▲", "bad": "■"}
UNIT_WORDS = {"GRM": "g", "MLT": "mL", "LTR": "L", "HUR": "h"}


@register.simple_block_tag
def state(content: str, kind: str) -> SafeString:
    """A state told by word and shape; ``kind`` is good, due, wait, warn or bad."""
    return format_html(
        '<span class="state" data-state="{}"><span class="shape" aria-hidden="true">{}</span> {}</span>',
        kind,
        STATE_SHAPES[kind],
        SafeString(content.strip()),
    )


@register.simple_tag
def once_token() -> SafeString:
    """The hidden token of a form that is no Django form (``common.once``)."""
    return format_html('<input type="hidden" name="token" value="{}">', new_id())


@register.filter
def plain(value: Any) -> str:
    """A number without needless zeros: 2.500 → 2.5, 100.000 → 100."""
    if value is None or value == "":
        return "–"
    number = Decimal(str(value)).normalize()
    return f"{number:,f}"


@register.filter
def price(value: Decimal) -> str:
    """A unit price: at least cents, more digits where it has them."""
    exact = value.normalize()
    return f"{exact:,f}" if -int(exact.as_tuple().exponent) > 2 else f"{value:,.2f}"


@register.filter
def dashed(key: str) -> str:
    """A field key as part of an element id: "test.3.calcium" → "test-3-calcium"."""
    return key.replace(".", "-")


@register.filter
def wall_clock(at: datetime | None) -> str:
    """A time as the clock on the wall there showed it: no change of zone."""
    return f"{at:%H:%M}" if at else "–"


@register.filter
def weekday_name(weekday: int) -> str:
    """0 is Monday."""
    return day_name(weekday)


@register.filter
def cadence(rule: str) -> str:
    """A recurrence rule in words."""
    return rule_words(rule)


@register.filter
def unlocalized(value: float) -> str:
    """A coordinate as machines read it."""
    return f"{value:.5f}"


@register.filter
def qty(value: float | None, quantity: str) -> str:
    """A canonical value in the reader's unit: ``{{ volume_l|qty:"volume" }}``."""
    if value is None:
        return "–"
    known = [unit.key for unit in QUANTITIES[quantity]]
    chosen = current_display().unit_for(quantity)
    unit = units.unit_of(quantity, chosen if chosen in known else known[0])
    return f"{units.from_canonical(quantity, value, unit.key):,.{unit.digits}f} {unit.label}".strip()


@register.filter
def lookup(table: dict[Any, Any], key: Any) -> Any:
    """``table[key]``, or nothing."""
    return table.get(key)


@register.filter
def unit_word(code: str) -> str:
    """UN/ECE Recommendation 20 code as people write it."""
    if code == "MON":
        return _("month")
    return UNIT_WORDS.get(code, "")
