"""Which visits a person may open."""

from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from servicedesk.people.models import Role, User
from servicedesk.visits.models import Visit, VisitEntry

MAY_FILL_ANY = (Role.LEAD_AQUARIST, Role.OWNER)
MAY_SEE_ANY = (*MAY_FILL_ANY, Role.OFFICE, Role.PLANNER)


def visits_seen_by(user: User) -> QuerySet[Visit]:
    """Technicians see their own; planner, office, lead aquarist and owner see all."""
    visits = Visit.objects.select_related("site__client", "agreement", "technician")
    return visits if user.has_role(*MAY_SEE_ANY) else visits.filter(technician=user)


def visit_for(user: User, pk: UUID) -> Visit:
    """A visit the person may see, or 404."""
    return get_object_or_404(visits_seen_by(user), pk=pk)


def visit_to_fill(user: User, pk: UUID) -> Visit:
    """A visit the person may fill: their own, or any for the lead aquarist and the owner. Else 404."""
    visits = Visit.objects.select_related("site__client", "agreement", "technician")
    if not user.has_role(*MAY_FILL_ANY):
        visits = visits.filter(technician=user)
    return get_object_or_404(visits, pk=pk)


def may_fill(user: User, visit: Visit) -> bool:
    """Whether the person may fill this visit's form."""
    return user.has_role(*MAY_FILL_ANY) or visit.technician_id == user.pk


def entries(visit: Visit) -> dict[str, VisitEntry]:
    return {entry.key: entry for entry in visit.entries.all()}
