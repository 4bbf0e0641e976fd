"""Live and ready answers for the machine that watches us."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, JsonResponse


@login_not_required
def healthz(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"live": True})


@login_not_required
def readyz(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"ready": True})
