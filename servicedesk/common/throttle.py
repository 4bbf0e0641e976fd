"""A simple limit on how often something may be asked for, kept in the shared cache."""

from django.core.cache import cache


def is_over(key: str, limit: int, seconds: int) -> bool:
    """Count one more; whether ``key`` was counted more than ``limit`` times within ``seconds``."""
    name = f"throttle:{key}"
    cache.add(name, 0, seconds)
    try:
        return int(cache.incr(name)) > limit
    except ValueError:  # it ran out between the two calls
        return False
