"""How much of the demo is made, from which seed, and the days it is counted from."""

import json
import random
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.utils import timezone

SEED, WEEKS = 7, 52
DEMO = settings.BASE_DIR / "fixtures" / "demo"


def fixture(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((DEMO / f"{name}.json").read_text(encoding="utf-8"))
    return found


@dataclass(frozen=True, slots=True)
class Size:
    """``sites`` None: all of them. Everything is relative to ``today``."""

    seed: int = SEED
    sites: int | None = None
    weeks: int = WEEKS
    today: date = field(default_factory=timezone.localdate)

    @property
    def begins_on(self) -> date:
        """The first day of the history: a Monday."""
        return self.monday - timedelta(weeks=self.weeks)

    @property
    def monday(self) -> date:
        """Monday of this week."""
        return self.today - timedelta(days=self.today.weekday())

    @property
    def signed_from(self) -> date:
        """From this day on visits were signed on the form itself; before, the history is stored at once."""
        return self.monday - timedelta(weeks=1)

    def rng(self, *subject: object) -> random.Random:
        """Chance for one subject, the same on every load."""
        return random.Random(":".join(map(str, (self.seed, *subject))))
