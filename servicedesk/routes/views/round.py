"""My round, and the round sheet on paper."""

from datetime import date, timedelta

from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST

from servicedesk.clients.models import GateCode
from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes import documents
from servicedesk.routes.queries import round as queries
from servicedesk.routes.services.codes import code_reveal, codes_shown
from servicedesk.routes.views.live import live_context


@never_cache
@requires("round.see")
@require_GET
def my_round(request: AuthedRequest, day: date | None = None, technician: int | None = None) -> HttpResponse:
    """A day's stops in order. Technicians see their own; planner, lead aquarist and owner choose whose."""
    who = queries.technician_for(request.user, technician)
    chooser = queries.technicians_on(day or timezone.localdate()) if queries.may_see_any_round(request.user) else None
    if who is None:
        context: dict[str, object] = {"day": day or timezone.localdate(), "technicians": chooser}
        return render(request, "routes/choose_round.html", context)
    today = queries.today_of(who)
    shown = day or today
    own = who.user_id == request.user.pk
    view = queries.round_view(who, shown, draft=False)
    context = {
        "round": view,
        "day": shown,
        "today": today,
        "previous": shown - timedelta(days=1),
        "next": shown + timedelta(days=1),
        "own": own,
        "codes_shown": view.round is not None and codes_shown(view.round, timezone.now()),
        "technicians": chooser,
        "ribbon": documents.ribbon_of(view),
        **live_context(request, view),
    }
    return render(request, "routes/my_round.html", context)


@requires("round.see")
@require_GET
def sheet(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    """The round sheet on screen, ready to print."""
    context = documents.sheet_context(_view_for(request, day, technician))
    return render(request, "routes/round_sheet.html", context)


@requires("round.see")
@require_GET
def sheet_pdf(request: AuthedRequest, day: date, technician: int) -> HttpResponse:
    view = _view_for(request, day, technician)
    response = HttpResponse(documents.sheet_pdf(view), content_type="application/pdf")
    name = f"round-{view.technician.initials}-{day:%Y-%m-%d}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _view_for(request: AuthedRequest, day: date, technician: int) -> queries.RoundView:
    who = queries.technician_for(request.user, technician)
    if who is None:
        raise Http404
    published = queries.round_view(who, day, draft=False)
    if published.is_driven or not queries.may_see_any_round(request.user):
        return published
    return queries.round_view(who, day, draft=True)


@requires("round.see")
@require_POST
def code(request: AuthedRequest, day: date, code: int) -> HttpResponse:
    """Show a door code to whoever is on the round."""
    who = queries.technician_for(request.user, None)
    row = queries.round_of(who, day) if who else None
    if row is None:
        raise Http404
    found = get_object_or_404(GateCode, pk=code, archived_at=None)
    try:
        secret, refusal = code_reveal(round=row, code=found, at=timezone.now(), actor=request.user), ""
    except ValidationError as error:
        secret, refusal = "", " ".join(error.messages)
    context = {"code": found, "secret": secret, "refusal": refusal}
    # The page puts a refusal in the button's place: htmx leaves an answer of 403 out.
    refused = 200 if request.headers.get("HX-Request") else 403
    response = render(request, "routes/parts/code.html", context, status=200 if secret else refused)
    response["Cache-Control"] = "no-store"
    return response
