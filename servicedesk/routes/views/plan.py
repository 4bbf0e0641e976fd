"""Changes of a week: plan, stop, move, lock, publish. Each answers with the board as it is then."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes.crews import crew_min
from servicedesk.routes.forms import LockForm, MoveForm, PlanForm, PublishForm
from servicedesk.routes.models import PlanRun
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries import week as week_queries
from servicedesk.routes.queries.absence import asks_of
from servicedesk.routes.queries.crews import linked_rounds
from servicedesk.routes.queries.refusals import refusals_to_publish
from servicedesk.routes.queries.to_publish import publish_summary
from servicedesk.routes.queries.words import due_words
from servicedesk.routes.services import moving, publishing, runs
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, STALE, Again, board_answer, board_change
from servicedesk.routes.views.week import week_or_404
from servicedesk.visits.models import Visit


@requires("weeks.plan")
@require_POST
def plan(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    week = week_or_404(year, number)
    form = PlanForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Choose how long to search.")])
    values = form.cleaned_data
    return board_change(
        request,
        week,
        lambda: runs.run_request(week=week, version=values["version"], seconds=values["seconds"], actor=request.user),
        again=Again(
            reverse("routes:week-plan", args=[year, number]), _("Plan all the same"), {"seconds": values["seconds"]}
        ),
    )


@requires("weeks.see")
@require_GET
def progress(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """How far the run is; once it has ended the board loads itself anew."""
    week = week_or_404(year, number)
    found = week_queries.plan_of(week)
    run = found.runs.first() if found else None
    return render(request, "routes/parts/progress.html", _progress_context(request, week, run))


def _progress_context(request: AuthedRequest, week: Week, run: PlanRun | None) -> dict[str, object]:
    return {"run": run, "week": week, "may_plan": allows(request.user.roles, "weeks.plan")}


@requires("weeks.plan")
@require_POST
def stop(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    week = week_or_404(year, number)
    run = get_object_or_404(PlanRun, pk=_uuid(request.POST.get("run", "")), plan__iso_year=year, plan__iso_week=number)
    runs.run_stop(run=run, keep=request.POST.get("keep") == "1", actor=request.user)
    return board_answer(request, week)


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError as error:
        raise Http404 from error


def move_form(week: Week, data: Any = None, **kwargs: Any) -> MoveForm:
    technicians = list(round_queries.technicians_between(week.monday, week.sunday))
    days = [(day.isoformat(), date_format(day, "D j M")) for day in week.days]
    return MoveForm(data, technicians=technicians, days=days, **kwargs)


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def move(request: AuthedRequest, year: int, number: int, visit: UUID) -> HttpResponse:
    """Choose technician, day and place for a visit; the same address takes a drag."""
    week = week_or_404(year, number)
    found = get_object_or_404(Visit.objects.select_related("site__client", "agreement"), pk=visit)
    if request.method == "GET":
        stop = week_queries.stop_of(found, week)
        plan = week_queries.plan_of(week)
        form = move_form(week, initial=week_queries.move_initial(stop, plan))
        context = {"week": week, "visit": found, "stop": stop, "form": form, "version": plan.version if plan else 1,
            "why_due": due_words(found), "crew_min": crew_min(found),
        }  # fmt: skip
        return render(request, "routes/parts/move.html" if request.htmx else "routes/move.html", context)
    form = move_form(week, request.POST)
    if not form.is_valid():
        sentences = [error for errors in form.errors.values() for error in errors]
        return board_answer(request, week, status=REFUSED, refused=sentences)
    values = form.cleaned_data
    stop = week_queries.stop_of(found, week)
    keys = {(stop.round.technician_id, stop.round.date)} if stop is not None else set()
    if values["technician"] is not None and values["day"] is not None:
        keys.add((values["technician"], values["day"]))
    plan = week_queries.plan_of(week)
    return board_change(
        request,
        week,
        lambda: moving.visit_move(
            week=week, version=values["version"], visit=found, technician_id=values["technician"], day=values["day"],
            position=values["position"], actor=request.user,
        ),
        again=Again(
            reverse("routes:week-move", args=[year, number, visit]),
            _("Move %(site)s all the same") % {"site": found.site},
            {name: values[name] for name in ("technician", "day", "position")},
        ),
        keys=linked_rounds(plan, keys) if plan is not None else keys,
    )  # fmt: skip


@requires("weeks.plan")
@require_POST
def lock(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    week = week_or_404(year, number)
    form = LockForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Say which visit or round to lock.")])
    values = form.cleaned_data
    if values["visit"]:
        act = lambda: moving.stop_lock(  # noqa: E731
            week=week, version=values["version"], visit_id=values["visit"], locked=values["locked"], actor=request.user
        )
    else:
        act = lambda: moving.round_lock(  # noqa: E731
            week=week, version=values["version"], technician_id=values["technician"], day=values["day"],
            locked=values["locked"], actor=request.user,
        )  # fmt: skip
    again = Again(reverse("routes:week-lock", args=[year, number]), _("Do it all the same"), {
        name: values[name] for name in ("visit", "technician", "day")
    } | {"locked": "1" if values["locked"] else "0"})  # fmt: skip
    return board_change(request, week, act, again=again)


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def publish(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """What publishing will do, then do it."""
    week = week_or_404(year, number)
    if request.method == "GET":
        summary = publish_summary(week)
        context = {
            "week": week, "summary": summary, "asks": asks_of(summary.plan),
            "refusals": refusals_to_publish(summary.plan),
        }  # fmt: skip
        return render(request, "routes/parts/publish.html" if request.htmx else "routes/publish.html", context)
    form = PublishForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Reload the page and publish again.")])
    values = form.cleaned_data
    response = board_change(
        request,
        week,
        lambda: publishing.week_publish(
            week=week, version=values["version"], ask_again=values["ask_again"], actor=request.user
        ),
    )
    if response.status_code < STALE and not request.htmx:
        messages.success(request, _("Published: each technician sees the round, and the hours may be told."))
    return response
