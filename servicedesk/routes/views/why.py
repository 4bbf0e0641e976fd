"""Why a visit is where it is, and what a client's wish would cost."""

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes.forms import WishForm
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.queries.why import VisitDesk
from servicedesk.routes.views.week import week_or_404
from servicedesk.visits.models import Visit


@requires("weeks.see")
@require_GET
def why(request: AuthedRequest, year: int, number: int, visit: UUID) -> HttpResponse:
    """The reasons, and the price of a wish when one is asked for."""
    week = week_or_404(year, number)
    found = get_object_or_404(Visit.objects.select_related("site__client", "agreement"), pk=visit)
    plan = plan_of(week)
    desk = VisitDesk(week, plan, found) if plan is not None else None
    people = list(desk.technicians.values() if desk else technicians_between(week.monday, week.sunday))
    asks = any(name in request.GET for name in ("only", "opens", "closes"))
    form = WishForm(request.GET if asks else None, technicians=people, duration_min=found.duration_min)
    context: dict[str, object] = {
        "week": week, "visit": found, "form": form, "currency": desk.currency if desk else "",
    }  # fmt: skip
    if desk is not None:
        context |= {"why": desk.why(), "is_placed": desk.is_placed}
        if asks and form.is_valid():
            context["wish"] = desk.wish(only=form.cleaned_data["only"], hours=form.hours)
    return render(request, "routes/parts/why.html" if request.htmx else "routes/why.html", context)
