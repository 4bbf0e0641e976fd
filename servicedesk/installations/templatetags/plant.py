"""Filters about plant."""

from django import template
from django.utils.translation import gettext as _

from servicedesk.common.templatetags.saltround import qty
from servicedesk.installations.models import PlantCheck
from servicedesk.installations.plant_checks import check_for

register = template.Library()


@register.filter
def check_words(check: PlantCheck) -> str:
    """A plant check in words: label, value in the reader's unit, as found or as left."""
    spec = check_for(check.plant_item.kind, check.key)
    if spec is None:
        return check.key
    if check.value is not None:
        shown = qty(check.value, spec.quantity) if spec.quantity else f"{check.value:g}"
    else:
        shown = str(dict(spec.choices).get(check.word, check.word)) or _("not done")
    moment = f" ({check.get_moment_display()})" if spec.as_left else ""
    return f"{spec.label}{moment}: {shown}"
