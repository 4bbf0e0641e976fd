"""Plan again from now: somebody ill, a van down, a day gone wrong."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.models import Technician
from servicedesk.routes.forms import BackForm, ReplanForm
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries.outs import out_now
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.scope import Out, Scope, scope_json
from servicedesk.routes.services import runs
from servicedesk.routes.services.outs import out_end
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, Again, board_answer, board_change
from servicedesk.routes.views.week import week_or_404


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def replan(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """Say who is out since when; the search then plans what is still open."""
    week = week_or_404(year, number)
    people = list(round_queries.technicians_between(week.monday, week.sunday))
    if request.method == "GET":
        plan = plan_of(week)
        today = timezone.localdate()
        form = ReplanForm(
            technicians=people, initial={"version": plan.version if plan else 1, "seconds": 15, "until": today}
        )
        return _form(request, week, form, people)
    form = ReplanForm(request.POST, technicians=people)
    if form.is_valid() and Week.of(timezone.localdate()) != week:
        form.add_error(None, _("Only the week that is under way can be planned again from now."))
    if not form.is_valid():
        if not request.htmx:
            return _form(request, week, form, people, status=REFUSED)
        sentences = [error for errors in form.errors.values() for error in errors]
        return board_answer(request, week, status=REFUSED, refused=sentences)
    values = form.cleaned_data
    who = next((row for row in people if row.pk == values["technician"]), None)
    scope = scope_json(_scope(form, who))
    kept = {name: request.POST.get(name, "") for name in ("seconds", "technician", "reason", "until", "since")}
    return board_change(
        request,
        week,
        lambda: runs.run_request(
            week=week, version=values["version"], seconds=values["seconds"], actor=request.user, scope=scope
        ),
        again=Again(reverse("routes:week-replan", args=[year, number]), _("Replan all the same"), kept),
    )  # fmt: skip


def _scope(form: ReplanForm, who: Technician | None) -> Scope:
    values, now = form.cleaned_data, timezone.now()
    if who is None:
        return Scope(now)
    zone = ZoneInfo(who.time_zone)
    today = now.astimezone(zone).date()
    since = datetime.combine(today, values["since"], tzinfo=zone) if values["since"] else now
    until = max(values["until"] or today, today)
    return Scope(now, (Out(who.pk, until, values["reason"], max(since, now)),))


def _form(
    request: AuthedRequest, week: Week, form: ReplanForm, people: Sequence[Technician], *, status: int = 200
) -> HttpResponse:
    template = "routes/parts/replan.html" if request.htmx else "routes/replan.html"
    context = {"week": week, "form": form, "out": out_now(people, timezone.now()), "version": form["version"].value()}
    return render(request, template, context, status=status)


@requires("weeks.plan")
@require_POST
def back(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """Somebody who was out is there again and may be planned."""
    week = week_or_404(year, number)
    people = list(round_queries.technicians_between(week.monday, week.sunday))
    form = BackForm(request.POST, technicians=people)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Reload the page and try again.")])
    values = form.cleaned_data
    who = next(row for row in people if row.pk == values["technician"])
    return board_change(
        request,
        week,
        lambda: out_end(week=week, version=values["version"], technician=who, actor=request.user),
        again=Again(
            reverse("routes:week-back", args=[year, number]), _("Note it all the same"), {"technician": who.pk}
        ),
    )
