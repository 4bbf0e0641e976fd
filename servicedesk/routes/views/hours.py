"""Hours worked: the people of a month, one person's sheet, its table and its paper."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import PayRule, Technician
from servicedesk.people.permissions import allows
from servicedesk.routes import timesheets
from servicedesk.routes.hours_forms import HoursEntryForm, PayRuleForm
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.hours import Month, Sheet, rule_words, sheets
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.services import hours as services


def _month(request: AuthedRequest) -> Month:
    month = Month.typed(request.GET.get("month", ""), timezone.localdate())
    if month is None:
        raise Http404
    return month


def _technician(request: AuthedRequest, pk: int) -> Technician:
    """Whose sheet the person may open: their own, or anyone's for those who see people."""
    found = get_object_or_404(Technician.objects.select_related("user", "depot"), pk=pk)
    if found.user_id != request.user.pk and not allows(request.user.roles, "people.see"):
        raise Http404
    return found


def _sheet(request: AuthedRequest, pk: int, month: Month) -> Sheet:
    return sheets([_technician(request, pk)], month)[0]


@requires("people.see")
@require_GET
def people(request: AuthedRequest) -> HttpResponse:
    """Everybody's hours of a month."""
    month = _month(request)
    found = sheets(list(technicians_between(month.first, month.last)), month)
    rows = [
        {"sheet": sheet, "all_pay": timesheets.money(sheet.total.all_pay, sheet.currency)} for sheet in found
    ]  # fmt: skip
    return render(request, "routes/hours.html", {"rows": rows, "month": month})


@requires("people.see")
@require_GET
def people_csv(request: AuthedRequest) -> HttpResponse:
    month = _month(request)
    found = sheets(list(technicians_between(month.first, month.last)), month)
    return _csv(timesheets.sheets_csv(found), f"hours-{month}.csv")


def _csv(text: str, name: str) -> HttpResponse:
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@requires("hours.see")
@require_GET
def person(request: AuthedRequest, technician: int) -> HttpResponse:
    return _person_page(request, technician, _month(request))


def _person_page(request: AuthedRequest, technician: int, month: Month, **bound: BaseForm) -> HttpResponse:
    sheet = _sheet(request, technician, month)
    initial: dict[str, Any] = {"valid_from": month.first, "week_hours": 40}
    rules = list(sheet.technician.pay_rules.all())
    context = timesheets.sheet_context(sheet) | {
        "month": month,
        "entry_form": bound.get("entry_form") or HoursEntryForm(initial={"day": min(timezone.localdate(), month.last)}),
        "rule_form": bound.get("rule_form") or PayRuleForm(initial=initial),
        "rules": [(row, rule_words(row, sheet.technician, sheet.currency)) for row in rules],
        "may_note": sheet.technician.user_id == request.user.pk or allows(request.user.roles, "people.edit"),
        "open": next(iter(bound), ""),
    }
    return render(request, "routes/timesheet.html", context, status=422 if bound else 200)


@requires("hours.see")
@require_GET
def person_csv(request: AuthedRequest, technician: int) -> HttpResponse:
    sheet = _sheet(request, technician, _month(request))
    return _csv(timesheets.sheets_csv([sheet]), f"hours-{sheet.technician.initials}-{sheet.month}.csv")


@requires("hours.see")
@require_GET
def person_pdf(request: AuthedRequest, technician: int) -> HttpResponse:
    sheet = _sheet(request, technician, _month(request))
    response = HttpResponse(timesheets.sheet_pdf(sheet), content_type="application/pdf")
    name = f"hours-{sheet.technician.initials}-{sheet.month}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _back(technician: int, month: Month) -> HttpResponse:
    return redirect(reverse("routes:timesheet", args=[technician]) + f"?month={month}")


@requires("hours.see")
@require_POST
def entry_add(request: AuthedRequest, technician: int) -> HttpResponse:
    who, form = _technician(request, technician), HoursEntryForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        begins, ends = form.moments(sheets([who], Month.of(data["day"]))[0].zone)
        try:
            services.entry_add(
                entry_id=data["token"], technician=who, kind=data["kind"], began_at=begins, ended_at=ends,
                note=data["note"], actor=request.user,
            )  # fmt: skip
        except ValidationError as error:
            _add_errors(form, error)
        else:
            messages.success(request, _("Noted."))
            return _back(technician, Month.of(data["day"]))
    return _person_page(request, technician, _month(request), entry_form=form)


def _add_errors(form: HoursEntryForm, error: ValidationError) -> None:
    """The service speaks of moments, the form of a day and two times."""
    fields = {"began_at": "begins", "ended_at": "ends"}
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, texts in error.message_dict.items():
        form.add_error(fields.get(name), texts)


@requires("hours.see")
@require_POST
def entry_take_off(request: AuthedRequest, technician: int, entry: UUID) -> HttpResponse:
    who = _technician(request, technician)
    found = get_object_or_404(HoursEntry.objects.select_related("technician"), pk=entry, technician=who)
    try:
        services.entry_take_off(entry=found, actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, _("Taken off."))
    return _back(technician, Month.of(timezone.localdate(found.began_at)))


@requires("people.edit")
@require_POST
def rule_set(request: AuthedRequest, technician: int) -> HttpResponse:
    who = _technician(request, technician)
    form = PayRuleForm(request.POST, instance=PayRule(technician=who))
    if form.is_valid():
        try:
            saved = services.rule_set(rule=form.save(commit=False), actor=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept. Hours from that day on are reckoned by it."))
            return _back(technician, Month.of(saved.valid_from))
    return _person_page(request, technician, _month(request), rule_form=form)
