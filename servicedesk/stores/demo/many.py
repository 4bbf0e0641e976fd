"""Stores many rows at once."""

from collections.abc import Sequence
from typing import TypeVar

from django.db import connection
from django.db.models import Model

BATCH = 2000
Row = TypeVar("Row", bound=Model)


def many_create(model: type[Row], rows: Sequence[Row]) -> None:
    """Insert in batches, then let the database count the table anew.

    Inside one transaction nothing else does: foreign keys to a table that was empty a moment ago
    would be checked by reading it whole, row by row.
    """
    for start in range(0, len(rows), BATCH):
        model._default_manager.bulk_create(rows[start : start + BATCH])
        if start == 0:
            tables_analyze(model)
    tables_analyze(model)


def tables_analyze(*models: type[Model]) -> None:
    with connection.cursor() as cursor:
        for model in models:
            cursor.execute(f"ANALYZE {connection.ops.quote_name(model._meta.db_table)}")
