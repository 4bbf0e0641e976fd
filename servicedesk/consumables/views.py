from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from servicedesk.clients.models import Agreement
from servicedesk.consumables import services
from servicedesk.consumables.forms import IncludedForm
from servicedesk.people.access import AuthedRequest, requires


@requires("agreements.edit")
@require_http_methods(["GET", "POST"])
def included(request: AuthedRequest, pk: int) -> HttpResponse:
    """What the fee of an agreement includes at each visit."""
    found = get_object_or_404(Agreement.objects.select_related("client"), pk=pk)
    form = IncludedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        services.included_set(
            agreement=found, item=form.cleaned_data["item"], quantity=form.cleaned_data["quantity"], actor=request.user
        )
        messages.success(request, _("Kept. It counts for visits not billed yet."))
        return redirect("consumables:included", pk=pk)
    rows = found.included_materials.select_related("item").order_by("item__name")
    context = {"agreement": found, "rows": rows, "form": form}
    return render(request, "consumables/included.html", context, status=422 if form.errors else 200)
