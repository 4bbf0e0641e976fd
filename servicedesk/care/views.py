from datetime import timedelta
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from servicedesk.care import queries, services, water
from servicedesk.care.forms import AdditionForm, ProgrammeForm
from servicedesk.care.models import ProgrammeVersion
from servicedesk.care.programme import settings_for
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import site_of
from servicedesk.people.access import AuthedRequest, requires

SPANS = (30, 90, 365)


@requires("water.see")
@require_GET
def installation(request: AuthedRequest, pk: int) -> HttpResponse:
    """Everything about one system's water at a glance."""
    found = get_object_or_404(Installation, pk=pk)
    rows = water.strips(found)
    chosen = [key for key in request.GET.getlist("p") if key in {row.band.parameter_id for row in rows}]
    keys = chosen or [row.band.parameter_id for row in rows[:3]]
    days = int(request.GET.get("days", "90")) if request.GET.get("days", "90") in map(str, SPANS) else 90
    site = site_of(found, timezone.localdate())
    context = {
        "installation": found,
        "site": site,
        "rows": rows,
        "keys": keys,
        "days": days,
        "spans": SPANS,
        "history": water.history(found, keys, days, water.visit_moments(found)) if keys else None,
        "programme": queries.programme_in_force(found),
        "approved": queries.programme_approved(found),
        "settings": water.programme_rows(found),
        "day": water.programme_day(found),
        "additions": queries.additions(found, timezone.now() - timedelta(days=30))[::-1][:12],
    }
    with timezone.override(ZoneInfo(site.time_zone) if site else None):
        return render(request, "care/installation.html", context)


@requires("programme.edit")
@require_http_methods(["GET", "POST"])
def programme_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    """Settings for the technician to set at the next visit."""
    found = get_object_or_404(Installation, pk=pk)
    now = queries.programme_in_force(found)
    asked = queries.programme_approved(found)
    kinds = set(found.plant.filter(removed_on=None).values_list("kind", flat=True))
    stands = {**(now.settings if now else {}), **(asked.settings if asked else {})}
    form = ProgrammeForm(request.POST or None, settings=settings_for(kinds), stands=stands)
    if request.method == "POST" and form.is_valid():
        try:
            services.programme_propose(
                installation=found, settings=form.settings(), actor=request.user,
                reason=form.cleaned_data["reason"], approve=True,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Approved. It stands on the next visit's form."))
            return redirect("care:water", pk=pk)
    return render(
        request, "care/programme.html", {"form": form, "installation": found}, status=422 if form.errors else 200
    )


@requires("water.see")
@require_GET
def programme_history(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    rows = [
        (row, [(key, water.setting_words(key, value)) for key, value in row.settings.items()])
        for row in queries.programme_history(found)[:30]
    ]
    context = {"installation": found, "rows": rows, "in_force": ProgrammeVersion.State.IN_FORCE}
    return render(request, "care/programme_history.html", context)


@requires("water.edit")
@require_http_methods(["GET", "POST"])
def addition_add(request: AuthedRequest, pk: int) -> HttpResponse:
    """An addition outside a visit."""
    found = get_object_or_404(Installation, pk=pk)
    site = site_of(found, timezone.localdate())
    zone = ZoneInfo(site.time_zone if site else "UTC")
    with timezone.override(zone):
        form = AdditionForm(request.POST or None, initial={"at": timezone.localtime()})
        if request.method == "POST" and form.is_valid():
            data = form.cleaned_data
            services.addition_record(
                addition_id=data["token"], installation=found, kind=data["kind"], at=data["at"], actor=request.user,
                product=data["product"], mass_g=data["mass_g"], volume_l=data["volume_l"], note=data["note"],
            )  # fmt: skip
            messages.success(request, _("Kept."))
            return redirect("care:water", pk=pk)
        return render(
            request, "care/addition.html", {"form": form, "installation": found}, status=422 if form.errors else 200
        )
