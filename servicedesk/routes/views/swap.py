"""Swap two rounds of a week."""

from datetime import date

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes.forms import SwapForm
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.services.swapping import rounds_swap
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, Again, board_answer, board_change
from servicedesk.routes.views.week import week_or_404


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def swap(request: AuthedRequest, year: int, number: int, technician: int, day: date) -> HttpResponse:
    """Choose with whom and which day, then swap."""
    week = week_or_404(year, number)
    if Week.of(day) != week:
        raise Http404
    who = round_queries.technician_in_week(technician)
    people = list(round_queries.technicians_between(week.monday, week.sunday))
    days = [(row.isoformat(), date_format(row, "D j M")) for row in week.days]
    if request.method == "GET":
        plan = plan_of(week)
        form = SwapForm(technicians=people, days=days, initial={"version": plan.version if plan else 1, "day": day})
        context = {"week": week, "technician": who, "day": day, "form": form}
        return render(request, "routes/parts/swap.html" if request.htmx else "routes/swap.html", context)
    form = SwapForm(request.POST, technicians=people, days=days)
    if not form.is_valid():
        sentences = [error for errors in form.errors.values() for error in errors]
        return board_answer(request, week, status=REFUSED, refused=sentences)
    values = form.cleaned_data
    return board_change(
        request,
        week,
        lambda: rounds_swap(
            week=week, version=values["version"], one=(technician, day), other=(values["technician"], values["day"]),
            actor=request.user,
        ),
        again=Again(
            reverse("routes:week-swap", args=[year, number, technician, day]), _("Swap all the same"),
            {name: values[name] for name in ("technician", "day")},
        ),
    )  # fmt: skip
