from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine

from tests.visits.filling import Scene, a_scene


@pytest.fixture
def scene(db: None) -> Iterator[Scene]:
    """The morning of the visit, 10:05 at the site."""
    with time_machine.travel(datetime(2026, 11, 24, 16, 5, tzinfo=UTC), tick=True):
        yield a_scene()
