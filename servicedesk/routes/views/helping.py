"""Who comes as the second person of a visit."""

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import Firm
from servicedesk.routes.crews import Key, crew_min
from servicedesk.routes.queries import week as week_queries
from servicedesk.routes.queries.crews import linked_rounds
from servicedesk.routes.queries.helping import helper_choices
from servicedesk.routes.queries.round import today_of
from servicedesk.routes.services.helping import helper_set
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, Again, board_answer, board_change
from servicedesk.routes.views.plan import move_form
from servicedesk.routes.views.week import week_or_404
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def help_at(request: AuthedRequest, year: int, number: int, visit: UUID) -> HttpResponse:
    """Choose who helps, or nobody; the same address takes the drag of a helper's part."""
    week = week_or_404(year, number)
    found = get_object_or_404(Visit.objects.select_related("site__client", "agreement"), pk=visit)
    if request.method == "GET":
        template = "routes/help.html"
        if request.htmx:
            template = "routes/parts/helpers.html" if "inside" in request.GET else "routes/parts/help.html"
        return render(request, template, _context(week, found))
    form = move_form(week, request.POST)
    if not form.is_valid():
        sentences = [error for errors in form.errors.values() for error in errors]
        return board_answer(request, week, status=REFUSED, refused=sentences)
    values = form.cleaned_data
    names = ("technician", "day", "position")
    return board_change(
        request,
        week,
        lambda: helper_set(
            week=week, version=values["version"], visit=found, actor=request.user,
            technician_id=values["technician"], day=values["day"], position=values["position"],
        ),
        again=Again(
            reverse("routes:week-help", args=[year, number, visit]), _("Change the second person all the same"),
            {name: values[name] for name in names},
        ),
        keys=_touched(week, found, values["technician"]),
    )  # fmt: skip


def _touched(week: Week, visit: Visit, technician: int | None) -> set[Key]:
    """The rounds of both people, of whoever comes instead, and all that share a visit with one of them."""
    plan, (lead, helper) = week_queries.plan_of(week), week_queries.parts_of(visit, week)
    keys = {(stop.round.technician_id, stop.round.date) for stop in (lead, helper) if stop is not None}
    if lead is not None and technician is not None:
        keys.add((technician, lead.round.date))
    return linked_rounds(plan, keys) if plan is not None else keys


def _context(week: Week, visit: Visit) -> dict[str, object]:
    lead, helper = week_queries.parts_of(visit, week)
    plan = lead.round.plan if lead is not None else week_queries.plan_of(week)
    is_open = lead is not None and visit.state in OPEN and lead.round.date >= today_of(lead.round.technician)
    return {
        "week": week,
        "visit": visit,
        "stop": lead,
        "helper": helper,
        "minutes": crew_min(visit),
        "is_open": is_open,
        "choices": helper_choices(week, plan, visit, lead) if plan and lead and is_open else [],
        "version": plan.version if plan is not None else 1,
        "currency": Firm.objects.values_list("currency", flat=True).first() or "USD",
    }
