"""Visits of a site and of an agreement; extra visits."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients.models import Agreement, Site
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.visits.forms import ExtraForm
from servicedesk.visits.queries import lengths
from servicedesk.visits.queries import schedule as queries
from servicedesk.visits.queries.form import visits_seen_by
from servicedesk.visits.services import schedule

PAGE = 25


@requires("visits.see")
@require_GET
def site_visits(request: AuthedRequest, site: int) -> HttpResponse:
    """All visits of a site, the newest first."""
    found = get_object_or_404(Site.objects.select_related("client"), pk=site)
    rows = visits_seen_by(request.user).filter(site=found).order_by("-due_on")
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    return render(request, "visits/site_visits.html", {"site": found, "page": page})


@requires("agreements.see")
@require_GET
def agreement_visits(request: AuthedRequest, pk: int) -> HttpResponse:
    """Visits sold and given this year, and the next ones with what moved them."""
    found = get_object_or_404(Agreement.objects.select_related("site"), pk=pk)
    today = timezone.now().astimezone(ZoneInfo(found.site.time_zone)).date()
    context = {
        "agreement": found,
        "count": queries.sold_and_given(found, today.year),
        "year": today.year,
        "coming": found.visits.filter(due_on__gte=today).order_by("due_on")[:12],
    }
    return render(request, "visits/parts/agreement_visits.html", context)


@requires("agreements.see")
@require_GET
def agreement_length(request: AuthedRequest, pk: int) -> HttpResponse:
    """How long its visits really took, beside the minutes typed."""
    found = get_object_or_404(Agreement.objects.select_related("site"), pk=pk)
    return render(request, "visits/parts/length.html", {"length": lengths.agreement_length(found)})


@requires("agreements.edit")
@require_POST
def agreement_retime(request: AuthedRequest, pk: int) -> HttpResponse:
    """Make an agreement's visits ten weeks ahead now, and move those nobody planned yet."""
    found = get_object_or_404(Agreement.objects.select_related("site"), pk=pk)
    today = timezone.now().astimezone(ZoneInfo(found.site.time_zone)).date()
    schedule.agreement_retime(agreement=found, today=today)
    messages.success(request, _("Its visits are made ten weeks ahead."))
    return redirect("clients:agreement", pk=pk)


@requires("visits.plan")
@require_http_methods(["GET", "POST"])
def extra(request: AuthedRequest, site: int) -> HttpResponse:
    """An extra or urgent visit."""
    found = get_object_or_404(Site.objects.select_related("client"), pk=site)
    today = timezone.now().astimezone(ZoneInfo(found.time_zone)).date()
    form = ExtraForm(request.POST or None, initial={"due_on": today, "latest_on": today + timedelta(days=2)})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            made = schedule.visit_create_extra(
                visit_id=data["token"], site=found, kind=data["kind"], due_on=data["due_on"],
                latest_on=data["latest_on"], duration_min=data["duration_min"], task=data["task"],
                installations=[], actor=request.user,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Noted. It waits in the week's tray."))
            return redirect("visits:visit", pk=made.pk)
    return render(request, "visits/extra.html", {"site": found, "form": form}, status=422 if form.errors else 200)
