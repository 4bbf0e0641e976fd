"""The Week: the board, and one round of it opened."""

from datetime import date

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes import documents
from servicedesk.routes.forms import PlanForm
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries import week as week_queries
from servicedesk.routes.queries.crews import Crews
from servicedesk.routes.queries.travel import week_notice
from servicedesk.routes.queries.versions import undone_words
from servicedesk.routes.times import Week


def week_or_404(year: int, number: int) -> Week:
    try:
        date.fromisocalendar(year, number, 1)
    except ValueError as error:
        raise Http404 from error
    return Week(year, number)


@requires("weeks.see")
@require_GET
def week_current(request: AuthedRequest) -> HttpResponse:
    found = Week.of(timezone.localdate())
    return redirect("routes:week", year=found.year, number=found.number)


@requires("weeks.see")
@require_GET
def week(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    return render(request, "routes/week.html", board_context(request, week_or_404(year, number)))


@requires("weeks.see")
@require_GET
def board(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """The board alone, as after a change or when a plan is done."""
    return render(request, "routes/parts/board.html", board_context(request, week_or_404(year, number)))


def part_context(request: AuthedRequest, found: Week, plan: WeekPlan, crews: Crews) -> dict[str, object]:
    """What goes round the changed cells of a board that is otherwise as it was."""
    tray = week_queries.tray_rows(found, plan)
    shown = week_queries.Board(
        found, plan, [], [], tray, week_queries.score_figures(plan, len(tray)), None, None,
        holds_stops=plan.rounds.filter(stops__isnull=False).exists(), crews=crews,
    )  # fmt: skip
    return _shown_context(request, found, shown)


def board_context(request: AuthedRequest, found: Week, **more: object) -> dict[str, object]:
    """What the board shows; ``more`` carries a refusal or a form with its errors."""
    shown = week_queries.board(found)
    return _shown_context(request, found, shown) | more


def _shown_context(request: AuthedRequest, found: Week, shown: week_queries.Board) -> dict[str, object]:
    return {
        "board": shown,
        "week": found,
        "previous": found.shifted(-1),
        "next": found.shifted(1),
        "this": Week.of(timezone.localdate()),
        "may_plan": allows(request.user.roles, "weeks.plan"),
        "plan_form": PlanForm(initial={"version": shown.version, "seconds": 15}),
        "run": shown.run,
        "travel_notice": week_notice(shown.plan),
        "undo_words": undone_words(shown.plan) if shown.plan is not None else "",
        "proposal": shown.plan.proposals.filter(state="open").first() if shown.plan is not None else None,
    }


@requires("weeks.see")
@require_GET
def week_round(request: AuthedRequest, year: int, number: int, technician: int, day: date) -> HttpResponse:
    """One round in order, on the map, with its load list."""
    found = week_or_404(year, number)
    if Week.of(day) != found:
        raise Http404
    who = round_queries.technician_in_week(technician)
    view = round_queries.round_view(who, day, draft=True)
    context = {
        "week": found,
        "round": view,
        "ribbon": documents.ribbon_of(view),
        "map_data": documents.map_data(view),
        "may_plan": allows(request.user.roles, "weeks.plan"),
        "plan": view.round.plan if view.round else week_queries.plan_of(found),
    }
    template = "routes/parts/round_panel.html" if request.htmx else "routes/week_round.html"
    return render(request, template, context)
