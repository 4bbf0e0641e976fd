"""A proposed plan: what it changes, take it or refuse it, and the clients to tell."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes.forms import DecideForm
from servicedesk.routes.kept import from_json
from servicedesk.routes.notice_forms import NoticeForm
from servicedesk.routes.queries.calls import calls_told
from servicedesk.routes.queries.compare import comparison
from servicedesk.routes.queries.outs import out_said
from servicedesk.routes.queries.versions import rounds_kept, version_of
from servicedesk.routes.queries.week import plan_of
from servicedesk.routes.services import notices, proposals
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.routes.times import Week
from servicedesk.routes.views.answers import REFUSED, STALE
from servicedesk.routes.views.week import week_or_404
from servicedesk.routes.week_models import PlanProposal, ProposalNotice


@requires("weeks.plan")
@require_http_methods(["GET", "POST"])
def proposal(request: AuthedRequest, year: int, number: int) -> HttpResponse:
    """The newest proposal of the week: what it moves, and the choice."""
    week = week_or_404(year, number)
    if request.method == "GET":
        return _page(request, week)
    form = DecideForm(request.POST)
    if not form.is_valid():
        return _page(request, week, refused=[_("Choose what to take, or refuse it.")], status=REFUSED)
    values = form.cleaned_data
    get_object_or_404(PlanProposal, pk=values["proposal"], plan__iso_year=year, plan__iso_week=number)
    if values["act"] == "refuse":
        proposals.proposal_refuse(week=week, proposal_id=values["proposal"], actor=request.user)
        messages.success(request, _("Refused: the plan stays as it is."))
        return redirect("routes:week", year=year, number=number)
    groups = None if values["act"] == "all" else request.POST.getlist("group")
    try:
        found = proposals.proposal_take(
            week=week, version=values["version"], proposal_id=values["proposal"], groups=groups, actor=request.user
        )
    except StaleWeekError as stale:
        words = _("The week was changed meanwhile: %(change)s Look again; nothing was taken yet.")
        return _page(request, week, refused=[words % {"change": stale.plan.change}], chosen=groups, status=STALE)
    except RuleBrokenError as refused:
        return _page(request, week, refused=refused.sentences, chosen=groups, status=REFUSED)
    if found.plan.rounds.filter(published__isnull=False).exists():
        messages.success(request, _("Taken. Publish the week to ask the technicians concerned."))
    else:
        messages.success(request, _("Taken. Publish the week to give it to the technicians."))
    if found.notices.exists():
        return redirect("routes:week-proposal", year=year, number=number)
    return redirect("routes:week", year=year, number=number)


def _page(
    request: AuthedRequest,
    week: Week,
    *,
    refused: list[str] | None = None,
    chosen: list[str] | None = None,
    bound: tuple[UUID, NoticeForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    plan = plan_of(week)
    found = plan.proposals.select_related("run", "decided_by").first() if plan is not None else None
    context: dict[str, object] = {
        "week": week, "plan": plan, "proposal": found, "refused": refused, "chosen": chosen,
        "may_plan": allows(request.user.roles, "weeks.plan"),
    }  # fmt: skip
    if plan is not None and found is not None:
        found.plan = plan
        based = version_of(plan, found.based_on)
        old = from_json(based.rounds) if based is not None else rounds_kept(plan)
        context["comparison"] = comparison(week, old, from_json(found.rounds), found.score.get("before"), found.score)
        context["out"] = out_said(found.run)
        context["calls"] = calls_told(found)
        context["notices"] = [
            (row, bound[1] if bound is not None and bound[0] == row.pk else NoticeForm.drafted(row))
            for row in found.notices.select_related("visit__site", "done_by")
        ]
    return render(request, "routes/week_proposal.html", context, status=status)


@requires("weeks.plan")
@require_POST
def proposal_notice(request: AuthedRequest, proposal_notice: UUID) -> HttpResponse:
    """Send the message as it now reads, or note that they were told by telephone."""
    found = ProposalNotice.objects.select_related("proposal__plan").filter(pk=proposal_notice).first()
    if found is None:
        raise Http404
    plan = found.proposal.plan
    if request.POST.get("told"):
        notices.notice_told(notice=found, actor=request.user)
        messages.success(request, _("Noted."))
        return redirect("routes:week-proposal", year=plan.iso_year, number=plan.iso_week)
    form = NoticeForm(request.POST, prefix=str(found.pk))
    if not form.is_valid():
        return _page(request, Week(plan.iso_year, plan.iso_week), bound=(found.pk, form), status=REFUSED)
    data = form.cleaned_data
    notices.notice_send(notice=found, to=[data["to"]], subject=data["subject"], body=data["body"], actor=request.user)
    messages.success(request, _("On its way."))
    return redirect("routes:week-proposal", year=plan.iso_year, number=plan.iso_week)
