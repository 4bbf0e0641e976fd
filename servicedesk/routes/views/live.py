"""The day as it goes: estimates on My round, questions to technicians, late rounds and what helps them."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes.forms import AnswerForm, HourForm, RemedyForm, VersionForm
from servicedesk.routes.models import RoundChange
from servicedesk.routes.queries import changes as change_queries
from servicedesk.routes.queries import round as round_queries
from servicedesk.routes.queries import running as running_queries
from servicedesk.routes.queries.refusals import refusal_before
from servicedesk.routes.services import changes, late
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.visits.models import Visit

REFUSED = 422


def live_context(
    request: AuthedRequest, view: round_queries.RoundView, *, failed: dict[UUID, AnswerForm] | None = None
) -> dict[str, object]:
    """Estimates of the stops of a round, and the questions asked about it."""
    live = running_queries.live_round(view.technician, view.day)
    if live is not None:
        for stop in view.stops:
            stop.estimate = live.estimates.get(str(stop.visit.pk))
    asked = change_queries.changes_asked(view.technician, view.day)
    waits_for = change_queries.waits_for(asked) if asked else {}
    return {
        "live": live,
        "questions": [
            (
                change,
                (failed or {}).get(change.pk, AnswerForm()),
                refusal_before(change),
                ", ".join(waits_for.get(change.together, [])),
            )
            for change in asked
        ],
        "asked_key": ".".join(sorted(str(change.pk) for change in asked)),
        "other_days": [
            day for day in change_queries.days_asked(view.technician) if day != view.day
        ],
        "may_answer": view.technician.user_id == request.user.pk or allows(request.user.roles, "weeks.plan"),
    }  # fmt: skip


@never_cache
@requires("round.see")
@require_GET
def round_live(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    """How the day runs, anew; a question that has come or gone is shown too, with a sound."""
    who = round_queries.technician_for(request.user, technician)
    if who is None:
        raise Http404
    view = round_queries.round_view(who, day, draft=False, with_load=False)
    context = live_context(request, view) | {
        "round": view, "day": day, "today": round_queries.today_of(who), "own": who.user_id == request.user.pk,
    }  # fmt: skip
    seen = request.GET.get("asked", "")
    context["show_questions"] = seen != context["asked_key"]
    context["is_new"] = bool(set(str(context["asked_key"]).split(".")) - set(seen.split(".")) - {""})
    return render(request, "routes/parts/live_answer.html", context)


@never_cache
@requires("round.see")
@require_POST
def change_answer(request: AuthedRequest, change: UUID) -> HttpResponse:
    """Accept or refuse; a refusal without a reason is asked for one, with all as it was."""
    found = get_object_or_404(
        RoundChange.objects.select_related("round__technician__user", "round__technician__depot"), pk=change
    )
    who, day = found.round.technician, found.round.date
    own = who.user_id == request.user.pk
    if not own and not allows(request.user.roles, "weeks.plan"):
        raise Http404
    form = AnswerForm(request.POST)
    if form.is_valid():
        values = form.cleaned_data
        try:
            changes.change_answer(
                change_id=found.pk, accept=values["accept"], reason=values["reason"], actor=request.user
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Accepted.") if values["accept"] else _("Refused; the planner is told why."))
            return redirect(_back(request, who.pk, day, own=own))
    view = round_queries.round_view(who, day, draft=False)
    context = live_context(request, view, failed={found.pk: form})
    page = {"round": view, "day": day, "own": own, "form": form, "change": found}
    return render(request, "routes/change_answer.html", context | page, status=REFUSED)


def _back(request: AuthedRequest, technician: int, day: date, *, own: bool) -> str:
    if request.POST.get("from") == "week":
        return reverse("routes:late")
    return reverse("routes:my-round-day", args=[day]) if own else reverse("routes:round", args=[day, technician])


@requires("weeks.see")
@require_GET
def watch(request: AuthedRequest) -> HttpResponse:
    """One line for each late round and each open question, for the pages of the office; nothing when all is well."""
    return render(request, "routes/parts/watch.html", _watch_context(request))


@never_cache
@requires("weeks.see")
@require_GET
def late_page(request: AuthedRequest) -> HttpResponse:
    """Late rounds with their remedies, and the questions to technicians."""
    return render(request, "routes/late.html", _late_context(request))


def _watch_context(request: AuthedRequest) -> dict[str, Any]:
    rounds, questions = running_queries.live_rounds(), change_queries.questions()
    words = _("%(name)s (week %(n)d)")
    asked = [
        words % {"name": row.change.round.technician, "n": row.plan.iso_week} for row in questions if not row.is_refused
    ]
    return {
        "rounds": rounds,
        "late": [row for row in rounds if row.run.is_late],
        "out": sum(row.is_out for row in rounds),
        "home": sum(row.is_home for row in rounds),
        "to_come": sum(not row.is_begun for row in rounds),
        "questions": questions,
        "open_names": list(dict.fromkeys(asked)),
        "may_plan": allows(request.user.roles, "weeks.plan"),
    }


def _late_context(request: AuthedRequest, **more: object) -> dict[str, Any]:
    context = _watch_context(request)
    rows = [(row, running_queries.offers_for(row, context["rounds"])) for row in context["late"]]
    asked = [(row, None if row.is_refused else refusal_before(row.change)) for row in context["questions"]]
    return context | {"rows": rows, "asked": asked} | more


def _late_refused(request: AuthedRequest, sentences: list[str]) -> HttpResponse:
    return render(request, "routes/late.html", _late_context(request, refused=sentences), status=REFUSED)


@never_cache
@requires("weeks.plan")
@require_POST
def remedy(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    """Ask the technicians concerned for a remedy."""
    form = RemedyForm(request.POST)
    if not form.is_valid():
        return _late_refused(request, [_("Choose one of the remedies.")])
    values = form.cleaned_data
    try:
        late.remedy_ask(
            key=(technician, day), kind=values["kind"], visit_id=values["visit"], to=values["to"], actor=request.user
        )
    except RuleBrokenError as refused:
        return _late_refused(request, refused.sentences)
    messages.success(request, _("Asked: nothing changes until the technicians accept."))
    return redirect("routes:late")


@never_cache
@requires("weeks.plan")
@require_POST
def hour(request: AuthedRequest, visit: UUID) -> HttpResponse:
    """The client takes another hour."""
    found = get_object_or_404(Visit.objects.select_related("site"), pk=visit)
    form = HourForm(request.POST)
    if not form.is_valid():
        return _late_refused(request, [_("Write the hour like 11:30.")])
    try:
        late.hour_agree(visit=found, at=form.cleaned_data["at"], actor=request.user)
    except ValidationError as error:
        return _late_refused(request, error.messages)
    told = {"site": found.site.name, "at": f"{form.cleaned_data['at']:%H:%M}"}
    messages.success(request, _("%(site)s is promised %(at)s now.") % told)
    return redirect("routes:late")


@never_cache
@requires("weeks.plan")
@require_POST
def take_back(request: AuthedRequest, change: UUID) -> HttpResponse:
    """Give up a change: the plan is as published again."""
    found = get_object_or_404(RoundChange.objects.select_related("round__plan"), pk=change)
    form = VersionForm(request.POST)
    if not form.is_valid():
        return _late_refused(request, [_("Reload the page and try again.")])
    try:
        changes.change_take_back(change_id=found.pk, version=form.cleaned_data["version"], actor=request.user)
    except StaleWeekError as stale:
        return _late_refused(request, [_("The week was changed meanwhile: %(change)s") % {"change": stale.plan.change}])
    except RuleBrokenError as refused:
        return _late_refused(request, refused.sentences)
    messages.success(request, _("The change is given up; the rounds are as published."))
    return redirect("routes:late")
