"""Every theme's text can be read on every ground it stands on.

The ratio and its least value are those of WCAG 2.2, success criterion 1.4.3 (level AA, 4.5 to 1) and its definition
of relative luminance.
"""

import re
from pathlib import Path

import pytest

LEAST = 4.5
INKS = ("ink", "soft", "accent", "good", "warn", "bad")
GROUNDS = ("ground", "surface")
OWN_GROUNDS = (("good", "good-ground"), ("warn", "warn-ground"), ("bad", "bad-ground"), ("accent-ink", "accent"))
TOKENS = Path(__file__).parents[2] / "static" / "css" / "tokens.css"

pytestmark = pytest.mark.source("WCAG 2.2, 1.4.3 Contrast (Minimum) and relative luminance")


def luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def colours(theme: str) -> dict[str, str]:
    block = TOKENS.read_text().split(theme + " {", 1)[1].split("}", 1)[0]
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))


def test_ratio_is_that_of_the_standard() -> None:
    """Black on white is 21 to 1; #767676 is the lightest grey that passes on white."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("theme", [":root", '[data-theme="dark"]', '[data-theme="lamp"]'])
def test_text_can_be_read_in_every_light(theme: str) -> None:
    found = colours(theme)
    pairs = [(ink, ground) for ink in INKS for ground in GROUNDS] + list(OWN_GROUNDS)
    pairs += [("ink", ground) for ground in ("good-ground", "warn-ground", "bad-ground")]
    faint = {pair: round(contrast(found[pair[0]], found[pair[1]]), 2) for pair in pairs}
    assert {pair: ratio for pair, ratio in faint.items() if ratio < LEAST} == {}
