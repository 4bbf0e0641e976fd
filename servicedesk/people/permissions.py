"""Which role may do what: one table, read by the views' ``requires`` and by templates."""

from servicedesk.people.models import Role

P, T, F, L, W = Role.PLANNER, Role.TECHNICIAN, Role.OFFICE, Role.LEAD_AQUARIST, Role.OWNER

CAPABILITIES: dict[str, frozenset[str]] = {
    "home.see": frozenset({P, T, F, L, W}),
    "people.see": frozenset({P, F, L, W}),
    "people.edit": frozenset({P, F, W}),
    "people.roles": frozenset({W}),
    "sites.see": frozenset({P, T, F, L, W}),
    "sites.edit": frozenset({P, F, L, W}),
    "gates.see": frozenset({P, W}),
    "agreements.see": frozenset({P, F, L, W}),
    "agreements.edit": frozenset({P, F, W}),
    "installations.edit": frozenset({L, F, W}),
    "plant.edit": frozenset({L, T, W}),
    "water.see": frozenset({P, T, F, L, W}),
    "water.edit": frozenset({T, L, W}),
    "programme.edit": frozenset({L, W}),
    "weeks.see": frozenset({P, F, L, W}),
    "weeks.plan": frozenset({P, W}),
    "round.see": frozenset({T, P, L, W}),
    "hours.see": frozenset({P, T, F, L, W}),
    "visits.fill": frozenset({T, L, W}),
    "visits.see": frozenset({P, T, F, L, W}),
    "visits.plan": frozenset({P, F, W}),
    "reports.send": frozenset({F, L, W}),
    "reports.correct": frozenset({T, L, F, W}),
    "accounts.see": frozenset({F, W}),
    "accounts.edit": frozenset({F, W}),
    "stores.see": frozenset({P, T, F, L, W}),
    "stores.edit": frozenset({F, L, T, W}),
    "stores.catalogue": frozenset({F, L, W}),
    "outbox.see": frozenset({F, W}),
    "worksheets.use": frozenset({T, L, W}),
    "settings.edit": frozenset({W}),
}


def allows(roles: list[str], capability: str) -> bool:
    """Whether any of ``roles`` has ``capability``; an unknown capability is a programming error."""
    return not CAPABILITIES[capability].isdisjoint(roles)
