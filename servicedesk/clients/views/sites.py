"""Sites: where they are, when and how one gets in."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients import forms, services
from servicedesk.clients.models import AccessWindow, Client, Closure, GateCode, Site, SiteKey
from servicedesk.people.access import AuthedRequest, requires

PARTS: dict[str, tuple[type[Any], type[Any]]] = {
    "closures": (Closure, forms.ClosureForm),
    "keys": (SiteKey, forms.KeyForm),
    "codes": (GateCode, forms.GateCodeForm),
}


@requires("sites.see")
@require_GET
def site(request: AuthedRequest, pk: int) -> HttpResponse:
    return _site_page(request, get_object_or_404(Site.objects.select_related("client"), pk=pk))


def _site_page(request: AuthedRequest, found: Site, **bound: BaseForm) -> HttpResponse:
    today = timezone.localdate()
    context: dict[str, Any] = {
        "site": found,
        "windows": found.access_windows.all(),
        "closures": found.closures.filter(last_day__gte=today),
        "keys": found.keys.filter(archived_at=None).select_related("holder"),
        "codes": found.gate_codes.filter(archived_at=None),
        "needs": found.needed_permissions.all(),
        "contacts": found.client.contacts.filter(archived_at=None),
        "agreements": found.agreements.filter(archived_at=None).select_related("preferred_technician"),
        "placements": found.placements.select_related("installation").order_by("installation__code"),
        "map_data": {"points": [{"lat": found.latitude, "lng": found.longitude, "label": found.name}]},
        "window_form": bound.get("windows") or forms.WindowForm(),
        "part_forms": {name: bound.get(name) or form() for name, (_model, form) in PARTS.items()},
        "open": next(iter(bound), ""),
        "today": today,
    }
    return render(request, "clients/site.html", context, status=422 if bound else 200)


@requires("sites.edit")
@require_http_methods(["GET", "POST"])
def site_edit(request: AuthedRequest, pk: int | None = None, client: int | None = None) -> HttpResponse:
    found = get_object_or_404(Site.objects.select_related("client"), pk=pk) if pk else None
    owner = found.client if found else get_object_or_404(Client, pk=client)
    form = forms.SiteForm(request.POST or None, instance=found or Site(client=owner))
    if request.method == "POST" and form.is_valid():
        record = form.save(commit=False)
        try:
            saved = (
                services.record_save(record=record, actor=request.user)
                if found
                else services.record_create(record=record, token=str(form.cleaned_data["token"]), actor=request.user)
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            services.site_permissions_set(site=saved, kinds=form.cleaned_data["needed_permissions"], actor=request.user)
            return redirect("clients:site", pk=saved.pk)
    context = {"form": form, "site": found, "client": owner}
    return render(request, "clients/site_edit.html", context, status=422 if form.errors else 200)


@requires("sites.edit")
@require_POST
def site_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Site, pk=pk)
    if found.archived_at is None:
        services.archive(record=found, actor=request.user)
        messages.success(request, _("Archived."))
    else:
        services.unarchive(record=found, actor=request.user)
        messages.success(request, _("Back again."))
    return redirect("clients:site", pk=pk)


@requires("sites.edit")
@require_POST
def window_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Site.objects.select_related("client"), pk=pk)
    form = forms.WindowForm(request.POST)
    if form.is_valid():
        try:
            for window in form.windows(found):
                services.record_save(record=window, actor=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("clients:site", pk=pk)
    return _site_page(request, found, windows=form)


@requires("sites.edit")
@require_POST
def window_remove(request: AuthedRequest, pk: int, window: int) -> HttpResponse:
    services.part_remove(part=get_object_or_404(AccessWindow, pk=window, site=pk), actor=request.user)
    return redirect("clients:site", pk=pk)


@requires("sites.edit")
@require_POST
def part_add(request: AuthedRequest, pk: int, kind: str) -> HttpResponse:
    """A closure, a key or a gate code."""
    if kind not in PARTS:
        raise Http404
    model, form_class = PARTS[kind]
    found = get_object_or_404(Site.objects.select_related("client"), pk=pk)
    form = form_class(request.POST, instance=model(site=found))
    if form.is_valid():
        services.record_create(
            record=form.save(commit=False), token=str(form.cleaned_data["token"]), actor=request.user
        )
        return redirect("clients:site", pk=pk)
    return _site_page(request, found, **{kind: form})


@requires("sites.edit")
@require_POST
def part_remove(request: AuthedRequest, pk: int, kind: str, part: int) -> HttpResponse:
    if kind not in PARTS:
        raise Http404
    found = get_object_or_404(PARTS[kind][0], pk=part, site=pk)
    if isinstance(found, Closure):
        services.part_remove(part=found, actor=request.user)
    else:
        services.archive(record=found, actor=request.user)
    return redirect("clients:site", pk=pk)


@requires("gates.see")
@require_POST
def code_show(request: AuthedRequest, pk: int, code: int) -> HttpResponse:
    """A gate code for the planner and the owner; whoever is on the round sees it on the round."""
    found = get_object_or_404(GateCode, pk=code, site=pk, archived_at=None)
    return render(request, "clients/parts/code.html", {"code": found})
