"""Live and ready answers for whatever watches us."""

from collections.abc import Callable

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from redis.exceptions import RedisError

HEARTBEAT_KEY = "saltround:worker-heartbeat"


@login_not_required
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"live": True})


@login_not_required
def readyz(request: HttpRequest) -> JsonResponse:
    """Database, migrations, broker and a living worker; 503 when one is missing."""
    parts = {name: _passes(check) for name, check in CHECKS.items()}
    ready = all(parts.values())
    return JsonResponse({"ready": ready, **parts}, status=200 if ready else 503)


def _passes(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except (DatabaseError, RedisError, OSError):
        return False


def _database() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return True


def _migrations() -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def _broker() -> bool:
    cache.set("saltround:ready", 1, 5)
    return True


def _worker() -> bool:
    return cache.get(HEARTBEAT_KEY) is not None


CHECKS = {"database": _database, "migrations": _migrations, "broker": _broker, "worker": _worker}
