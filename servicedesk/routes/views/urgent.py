"""Urgent call: find the site, see who could be there and what it breaks, choose, tell who moves."""

from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from servicedesk.clients.models import Site
from servicedesk.common.ids import new_id
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.people.permissions import allows
from servicedesk.routes.hours_forms import ChoiceForm, UrgentForm
from servicedesk.routes.models import MoveNotice, UrgentCall
from servicedesk.routes.notice_forms import NoticeForm
from servicedesk.routes.queries.urgent import Asked, answer, call_open, given_words, hits
from servicedesk.routes.services import notices
from servicedesk.routes.services import urgent as services
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.routes.services.withdrawing import call_withdraw
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

STALE, REFUSED = 409, 422


@requires("visits.plan")
@require_GET
def search(request: AuthedRequest) -> HttpResponse:
    """A few letters to the site, as they are typed."""
    letters = request.GET.get("q", "").strip()[:80]
    context = {"letters": letters, "hits": hits(letters), "calls": _recent()}
    template = "routes/parts/urgent_hits.html" if request.htmx else "routes/urgent.html"
    return render(request, template, context)


def _recent() -> list[UrgentCall]:
    rows = UrgentCall.objects.select_related("visit__site", "technician__user")
    return list(rows.prefetch_related("notices")[:8])


def _asked(site: Site, form: UrgentForm) -> Asked:
    data = form.cleaned_data if form.is_bound and form.is_valid() else {}
    return Asked(
        site=site,
        what=data.get("what", ""),
        duration_min=data.get("duration_min") or 90,
        any_hour=data.get("any_hour", False),
        machine_kind=data.get("machine_kind", ""),
        more_needs=tuple(data.get("more_needs", ())),
        days=data.get("days") or 2,
    )


@requires("visits.plan")
@require_http_methods(["GET", "POST"])
def site(request: AuthedRequest, site: int) -> HttpResponse:
    """Who could be there when, side by side; POST takes one of the ways."""
    found = get_object_or_404(Site.objects.select_related("client"), pk=site, archived_at=None)
    values = request.POST if request.method == "POST" else request.GET
    form = UrgentForm(values if "duration_min" in values else None)
    told: dict[str, object] = {}
    status = REFUSED if form.errors else 200
    if request.method == "POST" and not form.errors:
        choice = ChoiceForm(request.POST)
        if not choice.is_valid():
            told, status = {"refused": [_("Choose one of the ways below.")]}, REFUSED
        else:
            try:
                call = services.call_assign(
                    visit_id=choice.cleaned_data["token"], asked=_asked(found, form), key=choice.cleaned_data["key"],
                    version=choice.cleaned_data["version"], now=timezone.now(), actor=request.user,
                )  # fmt: skip
            except StaleWeekError as stale:
                told, status = {"stale": stale.plan}, STALE
            except RuleBrokenError as refused:
                told, status = {"refused": refused.sentences}, REFUSED
            else:
                return redirect("routes:urgent-call", visit=call.visit_id)
    given = call_open(found)
    context = {
        "site": found,
        "given": given,
        "given_words": given_words(given) if given is not None else "",
        "form": form,
        "answer": None if form.errors else answer(_asked(found, form), timezone.now()),
        "token": new_id(),
        "contacts": found.client.contacts.filter(archived_at=None)[:6],
        **told,
    }
    part = request.htmx and request.method == "GET"
    return render(
        request, "routes/parts/urgent_ways.html" if part else "routes/urgent_site.html", context, status=status
    )


@requires("visits.plan")
@require_GET
def call(request: AuthedRequest, visit: UUID) -> HttpResponse:
    """What was chosen, what moved, and the messages to those who move."""
    return _call_page(request, visit)


@requires("visits.plan")
@require_POST
def withdraw(request: AuthedRequest, visit: UUID) -> HttpResponse:
    """Take the call back, then choose somebody else with what was typed still there."""
    found = get_object_or_404(
        UrgentCall.objects.select_related("visit__site", "technician__user", "round"), visit=visit
    )
    what, duration_min = found.visit.due_why, found.visit.duration_min
    try:
        call_withdraw(call=found, actor=request.user)
    except RuleBrokenError as refused:
        for sentence in refused.sentences:
            messages.error(request, sentence)
        return redirect("routes:urgent-call", visit=visit)
    messages.success(request, _("The call was taken back from %(name)s.") % {"name": found.technician})
    typed = urlencode({"what": what, "duration_min": duration_min, "days": 2})
    return redirect(f"{reverse('routes:urgent-site', args=[found.visit.site_id])}?{typed}")


def _call_page(request: AuthedRequest, visit: UUID, bound: tuple[UUID, NoticeForm] | None = None) -> HttpResponse:
    calls = UrgentCall.objects.select_related("visit__site__client", "technician__user", "machine", "round", "by")
    found = get_object_or_404(calls, visit=visit)
    rows = []
    for notice in found.notices.select_related("visit__site", "done_by"):
        form = bound[1] if bound and bound[0] == notice.pk else NoticeForm.drafted(notice)
        rows.append((notice, form))
    changes = list(found.round.changes.all()[:1]) if found.round else []
    context = {
        "call": found,
        "may_withdraw": found.visit.state in OPEN,
        "notices": rows,
        "change": changes[0] if changes else None,
        "off": _names(found.choice.get("taken_off", [])),
        "may_see_week": allows(request.user.roles, "weeks.see"),
        "week": found.date.isocalendar(),
    }
    return render(request, "routes/urgent_call.html", context, status=REFUSED if bound else 200)


def _names(ids: list[str]) -> list[str]:
    return [str(row.site) for row in Visit.objects.filter(pk__in=ids).select_related("site")]


@requires("visits.plan")
@require_POST
def notice(request: AuthedRequest, notice: UUID) -> HttpResponse:
    """Send the message as it now reads, or note that they were told by telephone."""
    found = get_object_or_404(MoveNotice.objects.select_related("call"), pk=notice)
    if request.POST.get("told"):
        notices.notice_told(notice=found, actor=request.user)
        messages.success(request, _("Noted."))
        return redirect("routes:urgent-call", visit=found.call.visit_id)
    form = NoticeForm(request.POST, prefix=str(found.pk))
    if not form.is_valid():
        return _call_page(request, found.call.visit_id, (found.pk, form))
    data = form.cleaned_data
    notices.notice_send(notice=found, to=[data["to"]], subject=data["subject"], body=data["body"], actor=request.user)
    messages.success(request, _("On its way."))
    return redirect("routes:urgent-call", visit=found.call.visit_id)
