from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine


@pytest.fixture
def before_the_week() -> Iterator[None]:
    """The Thursday before the week that the tests plan."""
    with time_machine.travel(datetime(2026, 12, 3, 15, tzinfo=UTC), tick=True):
        yield
