"""Gate codes: shown only to the technician on the round, on its day, and each time noted."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from servicedesk.clients.models import GateCode
from servicedesk.people.models import User
from servicedesk.routes.models import CodeReveal, Round
from servicedesk.routes.queries.round import times_published
from servicedesk.routes.times import DAY_S, midnight
from servicedesk.visits.models import Visit

AFTER_S = 2 * 3600
TO_BE_HELPED = (Visit.State.PUBLISHED, Visit.State.STARTED)


def codes_shown(round: Round, at: datetime) -> bool:
    """Whether it is the day of a published round, or still the end of it."""
    times = times_published(round)
    if times is None:
        return False
    start = midnight(round.date, ZoneInfo(round.technician.time_zone))
    return start <= at < start + timedelta(seconds=max(DAY_S, (times.return_s or 0) + AFTER_S))


@transaction.atomic
def code_reveal(*, round: Round, code: GateCode, at: datetime, actor: User) -> str:
    """The code in clear, noted in the log; refused to anybody else and on any other day."""
    times = times_published(round)
    if round.technician.user_id != actor.pk or times is None:
        raise ValidationError(_("Codes are shown only to the technician on this round."))
    if not codes_shown(round, at):
        raise ValidationError(_("Codes are shown on the day of the round only."))
    own = Q(technician=actor, pk__in=[stop.visit_id for stop in times.stops if not stop.helps])
    helped = Q(pk__in=[stop.visit_id for stop in times.stops if stop.helps], state__in=TO_BE_HELPED)
    if not Visit.objects.filter(own | helped, site=code.site_id).exists():
        raise ValidationError(_("This door is not on the round."))
    CodeReveal.objects.create(code=code, round=round, by=actor)
    return str(code.secret)
