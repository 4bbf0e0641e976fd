"""Loan equipment: where each machine of ours is, since when, and for whom it is kept."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.consumables import queries, services
from servicedesk.consumables.models import LoanMachine, LoanReservation
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.stores.loan_forms import LoanForm, LoanMoveForm, LoanReserveForm


@requires("stores.see")
@require_GET
def loans(request: AuthedRequest) -> HttpResponse:
    """All machines: overdue first, then out, then ready."""
    kind = request.GET.get("kind", "")
    rows = queries.loans(timezone.localdate())
    context = {
        "rows": [row for row in rows if not kind or row.machine.kind == kind],
        "all": rows,
        "kinds": [choice for choice in LoanMachine.Kind.choices if any(row.machine.kind == choice[0] for row in rows)],
        "kind": kind,
        "today": timezone.localdate(),
    }
    return render(request, "stores/loans.html", context)


@requires("stores.see")
@require_GET
def loan(request: AuthedRequest, machine: int) -> HttpResponse:
    return _loan_page(request, get_object_or_404(LoanMachine, pk=machine))


def _loan_page(request: AuthedRequest, found: LoanMachine, **bound: BaseForm) -> HttpResponse:
    row = queries.loan_row(found, timezone.localdate())
    context: dict[str, Any] = {
        "row": row,
        "machine": found,
        "history": queries.loan_history(found)[:40],
        "move_form": bound.get("move_form") or LoanMoveForm(kept=row.kept),
        "reserve_form": bound.get("reserve_form") or LoanReserveForm(),
        "open": next(iter(bound), ""),
        "today": timezone.localdate(),
    }
    return render(request, "stores/loan.html", context, status=422 if bound else 200)


@requires("stores.catalogue")
@require_http_methods(["GET", "POST"])
def loan_edit(request: AuthedRequest, machine: int | None = None) -> HttpResponse:
    found = get_object_or_404(LoanMachine, pk=machine) if machine else None
    form = LoanForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        depot = form.cleaned_data.get("depot")
        saved = services.loan_save(machine=form.save(commit=False), at=depot, actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("stores:loan", machine=saved.pk)
    context = {"form": form, "machine": found}
    return render(request, "stores/loan_edit.html", context, status=422 if form.errors else 200)


@requires("stores.edit")
@require_POST
def loan_move(request: AuthedRequest, machine: int) -> HttpResponse:
    found = get_object_or_404(LoanMachine, pk=machine, archived_at=None)
    row = queries.loan_row(found, timezone.localdate())
    form = LoanMoveForm(request.POST, kept=row.kept)
    if form.is_valid():
        data = form.cleaned_data
        place, installation = data["place"], data["installation"]
        try:
            stay = services.loan_move(
                machine=found, to=installation or place, site=place if installation else None, at=data["at"],
                due_back_on=data["due_back_on"], note=data["note"], though_kept=data.get("though_kept", False),
                actor=request.user,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            if row.stay is not None and stay.pk == row.stay.pk:
                messages.info(
                    request, _("It is there already: no move is noted; a note or a day is kept with the stay.")
                )
            else:
                messages.success(request, _("Noted."))
            return redirect("stores:loan", machine=machine)
    return _loan_page(request, found, move_form=form)


@requires("stores.edit")
@require_POST
def loan_reserve(request: AuthedRequest, machine: int) -> HttpResponse:
    found = get_object_or_404(LoanMachine, pk=machine, archived_at=None)
    form = LoanReserveForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            services.loan_reserve(
                reservation_id=data["token"], machine=found, site=data["site"], first=data["first_day"],
                last=data["last_day"], why=data["why"], actor=request.user,
            )  # fmt: skip
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept for %(site)s.") % {"site": data["site"]})
            return redirect("stores:loan", machine=machine)
    return _loan_page(request, found, reserve_form=form)


@requires("stores.edit")
@require_POST
def reservation_end(request: AuthedRequest, reservation: UUID) -> HttpResponse:
    found = get_object_or_404(LoanReservation, pk=reservation)
    services.loan_reservation_end(reservation=found, actor=request.user)
    messages.success(request, _("It is kept for nobody in these days now."))
    return redirect("stores:loan", machine=found.machine_id)


@requires("stores.catalogue")
@require_POST
def loan_archive(request: AuthedRequest, machine: int) -> HttpResponse:
    found = get_object_or_404(LoanMachine, pk=machine)
    try:
        services.loan_archive(machine=found, actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("stores:loan", machine=machine)
    messages.success(request, _("Taken out of the register; its history stays."))
    return redirect("stores:loans")
