"""A visit's own page, its photos, its correction."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.visits.documents import report_view
from servicedesk.visits.forms import CancelForm, CorrectForm
from servicedesk.visits.models import Visit, VisitPhoto, VisitReport
from servicedesk.visits.queries.form import may_fill, visit_for
from servicedesk.visits.queries.lengths import minutes_taken, visit_length
from servicedesk.visits.queries.schedule import OPEN, material_needs, notes_of
from servicedesk.visits.services import report as report_services
from servicedesk.visits.services import schedule


@requires("visits.see")
@require_GET
def visit(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """What is planned, or what was done."""
    found = visit_for(request.user, pk)
    reports = list(found.reports.select_related("made_by"))
    context = {
        "visit": found,
        "reports": reports,
        "report": report_view(reports[0]) if reports else None,
        "covers": found.covers.select_related("installation"),
        "tasks": found.tasks.select_related("installation"),
        "may_fill": may_fill(request.user, found),
        "took_min": minutes_taken(found),
    }
    if found.state in OPEN:
        context["length"] = visit_length(found)
        context |= {"notes": notes_of(found), "needs": material_needs([found]), "cancel_form": CancelForm()}
    return render(request, "visits/visit.html", context)


@requires("visits.plan")
@require_POST
def cancel(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """Call a visit off, with the reason."""
    found = visit_for(request.user, pk)
    form = CancelForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Say why the visit is called off."))
        return redirect("visits:visit", pk=pk)
    try:
        schedule.visit_cancel(visit=found, reason=form.cleaned_data["reason"], actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Called off. Its agreement goes on as before."))
    return redirect("visits:visit", pk=pk)


@requires("visits.see")
@require_GET
def photo(request: AuthedRequest, pk: UUID, photo: UUID) -> FileResponse:
    found = get_object_or_404(VisitPhoto, pk=photo, visit=visit_for(request.user, pk))
    try:
        return FileResponse(found.file.open("rb"))
    except FileNotFoundError as error:
        raise Http404 from error


@requires("visits.see")
@require_GET
def report_pdf(request: AuthedRequest, pk: UUID, revision: int) -> FileResponse:
    found = get_object_or_404(VisitReport, visit=visit_for(request.user, pk), revision=revision)
    if not found.pdf:
        raise Http404
    return FileResponse(found.pdf.open("rb"), content_type="application/pdf")


@requires("reports.correct")
@require_http_methods(["GET", "POST"])
def report_correct(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """A new revision of a signed visit's report, with its reason."""
    found = visit_for(request.user, pk)
    report = found.reports.order_by("-revision").first()
    if report is None or found.state != Visit.State.SIGNED:
        raise Http404
    rows = report_services.correctable_readings(report)
    form = CorrectForm(request.POST or None, initial={"note": report_services.note_of(report)})
    typed = {row.key: request.POST.get(row.key, row.typed) for row in rows}
    problems: dict[str, list[str]] = {}
    if request.method == "POST" and form.is_valid():
        try:
            report_services.report_correct(
                report=report,
                reason=form.cleaned_data["reason"],
                note=form.cleaned_data["note"],
                readings=typed,
                actor=request.user,
            )
        except ValidationError as error:
            problems = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
        else:
            messages.success(request, _("A new revision is being made."))
            return redirect("visits:visit", pk=pk)
    context = {
        "visit": found,
        "report": report,
        "form": form,
        "rows": [(row, typed[row.key], " ".join(problems.get(row.key, []))) for row in rows],
        "problem": " ".join(problems.get("", [])),
    }
    return render(request, "visits/correct.html", context, status=422 if form.errors or problems else 200)
