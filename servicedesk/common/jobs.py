"""Jobs by name: services enqueue without importing the tasks, which live on floors above them."""

from typing import Any

from celery import current_app
from django.db import transaction


def enqueue(name: str, *args: Any) -> None:
    """Send the task ``name`` to the worker once the current transaction has committed.

    A broker that is down fails nobody's request: the beat's sweeps find what was left undone.
    """
    transaction.on_commit(lambda: current_app.send_task(name, args=args), robust=True)
