"""Identifiers: UUIDv7, so that records made on a tablet sort by time and never collide."""

from uuid import UUID

import uuid_utils.compat


def new_id() -> UUID:
    """A fresh UUIDv7 (RFC 9562)."""
    return uuid_utils.compat.uuid7()
