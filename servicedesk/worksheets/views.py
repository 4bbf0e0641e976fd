import re
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.common.display import current_display
from servicedesk.common.ids import new_id
from servicedesk.installations.models import Installation
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import Firm
from servicedesk.readings.models import Instrument
from servicedesk.science.worksheets import catalogue, run
from servicedesk.science.worksheets.declare import AnyInput, Input, Rows, Worksheet
from servicedesk.science.worksheets.record import declaration, record
from servicedesk.science.worksheets.typed import BadInput, parse
from servicedesk.worksheets import documents, queries, services
from servicedesk.worksheets.forms import again_query, fields_of, typed_from
from servicedesk.worksheets.models import KeptWorksheet
from servicedesk.worksheets.recall import recall

NOTE_LENGTH = 200
# what people type for what the sheets say
ALSO_CALLED: dict[str, tuple[str, ...]] = {
    "kh": ("alkalinity",), "dkh": ("alkalinity",), "alk": ("alkalinity",), "ca": ("calcium",), "mg": ("magnesium",),
    "sr": ("strontium",), "sg": ("gravity", "hydrometer"), "ppt": ("salinity",), "psu": ("salinity",),
    "ro": ("osmosis", "rodi"), "kalkwasser": ("limewater",), "kalk": ("limewater",), "no3": ("nitrate",),
    "po4": ("phosphate",), "nh3": ("ammonia",), "o2": ("oxygen",), "skimmer": ("skimm", "nitrate"), "leak": ("power",),
    "ato": ("top",), "rows": ("water",), "btu": ("chiller",), "doser": ("dos", "raise"), "probe": ("meter",),
}  # fmt: skip


@requires("worksheets.use")
@require_GET
def index(request: AuthedRequest) -> HttpResponse:
    """All worksheets by subject, narrowed by what is searched."""
    wanted = request.GET.get("q", "").strip().lower()
    subjects = [
        (subject, [sheet for sheet in sheets if _matches(sheet, wanted)]) for subject, sheets in catalogue.by_subject()
    ]
    installation = _installation(request.GET)
    context = {
        "subjects": [(subject, sheets) for subject, sheets in subjects if sheets],
        "q": request.GET.get("q", ""),
        "installation": installation,
        "kept": queries.kept_for(installation)[:20] if installation else [],
        "lately": [] if installation or wanted else queries.lately_kept_by(request.user),
        "instruments": Instrument.objects.filter(archived_at=None),
    }
    return render(request, "worksheets/index.html", context)


def _matches(sheet: Worksheet, wanted: str) -> bool:
    """Whether every word, or what the trade also calls it, begins a word of the sheet."""
    text = f"{sheet.title} {sheet.purpose} {sheet.subject} {sheet.name.replace('-', ' ')}".lower()
    words = re.findall(r"\w+", text)
    return all(
        any(word.startswith(meant) for word in words for meant in ALSO_CALLED.get(part, (part,)))
        for part in wanted.split()
    )


@requires("worksheets.use")
@require_GET
def reference(request: AuthedRequest) -> HttpResponse:
    """Every worksheet's declaration: inputs, ranges, outputs, validity, sources."""
    subjects = [(subject, [declaration(sheet) for sheet in sheets]) for subject, sheets in catalogue.by_subject()]
    return render(request, "worksheets/reference.html", {"subjects": subjects})


@requires("worksheets.use")
@require_GET
def sheet(request: AuthedRequest, name: str) -> HttpResponse:
    """A worksheet to fill in, with what the installation and the instrument remember."""
    found = _sheet(name)
    installation, instrument = _installation(request.GET), _instrument(request.GET)
    typed, chosen = typed_from(found, request.GET)
    known = recall(found, installation, instrument)
    fields = fields_of(found, current_display(), typed=typed, chosen=chosen, recalled=known)
    return render(request, "worksheets/sheet.html", _page(found, fields, installation, instrument))


@requires("worksheets.use")
@require_GET
def answer(request: AuthedRequest, name: str) -> HttpResponse:
    """The answer to what is typed so far, for a swap; errors beside their fields."""
    found = _sheet(name)
    told, errors = _work(found, request.GET)
    missing = [item for item in found.inputs if _must_be_typed(item) and not request.GET.get(item.key, "").strip()]
    unsaid = {item.key for item in missing}
    context = {
        "sheet": found,
        "told": told,
        "charts": documents.drawings(told),
        "general": errors.get("", ""),
        "slots": [(item.key, "" if item.key in unsaid else errors.get(item.key, "")) for item in found.inputs],
        "missing": [item.label for item in missing],
    }
    return render(request, "worksheets/parts/answer.html", context)


@requires("worksheets.use")
@require_POST
def keep(request: AuthedRequest, name: str) -> HttpResponse:
    """Keep the worked sheet for an installation."""
    found = _sheet(name)
    told, errors = _work(found, request.POST)
    installation = _installation(request.POST)
    filled_from = _number(request.POST.get("filled_from"))
    if installation is None:
        errors["installation"] = _("Choose the installation to keep it for.")
    elif filled_from is not None and filled_from != installation.pk:
        errors["installation"] = _("The fields hold the data of another installation. Fill in this one's data first.")
        installation = None
    if told is None or installation is None:
        return _again(request, found, errors, installation)
    kept = services.keep(
        installation=installation,
        record=told,
        note=request.POST.get("note", "")[:NOTE_LENGTH],
        token=request.POST.get("token") or str(new_id()),
        actor=request.user,
    )
    messages.success(request, _("Kept for %(installation)s.") % {"installation": installation})
    return redirect("worksheets:kept", kept.pk)


@requires("worksheets.use")
@require_POST
def remember(request: AuthedRequest, name: str) -> HttpResponse:
    """Let an instrument remember what this sheet asks of it."""
    found = _sheet(name)
    typed, chosen = typed_from(found, request.POST)
    try:
        values = parse(found, typed, chosen, current_display().unit_for)
        fields = queries.remembered_fields(found)
        data = {field: values[key] for key, field in fields.items() if values[key] is not None}
        row = services.remember(
            name=request.POST.get("instrument_name", ""), worksheet=name, data=data, actor=request.user
        )
    except BadInput as error:
        return _again(request, found, error.errors, None)
    except ValidationError as error:
        return _again(request, found, {key: words[0] for key, words in error.message_dict.items()}, None)
    messages.success(request, _("Saved for %(name)s.") % {"name": row.name})
    return redirect(f"{reverse('worksheets:sheet', args=[name])}?instrument={row.pk}")


@requires("worksheets.use")
@require_GET
def print_sheet(request: AuthedRequest, name: str) -> HttpResponse:
    """The worked sheet as a PDF."""
    found = _sheet(name)
    told, errors = _work(found, request.GET)
    if told is None:
        return _again(request, found, errors, _installation(request.GET), data=request.GET)
    installation = _installation(request.GET) or _filled_from(request.GET)
    return _pdf(
        documents.worksheet_pdf(told, Firm.objects.get(), installation=installation, by=request.user.name), name
    )


@requires("worksheets.use")
@require_GET
def kept(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """A kept worksheet as it stood."""
    row = get_object_or_404(KeptWorksheet.objects.select_related("installation", "kept_by"), pk=pk)
    context = {
        "kept": row,
        "told": row.record,
        "charts": documents.drawings(row.record),
        "again": again_query(row.worksheet, row.record),
    }
    return render(request, "worksheets/kept.html", context)


@requires("worksheets.use")
@require_GET
def kept_pdf(request: AuthedRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(KeptWorksheet.objects.select_related("installation", "kept_by"), pk=pk)
    pdf = documents.worksheet_pdf(
        row.record,
        Firm.objects.get(),
        installation=row.installation,
        by=row.kept_by.name,
        at=row.kept_at,
        note=row.note,
    )
    return _pdf(pdf, row.worksheet)


@requires("worksheets.use")
@require_POST
def withdraw(request: AuthedRequest, pk: UUID) -> HttpResponse:
    row = get_object_or_404(KeptWorksheet.objects.select_related("installation"), pk=pk)
    services.withdraw(kept=row, actor=request.user)
    messages.success(request, _("Withdrawn; it is recalled no more."))
    return redirect(f"{reverse('worksheets:index')}?installation={row.installation_id}")


@requires("worksheets.use")
@require_POST
def instrument_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    services.archive_instrument(instrument=row, actor=request.user)
    messages.success(request, _("%(name)s is out of use.") % {"name": row.name})
    return redirect("worksheets:index")


def _sheet(name: str) -> Worksheet:
    try:
        return catalogue.worksheet(name)
    except KeyError as error:
        raise Http404 from error


def _must_be_typed(item: AnyInput) -> bool:
    if isinstance(item, Rows):
        return not item.optional and not item.default
    return isinstance(item, Input) and item.default is None and not item.optional


def _number(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else None


def _installation(data: QueryDict) -> Installation | None:
    pk = _number(data.get("installation"))
    return Installation.objects.filter(pk=pk).first() if pk is not None else None


def _filled_from(data: QueryDict) -> Installation | None:
    pk = _number(data.get("filled_from"))
    return Installation.objects.filter(pk=pk).first() if pk is not None else None


def _instrument(data: QueryDict) -> Instrument | None:
    pk = _number(data.get("instrument"))
    return Instrument.objects.filter(pk=pk, archived_at=None).first() if pk is not None else None


def _work(found: Worksheet, data: QueryDict) -> tuple[dict[str, Any] | None, dict[str, str]]:
    """The worked record, or the errors by input key."""
    typed, chosen = typed_from(found, data)
    unit_of = current_display().unit_for
    try:
        values = parse(found, typed, chosen, unit_of)
        return record(found, values, run.answer(found, values, unit_of), unit_of), {}
    except BadInput as error:
        return None, dict(error.errors)


def _again(
    request: AuthedRequest,
    found: Worksheet,
    errors: dict[str, str],
    installation: Installation | None,
    data: QueryDict | None = None,
) -> HttpResponse:
    """The page with what was typed and its errors."""
    typed, chosen = typed_from(found, request.POST if data is None else data)
    fields = fields_of(found, current_display(), typed=typed, chosen=chosen, errors=errors)
    context = _page(found, fields, installation, None)
    context |= {
        "errors": errors,
        "general": errors.get("", ""),
        "note": request.POST.get("note", ""),
        "instrument_name": request.POST.get("instrument_name", ""),
        "filled_from": request.POST.get("filled_from", ""),
    }
    return render(request, "worksheets/sheet.html", context, status=422)


def _page(
    found: Worksheet, fields: list[Any], installation: Installation | None, instrument: Instrument | None
) -> dict[str, Any]:
    return {
        "sheet": found,
        "fields": [field for field in fields if not field.item.detail],
        "details": [field for field in fields if field.item.detail],
        "installation": installation,
        "installations": Installation.objects.filter(archived_at=None).only("pk", "code", "name"),
        "instrument": instrument,
        "instruments": queries.instruments_for(found),
        "filled_from": installation.pk if installation else "",
        "instrument_name": instrument.name if instrument else "",
        "remembers": bool(queries.remembered_fields(found)),
        "token": new_id(),
    }


def _pdf(content: bytes, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response
