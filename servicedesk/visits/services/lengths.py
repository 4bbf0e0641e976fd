"""Visits to come get the length that past visits teach; a visit given out already keeps its own."""

from collections.abc import Iterable
from uuid import UUID

from django.db import transaction

from servicedesk.visits.models import Visit
from servicedesk.visits.queries.lengths import covers_of, length_of, past_lengths

FREE = (Visit.State.DUE, Visit.State.PLANNED)


@transaction.atomic
def lengths_refresh(visits: Iterable[UUID] | None = None) -> int:
    """Set the minutes of routine visits that no technician was given yet; without ``visits``, of all of them.

    Returns how many changed. Safe to run twice.
    """
    rows = Visit.objects.filter(state__in=FREE, kind=Visit.Kind.ROUTINE).exclude(agreement=None)
    if visits is not None:
        rows = rows.filter(pk__in=list(visits))
    open_visits = list(rows.select_related("agreement").select_for_update(of=("self",)).order_by("pk"))
    covers = covers_of(visit.pk for visit in open_visits)
    past = past_lengths({visit.site_id for visit in open_visits})
    changed = []
    for visit in open_visits:
        if visit.agreement is None:
            continue
        minutes = length_of(visit.agreement, (visit.site_id, covers[visit.pk]), past).minutes
        if minutes != visit.duration_min:
            visit.duration_min = minutes
            changed.append(visit)
    Visit.objects.bulk_update(changed, ["duration_min"], batch_size=500)
    return len(changed)
