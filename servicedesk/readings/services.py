"""Changes of readings and bands. A reading is never overwritten: a correction supersedes it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import hypot
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from servicedesk.consumables.models import Lot
from servicedesk.consumables.queries import is_usable
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import site_of
from servicedesk.people.models import User
from servicedesk.readings import queries
from servicedesk.readings.models import Band, BandTemplate, Method, Parameter, Reading, Sampling
from servicedesk.science import units


@dataclass(frozen=True, slots=True)
class TypedReading:
    """A value as somebody typed it: text and unit key, method key, reagent lot, whether oddness was confirmed."""

    parameter: str
    typed: str
    unit: str
    method: str = ""
    reagent_lot_id: int | None = None
    confirmed: bool = False


def canonical(parameter: Parameter, typed: str, unit: str) -> tuple[float, bool]:
    """(canonical value, below detection) of a typed value; ValidationError in words if it cannot be."""
    try:
        number = units.parse_number(typed)
        value = units.to_canonical(parameter.quantity, number.value, unit)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    if not parameter.possible_min <= value <= parameter.possible_max:
        raise ValidationError(
            _("%(name)s cannot be %(typed)s %(unit)s.")
            % {"name": parameter.name, "typed": typed, "unit": units.unit_of(parameter.quantity, unit).label}
        )
    return value, number.below


def is_odd(parameter: Parameter, typed: str, unit: str) -> bool:
    """Whether a value that may be lies outside the plausible: it is asked for once more, then kept and flagged."""
    value, below = canonical(parameter, typed, unit)
    return not below and not parameter.plausible_min <= value <= parameter.plausible_max


@transaction.atomic
def sampling_record(
    *,
    sampling_id: UUID,
    installation: Installation,
    taken_at: datetime,
    actor: User | None,
    source: str,
    readings: Sequence[TypedReading],
    point: str = "display",
    note: str = "",
) -> Sampling:
    """Store a sampling with its readings once; the same ``sampling_id`` again changes nothing.

    Raises ValidationError with a message per parameter key when a value is no number or impossible.
    """
    sampling, created = Sampling.objects.get_or_create(
        id=sampling_id,
        defaults={
            "installation": installation,
            "taken_at": taken_at,
            "taken_by": actor,
            "source": source,
            "point": point,
            "note": note,
        },
    )
    if not created:
        return sampling
    parameters, methods = queries.parameters(), queries.default_methods()
    problems: dict[str, list[str]] = {}
    rows, on = [], _day_there(sampling)
    for typed in readings:
        try:
            rows.append(_reading(sampling, parameters[typed.parameter], methods.get(typed.parameter), typed, on))
        except ValidationError as error:
            problems[typed.parameter] = error.messages
    if problems:
        raise ValidationError(problems)
    Reading.objects.bulk_create(rows)
    return sampling


def _day_there(sampling: Sampling) -> date:
    """The date of a sampling on the clock at the site."""
    site = site_of(sampling.installation, sampling.taken_at.date())
    return sampling.taken_at.astimezone(ZoneInfo(site.time_zone if site else "UTC")).date()


def _reading(sampling: Sampling, parameter: Parameter, usual: Method | None, typed: TypedReading, on: date) -> Reading:
    value, below = canonical(parameter, typed.typed, typed.unit)
    method = Method.objects.filter(pk=typed.method, parameter=parameter).first() or usual
    sd_abs, sd_rel = (method.sd_abs, method.sd_rel) if method else (parameter.sd_abs, parameter.sd_rel)
    lot = Lot.objects.select_related("item").filter(pk=typed.reagent_lot_id).first() if typed.reagent_lot_id else None
    return Reading(
        sampling=sampling,
        installation_id=sampling.installation_id,
        parameter=parameter,
        taken_at=sampling.taken_at,
        value=value,
        below_detection=below,
        sd=hypot(sd_abs, sd_rel * value),
        typed_value=typed.typed,
        typed_unit=typed.unit,
        method=method,
        reagent_lot=lot,
        reagent_expired=lot is not None and not is_usable(lot, on),
        confirmed_odd=typed.confirmed,
    )


@transaction.atomic
def reading_correct(*, reading: Reading, typed: TypedReading, actor: User) -> Reading:
    """Replace a reading by a corrected one; both stay, the old one points at the new."""
    old = Reading.objects.select_for_update().select_related("sampling", "parameter").get(pk=reading.pk)
    if old.superseded_by_id is not None:
        raise ValidationError(_("This reading was already corrected."))
    fresh = _reading(old.sampling, old.parameter, old.method, typed, _day_there(old.sampling))
    sampling = Sampling.objects.create(
        installation_id=old.installation_id,
        taken_at=old.taken_at,
        taken_by=actor,
        source=Sampling.Source.TYPED,
        point=old.sampling.point,
        note=_("correction"),
    )
    fresh.sampling = sampling
    fresh.save(force_insert=True)
    old.superseded_by = fresh
    old.save(update_fields=["superseded_by"])
    return fresh


@transaction.atomic
def bands_from_template(*, installation: Installation, actor: User | None) -> int:
    """Give an installation the usual bands of its kind where it has none; returns how many were added."""
    have = set(Band.objects.filter(installation=installation).values_list("parameter_id", flat=True))
    rows = [
        Band(
            installation=installation,
            parameter_id=template.parameter_id,
            alarm_low=template.alarm_low,
            low=template.low,
            target=template.target,
            high=template.high,
            alarm_high=template.alarm_high,
        )
        for template in BandTemplate.objects.filter(kind=installation.kind)
        if template.parameter_id not in have
    ]
    Band.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


@transaction.atomic
def band_save(*, band: Band, actor: User) -> Band:
    """Store an edited band."""
    band.full_clean()
    band.save()
    return band
