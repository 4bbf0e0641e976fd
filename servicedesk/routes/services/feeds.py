"""Secret addresses of calendars: told once, kept as a digest, made anew or revoked at any time."""

import hashlib
import secrets
from datetime import date

from django.db import transaction
from django.utils import timezone

from servicedesk.people.models import Technician, User
from servicedesk.routes.models import CalendarFeed

TOKEN_BYTES = 32


def token_digest(token: str) -> str:
    """SHA-256: the token is 256 random bits, so that no slow hash is needed."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def feed_make(*, technician: Technician, actor: User) -> str:
    """A new secret; the address before no longer answers. The secret is returned once and nowhere kept."""
    Technician.objects.select_for_update().get(pk=technician.pk)
    feed_revoke(technician=technician, actor=actor)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    CalendarFeed.objects.create(technician=technician, token_hash=token_digest(token), made_by=actor)
    return token


def feed_revoke(*, technician: Technician, actor: User) -> bool:
    """Whether there was an address to revoke."""
    rows = CalendarFeed.objects.filter(technician=technician, revoked_at=None)
    return bool(rows.update(revoked_at=timezone.now(), revoked_by=actor))


def feed_read(*, feed: CalendarFeed, on: date) -> None:
    """Note the last day on which a calendar fetched the feed."""
    CalendarFeed.objects.filter(pk=feed.pk).exclude(last_read_on=on).update(last_read_on=on)
