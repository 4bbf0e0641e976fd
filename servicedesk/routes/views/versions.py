"""The states a week was in: undo, put back, compare; and the pulse by which two planners see each other."""

from django.core.cache import cache
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes.forms import CompareForm, RestoreForm, VersionForm
from servicedesk.routes.kept import from_json
from servicedesk.routes.queries import versions as queries
from servicedesk.routes.queries.compare import comparison
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.services import undoing
from servicedesk.routes.views.answers import REFUSED, Again, board_answer, board_change
from servicedesk.routes.views.week import week_or_404

HERE_S = 12


@requires("weeks.plan")
@require_POST
def undo(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """Take back the last change."""
    week, form = week_or_404(year, number), VersionForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Reload the page and try again.")])
    version = form.cleaned_data["version"]
    return board_change(
        request, week, lambda: undoing.change_undo(week=week, version=version, actor=request.user)
    )  # fmt: skip


@requires("weeks.plan")
@require_POST
def restore(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """Put an older state in force again."""
    week, form = week_or_404(year, number), RestoreForm(request.POST)
    if not form.is_valid():
        return board_answer(request, week, status=REFUSED, refused=[_("Choose one of the states that are kept.")])
    values = form.cleaned_data
    return board_change(
        request,
        week,
        lambda: undoing.version_restore(
            week=week, version=values["version"], number=values["state"], actor=request.user
        ),
        again=Again(
            reverse("routes:week-restore", args=[year, number]), _("Put it back all the same"),
            {"state": values["state"]},
        ),
    )  # fmt: skip


@requires("weeks.see")
@require_GET
def versions(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """All states kept, and two of them side by side."""
    week = week_or_404(year, number)
    plan = plan_of(week)
    rows = queries.versions_of(plan) if plan is not None else []
    newest = [row.number for row in rows[:2]]
    form = CompareForm(
        request.GET if "old" in request.GET else None,
        versions=rows,
        initial={"old": newest[-1] if newest else None, "new": newest[0] if newest else None},
    )
    context: dict[str, object] = {
        "week": week, "plan": plan, "versions": rows, "form": form, "may_plan": allows(request.user.roles, "weeks.plan")
    }  # fmt: skip
    if plan is not None and form.is_bound and form.is_valid():
        old, new = (queries.version_of(plan, form.cleaned_data[name]) for name in ("old", "new"))
        if old is None or new is None:
            raise Http404
        context |= {"old": old, "new": new, "comparison": comparison(
            week, from_json(old.rounds), from_json(new.rounds), old.score, new.score
        )}  # fmt: skip
    return render(request, "routes/week_versions.html", context)


@requires("weeks.see")
@require_GET
def pulse(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """Whether the page is still the newest, and who else looks at the week."""
    week = week_or_404(year, number)
    plan = plan_of(week)
    seen = request.GET.get("version", "")
    response = render(
        request,
        "routes/parts/pulse.html",
        {
            "week": week,
            "plan": plan,
            "version": seen,
            "others": _others(request, year, number),
            "run_shown": request.GET.get("run") == "1",
        },
    )
    being = plan is not None and plan.runs.filter(state__in=["queued", "running"]).exists()
    if plan is not None and (str(plan.version) != seen or being != (request.GET.get("run") == "1")):
        response["HX-Trigger"] = "weekMoved"
    return response


def _others(request: AuthedRequest, year: int, number: int) -> list[str]:
    """Who asked for the pulse of this week in the last seconds, besides oneself."""
    name = f"week-here:{year}-{number}"
    here: dict[int, str] = cache.get(name) or {}
    cache.set(f"{name}:{request.user.pk}", str(request.user), HERE_S)
    if request.user.pk not in here:
        cache.set(name, here | {request.user.pk: str(request.user)}, 3600)
    others = cache.get_many([f"{name}:{pk}" for pk in here if pk != request.user.pk])
    return sorted(others.values())
