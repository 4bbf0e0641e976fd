"""Filters about people, built in on every page."""

from django import template

from servicedesk.people.models import Role, User
from servicedesk.people.permissions import allows

register = template.Library()


@register.filter
def may(user: object, capability: str) -> bool:
    """Whether the person's roles allow something: ``{% if user|may:"people.edit" %}``."""
    return isinstance(user, User) and allows(user.roles, capability)


@register.filter
def role_name(role: str) -> str:
    return str(Role(role).label)
