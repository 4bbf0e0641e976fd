"""Cost to serve: hours and kilometres by month, person and city, and what a prospective site would add."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from servicedesk.people.access import AuthedRequest, requires
from servicedesk.routes.hours_forms import ProspectForm
from servicedesk.routes.queries import costs as queries
from servicedesk.routes.queries.hours import Month
from servicedesk.routes.queries.prospect import Prospect, fits, typical_weeks

MONTHS = 3


@requires("weeks.see")
@require_GET
def costs(request: AuthedRequest) -> HttpResponse:
    """Three months up to the one asked for, from actual rounds."""
    last = Month.typed(request.GET.get("month", ""), timezone.localdate())
    if last is None:
        raise Http404
    months = queries.months_back(last, MONTHS)
    return render(request, "routes/costs.html", {"costs": queries.costs(months), "month": last})


@requires("weeks.see")
@require_GET
def prospect(request: AuthedRequest) -> HttpResponse:
    """What a site would cost before it is quoted; nothing is stored."""
    weeks = typical_weeks()
    form = ProspectForm(request.GET if "at" in request.GET else None, weeks=weeks)
    context: dict[str, object] = {"form": form, "weeks": weeks}
    if form.is_bound and form.is_valid():
        data = form.cleaned_data
        week = data.pop("week")
        found = Prospect(**(data | {"needs": tuple(data["needs"])}))
        context |= {"prospect": found, "fits": fits(found, week)}
    return render(request, "routes/prospect.html", context, status=422 if form.errors else 200)
