"""Which role may do what: one table, read by the views' ``requires`` and by templates."""

from servicedesk.people.models import Role

P, T, O, L, W = Role.PLANNER, Role.TECHNICIAN, Role.OFFICE, Role.LEAD_AQUARIST, Role.OWNER

CAPABILITIES: dict[str, frozenset[str]] = {
    "home.see": frozenset({P, T, O, L, W}),
    "people.see": frozenset({P, O, L, W}),
    "people.edit": frozenset({P, O, W}),
    "people.roles": frozenset({W}),
    "sites.see": frozenset({P, T, O, L, W}),
    "sites.edit": frozenset({P, O, L, W}),
    "agreements.see": frozenset({P, O, L, W}),
    "agreements.edit": frozenset({P, O, W}),
    "installations.edit": frozenset({L, O, W}),
    "plant.edit": frozenset({L, T, W}),
    "water.see": frozenset({P, T, O, L, W}),
    "water.edit": frozenset({T, L, W}),
    "programme.edit": frozenset({L, W}),
    "weeks.see": frozenset({P, O, L, W}),
    "weeks.plan": frozenset({P, W}),
    "round.see": frozenset({T, P, L, W}),
    "visits.fill": frozenset({T, L, W}),
    "visits.see": frozenset({P, T, O, L, W}),
    "visits.plan": frozenset({P, O, W}),
    "reports.send": frozenset({O, L, W}),
    "reports.correct": frozenset({T, L, O, W}),
    "accounts.see": frozenset({O, W}),
    "accounts.edit": frozenset({O, W}),
    "stores.see": frozenset({P, T, O, L, W}),
    "stores.edit": frozenset({O, L, T, W}),
    "stores.catalogue": frozenset({O, L, W}),
    "outbox.see": frozenset({O, W}),
    "worksheets.use": frozenset({T, L, W}),
    "settings.edit": frozenset({W}),
}


def allows(roles: list[str], capability: str) -> bool:
    """Whether any of ``roles`` has ``capability``; an unknown capability is a programming error."""
    return not CAPABILITIES[capability].isdisjoint(roles)
