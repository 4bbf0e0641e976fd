"""Settings of travel times: the constants of the estimate, the road service, imported drives."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.common.tables import UnreadableTable, read_table, tried
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes import travel_importing as importing
from servicedesk.routes.queries import travel as queries
from servicedesk.routes.services import travel as services
from servicedesk.routes.travel_documents import drive_examples
from servicedesk.routes.travel_forms import TravelImportForm, TravelRuleForm


@requires("settings.edit")
@require_http_methods(["GET", "POST"])
def settings(request: AuthedRequest) -> HttpResponse:
    rule = queries.travel_rule()
    form = TravelRuleForm(request.POST or None, instance=rule)
    if request.method == "POST" and form.is_valid():
        try:
            services.rule_save(rule=form.save(commit=False), actor=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Kept. Weeks planned from now on go by it."))
            return redirect("routes:travel-settings")
    in_force = queries.travel_rule()
    context = {
        "form": form,
        "examples": drive_examples(in_force),
        "address": queries.service_address(in_force),
        "from_environment": not in_force.service_url,
        "counts": queries.drive_counts(),
        **_fill_context(),
    }
    return render(request, "routes/travel_settings.html", context, status=422 if form.errors else 200)


def _fill_context() -> dict[str, Any]:
    fill = queries.last_fill()
    return {
        "fill": fill,
        "fill_words": queries.fill_words(fill) if fill is not None and fill.ended_at else "",
        "fill_active": fill is not None and fill.state in services.ACTIVE,
    }


@requires("settings.edit")
@require_GET
def fill_state(request: AuthedRequest) -> HttpResponse:
    """How the reading of drives goes on; once it has ended the page loads itself anew."""
    context = _fill_context()
    response = render(request, "routes/parts/travel_fill.html", context)
    if not context["fill_active"]:
        response["HX-Refresh"] = "true"
    return response


@requires("settings.edit")
@require_POST
def fill(request: AuthedRequest) -> HttpResponse:
    """Have the worker read the drives that are not known."""
    if services.fill_request(actor=request.user) is None:
        messages.error(request, _("There is no road service to ask. Type its address first."))
    return redirect("routes:travel-settings")


@requires("settings.edit")
@require_http_methods(["GET", "POST"])
def import_drives(request: AuthedRequest) -> HttpResponse:
    """A dry run that shows every row's fate; a second press stores the fit ones."""
    form = TravelImportForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form}
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            found = importing.fates(read_table(upload.name, upload.file, importing.REQUIRED))
        except UnreadableTable as error:
            form.add_error("file", str(error))
        else:
            if "store" in request.POST:
                stored = importing.store(found, actor=request.user)
                left = sum(row.state == "wrong" for row in found)
                messages.success(
                    request, _("%(n)d drives stored, %(left)d rows left out.") % {"n": stored, "left": left}
                )
                return redirect("routes:travel-settings")
            context["tried"] = tried(found)
    return render(request, "routes/travel_import.html", context, status=422 if form.errors else 200)


@requires("settings.edit")
@require_POST
def forget_imported(request: AuthedRequest) -> HttpResponse:
    number = services.imported_forget(actor=request.user)
    messages.success(request, _("%(n)d imported drives taken off.") % {"n": number})
    return redirect("routes:travel-settings")
