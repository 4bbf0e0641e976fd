"""Cadence: a look ahead over the weeks, and other days it proposes for agreements."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes import cadence_documents as documents
from servicedesk.routes.cadence_models import CadenceProposal
from servicedesk.routes.queries import cadence as queries
from servicedesk.routes.services import cadence as services

PAGE = 25


@requires("weeks.see")
@require_GET
def cadence(request: AuthedRequest) -> HttpResponse:
    """The weeks as they are and as proposed, and each agreement that could sit better."""
    newest, done = queries.newest_look(), queries.last_done()
    context: dict[str, Any] = {
        "newest": newest,
        "active": newest is not None and newest.state in services.ACTIVE,
        "look": done,
        "may_plan": allows(request.user.roles, "weeks.plan"),
        "weeks": queries.WEEKS,
    }
    if done is not None:
        page = Paginator(queries.proposals_of(done), PAGE).get_page(request.GET.get("page"))
        context |= {
            "page": page,
            "proposals": [documents.proposal_row(row, done.weeks) for row in page],
            "figures": documents.figures(done),
            "chart": documents.chart(done),
            "rows": documents.week_rows(done),
            "people_have": documents.hours_people_have(done),
        }
    return render(request, "routes/cadence.html", context)


@requires("weeks.plan")
@require_POST
def look(request: AuthedRequest) -> HttpResponse:
    """Ask the worker to look ahead."""
    services.look_request(today=timezone.localdate(), actor=request.user)
    return redirect("routes:cadence")


@requires("weeks.see")
@require_GET
def progress(request: AuthedRequest) -> HttpResponse:
    """How far the look is; once it has ended the page loads itself anew."""
    newest = queries.newest_look()
    active = newest is not None and newest.state in services.ACTIVE
    response = render(request, "routes/parts/cadence_progress.html", {"newest": newest, "active": active})
    if not active:
        response["HX-Refresh"] = "true"
    return response


@requires("weeks.plan")
@require_POST
def decide(request: AuthedRequest, proposal: int) -> HttpResponse:
    """Accept or refuse what is proposed for one agreement."""
    found = get_object_or_404(CadenceProposal.objects.select_related("agreement__site"), pk=proposal)
    accept = request.POST.get("answer") == "accept"
    try:
        if accept:
            decided = services.proposal_accept(proposal=found, actor=request.user)
            words = _("%(site)s: the new days begin on %(day)s.")
            messages.success(
                request, words % {"site": found.agreement.site, "day": date_format(decided.first_on, "D j M Y")}
            )
        else:
            services.proposal_refuse(proposal=found, actor=request.user)
            messages.success(request, _("%(site)s: stays as it is.") % {"site": found.agreement.site})
    except ValidationError as error:
        messages.error(request, f"{found.agreement.site}: {' '.join(error.messages)}")
    return redirect("routes:cadence")
