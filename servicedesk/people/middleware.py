"""Per-request settings of the person: in which units and on which clock things are shown."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.people.models import User
from servicedesk.people.queries import zone_of


class PersonMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if not isinstance(user, User):
            return self.get_response(request)
        units = DisplayUnits(system=user.unit_system, alkalinity=user.alkalinity_unit)
        with use_display(units), timezone.override(zone_of(user)):
            return self.get_response(request)
