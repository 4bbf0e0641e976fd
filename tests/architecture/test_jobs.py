"""Jobs are sent by name: every name that is sent or scheduled is a task that the worker knows."""

import re
from pathlib import Path

import pytest
from django.conf import settings

from servicedesk.celery import app

SENT = re.compile(r"""enqueue\(\s*["']([a-z_.]+)["']""")


def known() -> set[str]:
    app.loader.import_default_modules()
    return {name for name in app.tasks if not name.startswith("celery.")}


def sent() -> set[str]:
    folder = Path(settings.BASE_DIR) / "servicedesk"
    return {name for path in folder.rglob("*.py") for name in SENT.findall(path.read_text("utf-8"))}


def test_every_job_that_is_sent_exists() -> None:
    assert sent()
    assert sent() - known() == set()


@pytest.mark.parametrize("entry", settings.CELERY_BEAT_SCHEDULE.values(), ids=lambda entry: entry["task"])
def test_every_job_of_the_clock_exists(entry: dict[str, str]) -> None:
    assert entry["task"] in known()
