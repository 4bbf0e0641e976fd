"""The night after a round: what each lodging would cost and save, and choosing one."""

from datetime import date

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes.forms import NightForm
from servicedesk.routes.nights import morning_of
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries.crews import linked_rounds
from servicedesk.routes.queries.nights import Evening
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.services.nights import night_set
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, Again, board_answer, board_change
from servicedesk.routes.views.week import week_or_404


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def night(request: AuthedRequest, year: int, number: int, technician: int, day: date) -> HttpResponse:
    """Look at the choices, then stay or drive home."""
    week = week_or_404(year, number)
    if Week.of(day) != week:
        raise Http404
    who = round_queries.technician_in_week(technician)
    if request.method == "GET":
        plan = plan_of(week)
        context = {"week": week, "technician": who, "day": day, "plan": plan}
        if plan is not None:
            evening = Evening(week, plan, who, day)
            refused = evening.refused() or (evening.forbidden() if evening.lodging is None else [])
            choices = evening.choices() if not refused else []
            context |= {"evening": evening, "refused": refused, "choices": choices, "currency": evening.currency}
        return render(request, "routes/parts/night.html" if request.htmx else "routes/night.html", context)
    form = NightForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Choose a lodging, or driving home.")])
    values = form.cleaned_data
    plan, keys = plan_of(week), {(technician, day), morning_of((technician, day))}
    return board_change(
        request,
        week,
        lambda: night_set(
            week=week, version=values["version"], technician_id=technician, day=day, lodging_id=values["lodging"],
            actor=request.user,
        ),
        again=Again(
            reverse("routes:week-night", args=[year, number, technician, day]), _("Do it all the same"),
            {"lodging": values["lodging"] if values["lodging"] is not None else ""},
        ),
        keys=linked_rounds(plan, keys) if plan is not None else keys,
    )  # fmt: skip
