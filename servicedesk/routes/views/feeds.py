"""The calendar of a technician: its secret address, and the feed itself; a round as GPX and GeoJSON."""

import hashlib
import re
from datetime import date

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST, require_safe

from servicedesk.common.throttle import is_over
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import Technician
from servicedesk.routes.calendar import calendar_of
from servicedesk.routes.queries import feeds as queries
from servicedesk.routes.queries.round import RoundView, round_view, technician_for
from servicedesk.routes.services import feeds
from servicedesk.routes.tracks import round_geojson, round_gpx

TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")
READS_AN_HOUR, MISSES = 60, 30
HOUR_S, MISS_S = 3600, 600


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """The feed behind a secret address. An unknown and a revoked one answer alike; who guesses is slowed down."""
    digest = feeds.token_digest(token)
    found = queries.feed_for(digest) if TOKEN.fullmatch(token) else None
    if found is None:
        slow = is_over(f"feed-miss:{request.META.get('REMOTE_ADDR', '')}", MISSES, MISS_S)
        return _plain(429, MISS_S) if slow else _plain(404)
    if is_over(f"feed:{digest}", READS_AN_HOUR, HOUR_S):
        return _plain(429, HOUR_S)
    technician = found.technician
    page = request.build_absolute_uri
    body = calendar_of(
        technician,
        queries.appointments(technician),
        lambda row: page(_page_of(row)),
        queries.nights_away(technician),
    )
    feeds.feed_read(feed=found, on=timezone.localdate())
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    if request.headers.get("If-None-Match") == etag:
        return _private(HttpResponseNotModified(), etag)
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="rounds.ics"'
    return _private(response, etag)


def _page_of(row: queries.Appointment) -> str:
    """The visit's own page or, for whoever helps and may not open it, My round of that day."""
    if row.helps is not None:
        return reverse("routes:my-round-day", args=[row.round_day])
    return reverse("visits:visit", args=[row.visit.pk])


def _private(response: HttpResponse, etag: str = "") -> HttpResponse:
    """Kept by nobody else, found by no search engine, told to no other page."""
    if etag:
        response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Referrer-Policy"] = "no-referrer"
    return response


def _plain(status: int, retry_s: int = 0) -> HttpResponse:
    words = _("Too many requests.") if retry_s else _("There is no calendar at this address.")
    response = HttpResponse(f"{words}\n", status=status, content_type="text/plain; charset=utf-8")
    if retry_s:
        response["Retry-After"] = str(retry_s)
    return _private(response)


def _technician(request: AuthedRequest, pk: int | None) -> Technician | None:
    return technician_for(request.user, pk)


@requires("round.see")
@require_GET
def calendar(request: AuthedRequest, technician: int | None = None) -> HttpResponse:
    """Whether there is an address, since when, when it was last read; its secret is not shown again."""
    who = _technician(request, technician)
    return _calendar_page(request, who)


def _calendar_page(request: AuthedRequest, who: Technician | None, address: str = "") -> HttpResponse:
    context = {
        "technician": who,
        "own": who is not None and who.user_id == request.user.pk,
        "feed": queries.feed_of(who) if who else None,
        "address": address,
    }
    response = render(request, "routes/calendar.html", context)
    response["Cache-Control"] = "no-store"  # it may show the secret; its forms need the usual referrer
    return response


@requires("round.see")
@require_POST
def calendar_make(request: AuthedRequest) -> HttpResponse:
    """A new address for oneself, shown this once."""
    who = _technician(request, None)
    if who is None:
        raise Http404
    token = feeds.feed_make(technician=who, actor=request.user)
    return _calendar_page(request, who, request.build_absolute_uri(reverse("routes:feed", args=[token])))


@requires("round.see")
@require_POST
def calendar_revoke(request: AuthedRequest, technician: int) -> HttpResponse:
    """End an address: one's own, or a technician's by planner, lead aquarist and owner."""
    who = _technician(request, technician)
    if who is None:
        raise Http404
    if feeds.feed_revoke(technician=who, actor=request.user):
        messages.success(request, _("Revoked: the address answers no more."))
    return redirect("routes:calendar-of", technician=who.pk)


def _view_for(request: AuthedRequest, day: date, technician: int) -> RoundView:
    who = _technician(request, technician)
    view = round_view(who, day, draft=False, with_load=False) if who else None
    if view is None or not view.stops:
        raise Http404
    return view


def _named(response: HttpResponse, view: RoundView, ending: str) -> HttpResponse:
    name = f"round-{view.technician.initials}-{view.day:%Y-%m-%d}.{ending}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@requires("round.see")
@require_GET
def gpx(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    view = _view_for(request, day, technician)
    return _named(HttpResponse(round_gpx(view), content_type="application/gpx+xml"), view, "gpx")


@requires("round.see")
@require_GET
def geojson(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    view = _view_for(request, day, technician)
    return _named(JsonResponse(round_geojson(view), content_type="application/geo+json"), view, "geojson")
