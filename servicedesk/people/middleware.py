"""Per-request settings of the person: which units and theme to show."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.people.models import User


class PersonMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if not isinstance(user, User):
            return self.get_response(request)
        with use_display(DisplayUnits(system=user.unit_system, alkalinity=user.alkalinity_unit)):
            return self.get_response(request)
