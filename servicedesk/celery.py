"""The worker's application: Celery over Redis."""

import os
import time
from typing import Any

from celery import Celery, signals

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
app = Celery("servicedesk")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

HEARTBEAT_KEY = "saltround:worker-heartbeat"


@signals.heartbeat_sent.connect
def note_heartbeat(**_kwargs: Any) -> None:
    """Leave a sign of life that /readyz reads."""
    from django.core.cache import cache

    cache.set(HEARTBEAT_KEY, time.time(), 60)
