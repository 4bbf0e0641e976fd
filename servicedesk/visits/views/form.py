"""The visit form: a page per step, a fragment per field."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.common.ids import new_id
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.visits.form import page
from servicedesk.visits.form.fields import STEPS
from servicedesk.visits.forms import EntryForm, NotDoneForm, UseForm
from servicedesk.visits.models import Visit, VisitUse
from servicedesk.visits.queries.form import visit_to_fill
from servicedesk.visits.services import form as form_services
from servicedesk.visits.services import schedule
from servicedesk.visits.services.sign_off import visit_sign_off


@requires("visits.fill")
@require_GET
def form(request: AuthedRequest, pk: UUID, step: str = "arrive") -> HttpResponse:
    """One step of the walk."""
    if step not in STEPS:
        raise Http404
    visit = visit_to_fill(request.user, pk)
    if visit.state == Visit.State.SIGNED:
        return redirect("visits:visit", pk=pk)
    shown = page.step_page(visit, request.user, step)
    use_form = UseForm(options=shown.stock_options, initial={"use_id": new_id()}) if step == "use" else None
    return render(request, "visits/form.html", {"page": shown, "use_form": use_form, "not_done_form": NotDoneForm()})


@requires("visits.fill")
@require_POST
def start(request: AuthedRequest, pk: UUID) -> HttpResponse:
    visit = visit_to_fill(request.user, pk)
    try:
        form_services.visit_start(
            visit=visit, at=timezone.now(), actor=request.user, begins=request.POST.get("begins") == "on"
        )
    except ValidationError as error:
        if getattr(error, "code", "") == "another_day":
            return render(request, "visits/begin.html", {"visit": visit, "question": error.message}, status=422)
        messages.error(request, " ".join(error.messages))
        return redirect("visits:visit", pk=pk)
    return redirect("visits:form-step", pk=pk, step="arrive")


@requires("visits.fill")
@require_POST
def entry(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """Keep one field as typed and answer with what it means."""
    visit = visit_to_fill(request.user, pk)
    data = EntryForm(request.POST)
    if not data.is_valid():
        return HttpResponse(_("This could not be read."), status=400)
    values = data.cleaned_data
    answer = form_services.Answer(
        values["key"],
        values["typed"],
        values["unit"],
        values["confirmed"],
        values["not_done_reason"],
        values["operation"],
        values["entered_at"],
        values["begins"],
    )
    try:
        form_services.entry_store(visit=visit, answer=answer, actor=request.user)
    except ValidationError as error:
        return HttpResponse(" ".join(error.messages), status=409)
    stored = page.entry_page(visit, values["key"])
    if stored is None:
        return HttpResponse(status=204)
    return render(request, "visits/parts/entry.html", {"shown": stored.shown, "page": stored})


@requires("visits.fill")
@require_POST
def use_add(request: AuthedRequest, pk: UUID) -> HttpResponse:
    visit = visit_to_fill(request.user, pk)
    shown = page.step_page(visit, request.user, "use")
    data = UseForm(request.POST, options=shown.stock_options)
    if data.is_valid():
        item, lot, place = data.parts()
        try:
            form_services.use_add(
                visit=visit,
                use_id=data.cleaned_data["use_id"],
                item=item,
                lot=lot,
                place=place,
                quantity=data.cleaned_data["quantity"],
                installation=None,
                actor=request.user,
            )
        except ValidationError as error:
            data.add_error(None, error)
        else:
            return redirect("visits:form-step", pk=pk, step="use")
    context = {"page": shown, "use_form": data, "not_done_form": NotDoneForm()}
    return render(request, "visits/form.html", context, status=422)


@requires("visits.fill")
@require_POST
def use_remove(request: AuthedRequest, pk: UUID, use: UUID) -> HttpResponse:
    visit = visit_to_fill(request.user, pk)
    found = get_object_or_404(VisitUse, pk=use, visit=visit)
    try:
        form_services.use_remove(visit=visit, use=found, actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("visits:form-step", pk=pk, step="use")


@requires("visits.fill")
@require_POST
def photo_add(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """A picture from any group; an error is shown beside it and nothing else is touched."""
    visit = visit_to_fill(request.user, pk)
    upload = request.FILES.get("photo")
    group = request.POST.get("group", "")[:120]
    error = ""
    if upload is None:
        error = _("Choose a picture.")
    else:
        try:
            form_services.photo_add(
                visit=visit,
                upload=upload,
                field_key=group,
                caption=request.POST.get("caption", "")[:200],
                installation=page.installation_of(visit, group),
                actor=request.user,
            )
        except ValidationError as problem:
            error = " ".join(problem.messages)
    context = {"visit": visit, "group_key": group, "photos": page.photos_of(visit, group), "error": error}
    return render(request, "visits/parts/photos.html", context, status=422 if error else 200)


@requires("visits.fill")
@require_POST
def sign(request: AuthedRequest, pk: UUID) -> HttpResponse:
    visit = visit_to_fill(request.user, pk)
    try:
        visit_sign_off(visit=visit, actor=request.user)
    except ValidationError as error:
        problems = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
        shown = page.step_page(visit, request.user, "sign", problems=problems)
        return render(request, "visits/form.html", {"page": shown, "not_done_form": NotDoneForm()}, status=422)
    messages.success(request, _("Signed. The report is being made."))
    return redirect("visits:visit", pk=pk)


@requires("visits.fill")
@require_POST
def not_done(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """The whole visit could not be done: nobody there, no way in."""
    visit = visit_to_fill(request.user, pk)
    data = NotDoneForm(request.POST)
    if data.is_valid():
        try:
            schedule.visit_not_done(visit=visit, reason=data.cleaned_data["reason"], actor=request.user)
        except ValidationError as error:
            data.add_error("reason", error)
        else:
            messages.success(request, _("Noted. The planner sees it."))
            return redirect("visits:visit", pk=pk)
    shown = page.step_page(visit, request.user, "arrive")
    return render(request, "visits/form.html", {"page": shown, "not_done_form": data}, status=422)
