from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.common.ids import new_id
from servicedesk.consumables.models import Item
from servicedesk.consumables.queries import moves_of
from servicedesk.consumables.services import item_save
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.stores import queries, services
from servicedesk.stores.forms import ItemForm, MoveForm, OrderedForm, ReceiveForm
from servicedesk.stores.models import ReorderReminder

PAGE = 25


@requires("stores.see")
@require_GET
def stores(request: AuthedRequest) -> HttpResponse:
    """What runs out first, where, and what to do about it."""
    today = timezone.localdate()
    rows = queries.stock_of_items(Item.objects.filter(archived_at=None), today)
    context = {
        "page": Paginator(rows, PAGE).get_page(request.GET.get("page")),
        "reminders": queries.reminders_open(),
        "unusable": queries.unusable_stock(today)[:12],
        "ordered_form": OrderedForm(),
        "today": today,
    }
    return render(request, "stores/stores.html", context)


@requires("stores.see")
@require_GET
def item(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Item, pk=pk)
    return _item_page(request, found, MoveForm(item=found, initial={"key": new_id()}))


def _item_page(request: AuthedRequest, found: Item, form: MoveForm) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "item": found,
        "stock": queries.stock_of_items([found], today)[0],
        "lots": queries.lots_of_item(found, today),
        "page": Paginator(moves_of(found), PAGE).get_page(request.GET.get("page")),
        "form": form,
    }
    return render(request, "stores/item.html", context, status=422 if form.errors else 200)


@requires("stores.edit")
@require_POST
def item_move(request: AuthedRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Item, pk=pk)
    form = MoveForm(request.POST, item=found)
    if form.is_valid():
        data = form.cleaned_data
        lot = data.pop("lot")
        try:
            services.stock_move(item=found, lot_id=lot.pk if lot else None, actor=request.user, **data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Moved."))
            return redirect("stores:item", pk=pk)
    return _item_page(request, found, form)


@requires("stores.edit")
@require_http_methods(["GET", "POST"])
def receive(request: AuthedRequest) -> HttpResponse:
    """A delivery into a store."""
    form = ReceiveForm(request.POST or None, initial={"key": new_id(), "item": request.GET.get("item")})
    if request.method == "POST" and form.is_valid():
        services.stock_receive(actor=request.user, **form.cleaned_data)
        messages.success(request, _("Received."))
        return redirect("stores:item", pk=form.cleaned_data["item"].pk)
    return render(request, "stores/receive.html", {"form": form}, status=422 if form.errors else 200)


@requires("stores.catalogue")
@require_http_methods(["GET", "POST"])
def item_edit(request: AuthedRequest, pk: int | None = None) -> HttpResponse:
    found = get_object_or_404(Item, pk=pk) if pk else None
    form = ItemForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid():
        saved = item_save(item=form.save(commit=False), actor=request.user)
        messages.success(request, _("Kept."))
        return redirect("stores:item", pk=saved.pk)
    return render(request, "stores/item_edit.html", {"form": form, "item": found}, status=422 if form.errors else 200)


@requires("stores.catalogue")
@require_POST
def reminder_ordered(request: AuthedRequest, pk: UUID) -> HttpResponse:
    reminder = get_object_or_404(ReorderReminder, pk=pk)
    form = OrderedForm(request.POST)
    note = form.cleaned_data["note"] if form.is_valid() else ""
    services.reminder_ordered(reminder=reminder, note=note, actor=request.user)
    messages.success(request, _("Marked as ordered."))
    return redirect("stores:stores")
