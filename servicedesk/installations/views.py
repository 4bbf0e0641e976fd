from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Q
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.ids import new_id
from servicedesk.installations import forms, queries, services
from servicedesk.installations.models import Animal, Installation, PlantItem
from servicedesk.people.access import AuthedRequest, requires

PAGE = 25
AHEAD_DAYS = 14


@requires("sites.see")
@require_GET
def installations(request: AuthedRequest) -> HttpResponse:
    """All installations, found by a few letters of code or name."""
    letters = request.GET.get("q", "").strip()
    found = Installation.objects.filter(archived_at__isnull=request.GET.get("archived") != "1")
    for word in letters.split():
        found = found.filter(Q(code__icontains=word) | Q(name__icontains=word) | Q(where__icontains=word))
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    return render(request, "installations/installations.html", {"page": page, "letters": letters})


@requires("sites.see")
@require_GET
def installation(request: AuthedRequest, pk: int) -> HttpResponse:
    return _page(request, get_object_or_404(Installation, pk=pk))


def _page(request: AuthedRequest, found: Installation, **bound: BaseForm) -> HttpResponse:
    today = timezone.localdate()
    site = queries.site_of(found, today)
    context: dict[str, Any] = {
        "installation": found,
        "site": site,
        "placements": found.placements.select_related("site__client").order_by("-valid"),
        "plant": found.plant.filter(removed_on=None),
        "due": {row.item.pk: row for row in queries.plant_due(found, today)},
        "animals": found.animals.filter(left_on=None),
        "coverages": found.coverages.select_related("agreement"),
        "agreements": Agreement.objects.filter(site=site, archived_at=None) if site else [],
        "covered": set(found.coverages.filter(valid__endswith=None).values_list("agreement_id", flat=True)),
        "move_form": bound.get("move_form") or forms.MoveForm(initial={"since": today, "token": new_id()}),
        "plant_form": bound.get("plant_form") or forms.PlantForm(),
        "animal_form": bound.get("animal_form") or forms.AnimalForm(),
        "open": next(iter(bound), ""),
    }
    return render(request, "installations/installation.html", context, status=422 if bound else 200)


@requires("installations.edit")
@require_http_methods(["GET", "POST"])
def installation_new(request: AuthedRequest, site: int) -> HttpResponse:
    found = get_object_or_404(Site.objects.select_related("client"), pk=site)
    form = forms.InstallationForm(request.POST or None, initial={"since": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        try:
            made = services.installation_create(
                installation=form.save(commit=False), site=found, since=form.cleaned_data["since"],
                token=str(form.cleaned_data["token"]), actor=request.user,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("installations:installation", pk=made.pk)
    return render(request, "installations/edit.html", {"form": form, "site": found}, status=422 if form.errors else 200)


@requires("installations.edit")
@require_http_methods(["GET", "POST"])
def installation_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    form = forms.InstallationForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        services.record_save(record=form.save(commit=False), token="", actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("installations:installation", pk=pk)
    context = {"form": form, "installation": found}
    return render(request, "installations/edit.html", context, status=422 if form.errors else 200)


@requires("installations.edit")
@require_POST
def installation_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    services.installation_archive(installation=get_object_or_404(Installation, pk=pk), actor=request.user)
    return redirect("installations:installation", pk=pk)


@requires("installations.edit")
@require_POST
def installation_move(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    form = forms.MoveForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            services.installation_move(installation=found, site=data["site"], since=data["since"], actor=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept. Reports of earlier days keep the old site."))
            return redirect("installations:installation", pk=pk)
    return _page(request, found, move_form=form)


@requires("agreements.edit")
@require_POST
def coverage_set(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    chosen = Agreement.objects.filter(pk__in=[key for key in request.POST.getlist("agreement") if key.isdigit()])
    services.coverage_set(installation=found, agreements=list(chosen), since=timezone.localdate(), actor=request.user)
    messages.success(request, _("Kept."))
    return redirect("installations:installation", pk=pk)


@requires("plant.edit")
@require_POST
def plant_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    form = forms.PlantForm(request.POST, instance=PlantItem(installation=found))
    if form.is_valid():
        try:
            services.record_save(
                record=form.save(commit=False), token=str(form.cleaned_data["token"]), actor=request.user
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("installations:installation", pk=pk)
    return _page(request, found, plant_form=form)


@requires("sites.see")
@require_GET
def plant_item(request: AuthedRequest, pk: int) -> HttpResponse:
    return _plant_page(request, get_object_or_404(PlantItem.objects.select_related("installation"), pk=pk))


def _plant_page(request: AuthedRequest, found: PlantItem, **bound: BaseForm) -> HttpResponse:
    context: dict[str, Any] = {
        "item": found,
        "services": found.services.select_related("done_by")[:30],
        "checks": found.checks.select_related("by")[:40],
        "form": bound.get("form") or forms.PlantForm(instance=found),
        "service_form": bound.get("service_form")
        or forms.ServiceForm(initial={"done_on": timezone.localdate(), "token": new_id()}),
        "open": next(iter(bound), ""),
    }
    return render(request, "installations/plant_item.html", context, status=422 if bound else 200)


@requires("plant.edit")
@require_POST
def plant_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(PlantItem.objects.select_related("installation"), pk=pk)
    form = forms.PlantForm(request.POST, instance=found)
    if form.is_valid():
        services.record_save(record=form.save(commit=False), token="", actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("installations:plant-item", pk=pk)
    return _plant_page(request, found, form=form)


@requires("plant.edit")
@require_POST
def service_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(PlantItem.objects.select_related("installation"), pk=pk)
    form = forms.ServiceForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        services.plant_service_record(
            service_id=data["token"], plant_item=found, done_on=data["done_on"], what=data["what"], actor=request.user
        )
        return redirect("installations:plant-item", pk=pk)
    return _plant_page(request, found, service_form=form)


@requires("water.edit")
@require_POST
def animal_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    form = forms.AnimalForm(request.POST, instance=Animal(installation=found))
    if form.is_valid():
        services.record_save(record=form.save(commit=False), token=str(form.cleaned_data["token"]), actor=request.user)
        return redirect("installations:installation", pk=pk)
    return _page(request, found, animal_form=form)


@requires("water.edit")
@require_http_methods(["GET", "POST"])
def animal_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Animal.objects.select_related("installation"), pk=pk)
    form = forms.AnimalForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        services.record_save(record=form.save(commit=False), token="", actor=request.user)
        return redirect("installations:installation", pk=found.installation_id)
    return render(
        request, "installations/animal.html", {"form": form, "animal": found}, status=422 if form.errors else 200
    )


@requires("sites.see")
@require_GET
def plant(request: AuthedRequest) -> HttpResponse:
    """Every machine due for service, the longest overdue first."""
    today = timezone.localdate()
    rows = queries.plant_due_everywhere(today + timedelta(days=AHEAD_DAYS))
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    return render(request, "installations/plant.html", {"page": page, "today": today})
