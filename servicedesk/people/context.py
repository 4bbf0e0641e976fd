"""What the shell of each page needs: places the role may open, theme, names."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext_lazy as _

from servicedesk.people.models import Firm, User
from servicedesk.people.permissions import allows

PLACES = [
    (_("Week"), "routes:week-current", "weeks.see", "/week/"),
    (_("My round"), "routes:my-round", "round.see", "/round/"),
    (_("Sites"), "clients:sites", "sites.see", "/sites/"),
    (_("Water"), "readings:water", "water.see", "/water/"),
    (_("Plant"), "installations:plant", "sites.see", "/plant/"),
    (_("Stores"), "stores:stores", "stores.see", "/stores/"),
    (_("Accounts"), "billing:accounts", "accounts.see", "/accounts/"),
    (_("Worksheets"), "worksheets:index", "worksheets.use", "/worksheets/"),
    (_("Settings"), "people:settings", "home.see", "/settings/"),
]


@dataclass(frozen=True, slots=True)
class Place:
    label: str
    url: str
    current: bool


def shell(request: HttpRequest) -> dict[str, Any]:
    found = getattr(request, "user", None)
    user = found if isinstance(found, User) else None
    theme = user.theme if user else request.COOKIES.get("theme", "light")
    return {
        "shell": {
            "places": _places(user, request.path) if user else [],
            "theme": theme if theme in User.Theme.values else "light",
            "user_name": user.name if user else "",
            "firm_name": SimpleLazyObject(lambda: Firm.objects.values_list("name", flat=True).first() or "Saltround"),
        }
    }


def _places(user: User, path: str) -> list[Place]:
    return [
        Place(str(label), reverse(name), path.startswith(prefix))
        for label, name, capability, prefix in PLACES
        if allows(user.roles, capability)
    ]
