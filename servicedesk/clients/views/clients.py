"""Clients, their contacts and addresses; the search by a few letters."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients import forms, queries, services
from servicedesk.clients.models import Client, Contact
from servicedesk.people.access import AuthedRequest, requires

PAGE = 25


@requires("sites.see")
@require_GET
def sites(request: AuthedRequest) -> HttpResponse:
    """All sites, found by a few letters of site, street, city or client."""
    letters = request.GET.get("q", "").strip()
    archived = request.GET.get("archived") == "1"
    found = queries.sites(archived=True) if archived else queries.sites_matching(letters)
    context = {
        "page": Paginator(found, PAGE).get_page(request.GET.get("page")),
        "letters": letters,
        "archived": archived,
        "clients": queries.clients_matching(letters)[:8] if letters else [],
    }
    template = "clients/parts/sites.html" if request.htmx and not request.htmx.boosted else "clients/sites.html"
    answer = render(request, template, context)
    answer["Vary"] = "HX-Request"
    return answer


@requires("sites.see")
@require_GET
def client(request: AuthedRequest, pk: int) -> HttpResponse:
    return _client_page(request, get_object_or_404(Client, pk=pk))


def _client_page(request: AuthedRequest, found: Client, **bound: BaseForm) -> HttpResponse:
    today = timezone.localdate()
    context: dict[str, Any] = {
        "client": found,
        "address": queries.address_on(found, today),
        "addresses": found.addresses.order_by("-valid"),
        "contacts": found.contacts.filter(archived_at=None).select_related("site"),
        "sites": found.sites.filter(archived_at=None),
        "agreements": queries.agreements_of(found),
        "contact_form": bound.get("contact_form") or forms.ContactForm(client=found),
        "move_form": bound.get("move_form") or forms.MoveForm(initial={"since": today}),
        "open": next(iter(bound), ""),
    }
    return render(request, "clients/client.html", context, status=422 if bound else 200)


@requires("sites.edit")
@require_http_methods(["GET", "POST"])
def client_new(request: AuthedRequest) -> HttpResponse:
    form = forms.ClientForm(request.POST or None)
    address = forms.AddressForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and address.is_valid():
        made = services.client_create(
            client=form.save(commit=False), address=address.address(), since=timezone.localdate(),
            token=str(form.cleaned_data["token"]), actor=request.user,
        )  # fmt: skip
        return redirect("clients:client", pk=made.pk)
    context = {"form": form, "address_form": address}
    return render(request, "clients/client_edit.html", context, status=422 if form.errors or address.errors else 200)


@requires("sites.edit")
@require_http_methods(["GET", "POST"])
def client_edit(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Client, pk=pk)
    form = forms.ClientForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        services.record_save(record=form.save(commit=False), actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("clients:client", pk=pk)
    return render(
        request, "clients/client_edit.html", {"form": form, "client": found}, status=422 if form.errors else 200
    )


@requires("sites.edit")
@require_POST
def client_move(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Client, pk=pk)
    form = forms.MoveForm(request.POST)
    if form.is_valid():
        try:
            services.client_move(
                client=found, address=form.address(), since=form.cleaned_data["since"], actor=request.user
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept. Papers of earlier days keep the old address."))
            return redirect("clients:client", pk=pk)
    return _client_page(request, found, move_form=form)


@requires("sites.edit")
@require_POST
def client_archive(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Client, pk=pk)
    try:
        services.archive(record=found, actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("clients:client", pk=pk)
    messages.success(request, _("Archived."))
    return redirect("clients:sites")


@requires("sites.edit")
@require_POST
def contact_add(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Client, pk=pk)
    form = forms.ContactForm(request.POST, client=found, instance=Contact(client=found))
    if form.is_valid():
        services.record_create(
            record=form.save(commit=False), token=str(form.cleaned_data["token"]), actor=request.user
        )
        return redirect("clients:client", pk=pk)
    return _client_page(request, found, contact_form=form)


@requires("sites.edit")
@require_POST
def contact_archive(request: AuthedRequest, pk: int, contact: int) -> HttpResponse:
    services.archive(record=get_object_or_404(Contact, pk=contact, client=pk), actor=request.user)
    return redirect("clients:client", pk=pk)
