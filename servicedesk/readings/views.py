from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.common.tables import UnreadableTable, read_table, tried
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import site_of
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.readings import importing, queries, services
from servicedesk.readings.forms import BandForm, ImportForm, SamplingForm
from servicedesk.readings.models import Band, Parameter, Sampling

PAGE = 20


@requires("water.see")
@require_GET
def water(request: AuthedRequest) -> HttpResponse:
    """All systems, those with most out of band first."""
    letters = request.GET.get("q", "").strip()
    found = Installation.objects.filter(archived_at=None)
    for word in letters.split():
        found = found.filter(Q(code__icontains=word) | Q(name__icontains=word))
    rows = queries.overview(list(found))
    page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
    return render(request, "readings/water.html", {"page": page, "letters": letters})


@requires("water.edit")
@require_http_methods(["GET", "POST"])
def sampling_add(request: AuthedRequest, pk: int) -> HttpResponse:
    """Readings taken outside a visit."""
    found = get_object_or_404(Installation, pk=pk)
    parameters = [band.parameter for band in queries.bands(found).values()] or list(
        Parameter.objects.filter(at_each_visit=True)
    )
    site = site_of(found, timezone.localdate())
    with timezone.override(ZoneInfo(site.time_zone if site else "UTC")):
        form = SamplingForm(request.POST or None, parameters=parameters, initial={"taken_at": timezone.localtime()})
        if request.method == "POST" and form.is_valid() and _store(form, found, request):
            messages.success(request, _("Kept."))
            return redirect("care:water", pk=pk)
        return render(
            request, "readings/sampling.html", {"form": form, "installation": found}, status=422 if form.errors else 200
        )


def _store(form: SamplingForm, found: Installation, request: AuthedRequest) -> bool:
    if not form.typed():
        form.add_error(None, _("Type at least one value."))
        return False
    if form.cleaned_data["taken_at"] > timezone.now():
        form.add_error("taken_at", _("That time has not come yet."))
        return False
    try:
        services.sampling_record(
            sampling_id=form.cleaned_data["token"], installation=found, taken_at=form.cleaned_data["taken_at"],
            actor=request.user, source=Sampling.Source.TYPED, readings=form.typed(), note=form.cleaned_data["note"],
        )  # fmt: skip
    except ValidationError as error:
        for key, texts in error.message_dict.items():
            form.add_error(f"value_{key}", texts)
        return False
    return True


@requires("water.see")
@require_GET
def readings(request: AuthedRequest, pk: int) -> HttpResponse:
    """Every reading as a table: value, as typed, method, who."""
    found = get_object_or_404(Installation, pk=pk)
    rows = found.readings.select_related("parameter", "method", "sampling__taken_by", "reagent_lot").order_by(
        "-taken_at"
    )
    context = {"installation": found, "page": Paginator(rows, 50).get_page(request.GET.get("page"))}
    return render(request, "readings/readings.html", context)


@requires("programme.edit")
@require_GET
def bands(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Installation, pk=pk)
    return render(request, "readings/bands.html", {"installation": found, "bands": queries.bands(found).values()})


@requires("programme.edit")
@require_POST
def bands_fill(request: AuthedRequest, pk: int) -> HttpResponse:
    """The usual bands of this kind of system where none are set."""
    found = get_object_or_404(Installation, pk=pk)
    added = services.bands_from_template(installation=found, actor=request.user)
    messages.success(request, _("%(n)d bands added from the usual ones.") % {"n": added})
    return redirect("readings:bands", pk=pk)


@requires("programme.edit")
@require_http_methods(["GET", "POST"])
def band_edit(request: AuthedRequest, pk: int, parameter: str) -> HttpResponse:
    found = get_object_or_404(
        Band.objects.select_related("parameter", "installation"), installation=pk, parameter=parameter
    )
    form = BandForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        try:
            services.band_save(band=form.save(commit=False), actor=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("readings:bands", pk=pk)
    return render(request, "readings/band.html", {"form": form, "band": found}, status=422 if form.errors else 200)


@requires("water.edit")
@require_http_methods(["GET", "POST"])
def import_readings(request: AuthedRequest) -> HttpResponse:
    """A dry run that shows every row's fate; a second press stores the fit ones."""
    form = ImportForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form}
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            found = importing.fates(read_table(upload.name, upload.file, importing.REQUIRED))
        except UnreadableTable as error:
            form.add_error("file", str(error))
        else:
            if "store" in request.POST:
                stored = importing.store(found, actor=request.user)
                messages.success(request, _("%(n)d readings stored.") % {"n": stored})
                return redirect("readings:water")
            context["tried"] = tried(found)
    return render(request, "readings/import.html", context, status=422 if form.errors else 200)
