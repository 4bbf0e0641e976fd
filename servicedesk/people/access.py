"""The server's check of role and capability for each view."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django_htmx.middleware import HtmxDetails

from servicedesk.people.models import User
from servicedesk.people.permissions import CAPABILITIES, allows

Rest = ParamSpec("Rest")


class AuthedRequest(HttpRequest):
    """A request whose user has signed in (``LoginRequiredMiddleware`` saw to it)."""

    user: User
    htmx: HtmxDetails


View = Callable[Concatenate[AuthedRequest, Rest], HttpResponseBase]


def requires(
    capability: str,
) -> Callable[[View[Rest]], Callable[Concatenate[HttpRequest, Rest], HttpResponseBase]]:
    """Answer 403 unless one of the user's roles has ``capability``."""
    if capability not in CAPABILITIES:
        raise ValueError(f"Unknown capability {capability!r}")

    def decorate(view: View[Rest]) -> Callable[Concatenate[HttpRequest, Rest], HttpResponseBase]:
        @wraps(view)
        def checked(request: HttpRequest, /, *args: Rest.args, **kwargs: Rest.kwargs) -> HttpResponseBase:
            user = request.user
            if not isinstance(user, User) or not allows(user.roles, capability):
                raise PermissionDenied
            return view(request, *args, **kwargs)  # type: ignore[arg-type]

        checked.capability = capability  # type: ignore[attr-defined]
        return checked

    return decorate
