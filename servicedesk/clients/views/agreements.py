"""Agreements: what was bought, how often, on which days, for how much."""

from datetime import date, timedelta

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients import forms, services
from servicedesk.clients.models import Agreement, Client
from servicedesk.common.recurrence import aligned, next_dates, to_rule, words
from servicedesk.people.access import AuthedRequest, requires

PREVIEW = 6


@requires("agreements.see")
@require_GET
def agreement(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Agreement.objects.select_related("client", "site", "preferred_technician"), pk=pk)
    context = {
        "agreement": found,
        "words": words(found.rule),
        "prices": found.prices.all(),
        "coverages": found.coverages.select_related("installation"),
        "barred": found.barred_technicians.all(),
        "materials": found.included_materials.select_related("item"),
        "today": timezone.localdate(),
    }
    return render(request, "clients/agreement.html", context)


@requires("agreements.edit")
@require_http_methods(["GET", "POST"])
def agreement_edit(request: AuthedRequest, pk: int | None = None, client: int | None = None) -> HttpResponse:
    found = get_object_or_404(Agreement.objects.select_related("client"), pk=pk) if pk else None
    owner = found.client if found else get_object_or_404(Client, pk=client)
    today = timezone.localdate()
    start = {"starts_on": today, "first_visit_on": today + timedelta(days=7), "prices_from": today}
    form = forms.AgreementForm(
        request.POST or None, client=owner, instance=found or Agreement(client=owner), initial={} if found else start
    )
    if request.method == "POST" and form.is_valid():
        try:
            saved = services.agreement_save(
                agreement=form.save(commit=False), barred=list(form.cleaned_data["barred"]),
                token=str(form.cleaned_data["token"]), actor=request.user, **form.prices(),
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept. Visits not planned yet follow the agreement."))
            return redirect("clients:agreement", pk=saved.pk)
    context = {"form": form, "agreement": found, "client": owner, "preview": _preview(form)}
    return render(request, "clients/agreement_edit.html", context, status=422 if form.errors else 200)


def _preview(form: forms.AgreementForm) -> list[date]:
    if form.instance.pk and form.instance.rule and not form.is_bound:
        return list(next_dates(form.instance.rule, form.instance.first_visit_on, PREVIEW))
    return []


@requires("agreements.edit")
@require_POST
def preview(request: AuthedRequest) -> HttpResponse:
    """The first dates of what is chosen, while it is being chosen."""
    data = {
        "cadence": request.POST.get("cadence"),
        "every": int(request.POST.get("every") or 0) if (request.POST.get("every") or "0").isdigit() else 0,
        "on_weekdays": request.POST.getlist("on_weekdays"),
        "position": int(request.POST.get("position") or 1),
    }
    try:
        rule = to_rule(forms.cadence_of(data))
        first = date.fromisoformat(request.POST.get("first_visit_on", ""))
    except ValueError as error:
        return render(request, "clients/parts/preview.html", {"problem": str(error)})
    context = {"words": words(rule), "dates": next_dates(rule, aligned(rule, first), PREVIEW)}
    return render(request, "clients/parts/preview.html", context)


@requires("agreements.edit")
@require_POST
def agreement_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Agreement, pk=pk)
    services.archive(record=found, actor=request.user)
    messages.success(request, _("Archived. No more visits are made from it."))
    return redirect("clients:client", pk=found.client_id)
