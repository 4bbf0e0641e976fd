"""The register of people, their hours and permissions, vans, depots, lodgings, and the firm itself."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import BaseForm, ModelForm
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.people import forms, queries, services
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import Depot, Firm, Leave, Lodging, Permission, PermissionKind, Technician, User, Van

PAGE = 25
KINDS: dict[str, tuple[type[Any], type[Any], Any]] = {
    "vans": (Van, forms.VanForm, gettext_lazy("Vans")),
    "depots": (Depot, forms.DepotForm, gettext_lazy("Stores and depots")),
    "lodgings": (Lodging, forms.LodgingForm, gettext_lazy("Lodgings")),
    "permissions": (PermissionKind, forms.PermissionKindForm, gettext_lazy("Kinds of permission")),
}


@requires("people.see")
@require_GET
def people(request: AuthedRequest) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "page": Paginator(queries.people(), PAGE).get_page(request.GET.get("page")),
        "renewals": [queries.permission_row(row, today) for row in queries.renewals_due(today)[:12]],
    }
    return render(request, "people/people.html", context)


@requires("people.see")
@require_GET
def person(request: AuthedRequest, pk: int) -> HttpResponse:
    return _person_page(request, get_object_or_404(queries.people(), pk=pk))


def _person_page(request: AuthedRequest, found: User, **bound: BaseForm) -> HttpResponse:
    today = timezone.localdate()
    technician = Technician.objects.filter(user=found).select_related("depot").first()
    hours = technician.working_hours.filter(valid_to=None) if technician else []
    initial: dict[str, Any] = {"valid_from": today}
    for row in hours:
        initial |= {f"starts_{row.weekday}": row.starts, f"ends_{row.weekday}": row.ends}
    context = {
        "person": found,
        "technician": technician,
        "permissions": queries.permissions_of(found, today),
        "leave": technician.leave.filter(last_day__gte=today) if technician else [],
        "hours": hours,
        "user_form": bound.get("user_form") or forms.UserForm(instance=found, initial={"roles": found.roles}),
        "technician_form": bound.get("technician_form") or forms.TechnicianForm(instance=technician),
        "hours_form": bound.get("hours_form") or forms.HoursForm(initial=initial),
        "leave_form": bound.get("leave_form") or forms.LeaveForm(),
        "permission_form": bound.get("permission_form") or forms.PermissionForm(),
        "open": next(iter(bound), ""),
    }
    return render(request, "people/person.html", context, status=422 if bound else 200)


@requires("people.edit")
@require_http_methods(["GET", "POST"])
def person_new(request: AuthedRequest) -> HttpResponse:
    form = forms.UserForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        saved = _saved(form, lambda: services.user_save(
            user=form.save(commit=False), roles=form.cleaned_data["roles"], actor=request.user,
            password=form.cleaned_data["password"],
        ))  # fmt: skip
        if saved is not None:
            return redirect("people:person", pk=saved.pk)
    return render(request, "people/person_new.html", {"form": form}, status=422 if form.errors else 200)


def _saved(form: BaseForm, change: Any) -> Any:
    """The result of a change, or None with the refusal written into the form."""
    try:
        return change()
    except ValidationError as error:
        form.add_error(None, error)
        return None


@requires("people.edit")
@require_POST
def person_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(User, pk=pk)
    form = forms.UserForm(request.POST, instance=found)
    if form.is_valid():
        saved = _saved(form, lambda: services.user_save(
            user=form.save(commit=False), roles=form.cleaned_data["roles"], actor=request.user,
            password=form.cleaned_data["password"],
        ))  # fmt: skip
        if saved is not None:
            messages.success(request, _("Kept."))
            return redirect("people:person", pk=pk)
    return _person_page(request, get_object_or_404(queries.people(), pk=pk), user_form=form)


@requires("people.edit")
@require_POST
def technician_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(queries.people(), pk=pk)
    form = forms.TechnicianForm(
        request.POST, instance=Technician.objects.filter(user=found).first() or Technician(user=found)
    )
    if form.is_valid() and _saved(
        form, lambda: services.technician_save(technician=form.save(commit=False), actor=request.user)
    ):
        messages.success(request, _("Kept."))
        return redirect("people:person", pk=pk)
    return _person_page(request, found, technician_form=form)


@requires("people.edit")
@require_POST
def hours_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    technician = get_object_or_404(Technician, user=pk)
    form = forms.HoursForm(request.POST)
    if form.is_valid():
        services.hours_set(
            technician=technician, days=form.days(), valid_from=form.cleaned_data["valid_from"], actor=request.user
        )
        messages.success(request, _("Kept."))
        return redirect("people:person", pk=pk)
    return _person_page(request, get_object_or_404(queries.people(), pk=pk), hours_form=form)


@requires("people.edit")
@require_POST
def leave_add(request: AuthedRequest, pk: int) -> HttpResponse:
    technician = get_object_or_404(Technician, user=pk)
    form = forms.LeaveForm(request.POST, instance=Leave(technician=technician))
    if form.is_valid() and _saved(form, lambda: services.leave_add(leave=form.save(commit=False), actor=request.user)):
        return redirect("people:person", pk=pk)
    return _person_page(request, get_object_or_404(queries.people(), pk=pk), leave_form=form)


@requires("people.edit")
@require_POST
def leave_remove(request: AuthedRequest, pk: int, leave: int) -> HttpResponse:
    services.leave_remove(leave=get_object_or_404(Leave, pk=leave, technician__user=pk), actor=request.user)
    return redirect("people:person", pk=pk)


@requires("people.edit")
@require_POST
def permission_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(queries.people(), pk=pk)
    form = forms.PermissionForm(request.POST, instance=Permission(user=found))
    if form.is_valid() and _saved(
        form, lambda: services.permission_add(permission=form.save(commit=False), actor=request.user)
    ):
        return redirect("people:person", pk=pk)
    return _person_page(request, found, permission_form=form)


@requires("people.see")
@require_GET
def records(request: AuthedRequest, kind: str) -> HttpResponse:
    model, _form, title = _kind(kind)
    page = Paginator(model.objects.all(), PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "kind": kind, "title": title, "firm": Firm.objects.first()}
    return render(request, "people/records.html", context)


@requires("people.edit")
@require_http_methods(["GET", "POST"])
def record_edit(request: AuthedRequest, kind: str, pk: int | None = None) -> HttpResponse:
    model, form_class, title = _kind(kind)
    found = get_object_or_404(model, pk=pk) if pk else None
    form: ModelForm[Any] = form_class(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        services.record_save(record=form.save(commit=False), actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("people:records", kind=kind)
    return render(
        request,
        "people/record.html",
        {"form": form, "kind": kind, "title": title, "record": found},
        status=422 if form.errors else 200,
    )


@requires("people.edit")
@require_POST
def lodging_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    """Take a lodging out of use, or back into it."""
    archived = request.POST.get("archived") == "1"
    services.lodging_archive(lodging=get_object_or_404(Lodging, pk=pk), archived=archived, actor=request.user)
    messages.success(request, _("Archived: no new night is planned there.") if archived else _("In use again."))
    return redirect("people:records", kind="lodgings")


def _kind(kind: str) -> tuple[type[Any], type[Any], Any]:
    if kind not in KINDS:
        raise Http404
    return KINDS[kind]


@requires("settings.edit")
@require_http_methods(["GET", "POST"])
def firm(request: AuthedRequest) -> HttpResponse:
    form = forms.FirmForm(request.POST or None, instance=Firm.objects.first())
    if request.method == "POST" and form.is_valid():
        services.record_save(record=form.save(commit=False), actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("people:firm")
    return render(
        request, "people/record.html", {"form": form, "title": _("The firm")}, status=422 if form.errors else 200
    )
