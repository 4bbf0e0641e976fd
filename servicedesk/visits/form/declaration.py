"""Build the declaration of a visit's form from what stands at the site."""

from datetime import datetime
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.care.programme import Setting, settings_for
from servicedesk.common.display import DisplayUnits, current_display
from servicedesk.consumables.queries import Balance, is_usable, lot_dead_on
from servicedesk.installations.models import Installation, PlantCheck, PlantItem
from servicedesk.installations.plant_checks import CheckSpec, checks_for
from servicedesk.readings.models import Band, Reading
from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.water import dosing
from servicedesk.visits.form.context import VisitContext
from servicedesk.visits.form.fields import Field, Form, Group, Step

DAY_S = 86_400
MAX_HAND_ONS = 3


def build(context: VisitContext) -> Form:
    """The declaration of the whole form."""
    steps = (
        Step("arrive", _("Arrive"), (_arrive(context),)),
        Step("look", _("Look"), tuple(_look(installation) for installation in context.installations)),
        Step("test", _("Test"), tuple(_tests(context))),
        Step("plant", _("Plant"), tuple(_plant(context))),
        Step("do", _("Do"), tuple(_tasks(context))),
        Step("set", _("Set"), tuple(_settings(context))),
        Step("use", _("Use"), ()),
        Step("sign", _("Sign"), tuple(_sign(context))),
    )
    return Form(str(context.visit.pk), context.zone.key, steps)


def _arrive(context: VisitContext) -> Group:
    return Group("arrive", _("At the door"), (Field("arrive.at", "time", _("Arrived at")),))


def _look(installation: Installation) -> Group:
    prefix = f"look.{installation.pk}"
    options = (("good", _("fine")), ("watch", _("watch it")), ("bad", _("bad")))
    return Group(
        prefix,
        str(installation),
        (
            Field(f"{prefix}.animals", "choice", _("Animals by eye"), options=options, bad=("bad",), may_skip=True),
            Field(f"{prefix}.water", "choice", _("Water by eye"), options=options, bad=("bad",), may_skip=True),
            Field(f"{prefix}.note", "text", _("What you saw")),
        ),
        installation=installation.pk,
    )


def _tests(context: VisitContext) -> list[Group]:
    groups = []
    for installation in context.installations:
        recent = context.recent.get(installation.pk, {})
        for band in context.bands.get(installation.pk, []):
            readings = recent.get(band.parameter_id, [])
            if band.parameter.at_each_visit or readings:
                groups.append(_test(context, installation, band, readings))
    return groups


def _test(context: VisitContext, installation: Installation, band: Band, readings: list[Reading]) -> Group:
    parameter, key = band.parameter, f"test.{installation.pk}.{band.parameter_id}"
    shown = display_unit(parameter.quantity)
    last = readings[-1] if readings else None
    fields = [
        Field(
            key,
            "number",
            parameter.name,
            quantity=parameter.quantity,
            units=_units(parameter.quantity),
            unit=shown,
            before=_last_words(last, parameter.quantity, shown, context),
            band_words=band_words(band, shown),
            live=live_declaration(context, installation, band, last),
            may_skip=True,
        )
    ]
    lots = _reagent_lots(context, band.parameter_id)
    if lots:
        fields.append(Field(f"{key}.lot", "lot", _("Reagent lot"), options=lots, initial=_first_usable(context, lots)))
    product = _product(band)
    if product is not None:
        fields.append(
            Field(
                f"dose.{installation.pk}.{band.parameter_id}",
                "number",
                _("Added now: %(product)s") % {"product": product.name},
                quantity="mass",
                units=_units("mass"),
                unit="g",
                help=_("What you really added. It is booked as used and counted in the consumption."),
            )
        )
        stock = _product_lots(context, product.key)
        if stock:
            fields.append(
                Field(
                    f"dose.{installation.pk}.{band.parameter_id}.lot",
                    "lot",
                    _("From"),
                    options=stock,
                    initial=_first_usable(context, stock),
                )
            )
    return Group(key, parameter.name, tuple(fields), installation=installation.pk, reference=band.parameter_id)


def live_declaration(
    context: VisitContext, installation: Installation, band: Band, last: Reading | None
) -> dict[str, Any]:
    """The declaration that ``science.live`` computes from."""
    parameter = band.parameter
    now = context.visit.started_at or context.now
    product = _product(band)
    local = now.astimezone(context.zone)
    dose = None
    if product is not None and parameter.rise_per_day:
        start = local.hour * 60 + (local.minute // 15 + 1) * 15
        dose = {
            "product": product.as_json(),
            "volume_l": installation.net_volume_l,
            "rise_per_day": parameter.rise_per_day,
            "start_min": start,
        }
    return {
        "quantity": parameter.quantity,
        "possible": [parameter.possible_min, parameter.possible_max],
        "plausible": [parameter.plausible_min, parameter.plausible_max],
        "sd": max(parameter.sd_abs, parameter.sd_rel * band.target),
        "band": {key: getattr(band, key) for key in ("alarm_low", "low", "target", "high", "alarm_high")},
        "last": None
        if last is None
        else {"value": last.value, "days": (now - last.taken_at).total_seconds() / DAY_S, "sd": last.sd},
        "dose": dose,
    }


def _product(band: Band) -> dosing.Product | None:
    key = band.product or dosing.USUAL_PRODUCT.get(band.parameter_id, "")
    return dosing.PRODUCTS.get(key)


def _plant(context: VisitContext) -> list[Group]:
    groups = []
    for installation in context.installations:
        for item in context.plant.get(installation.pk, []):
            specs = checks_for(item.kind)
            if specs:
                groups.append(_plant_item(context, item, specs))
    return groups


def _plant_item(context: VisitContext, item: PlantItem, specs: tuple[CheckSpec, ...]) -> Group:
    fields = [check for spec in specs for check in _check(context, item, spec)]
    nameplate = [item.model, f"{item.power_w:g} W" if item.power_w else ""]
    if item.capacity:
        nameplate.append(f"{item.capacity:g} {item.capacity_unit}".strip())
    return Group(
        f"plant.{item.pk}",
        f"{item.label} · {item.get_kind_display()}",
        tuple(fields),
        note=" · ".join(part for part in [*nameplate, item.where] if part),
        installation=item.installation_id,
        reference=str(item.pk),
    )


def _check(context: VisitContext, item: PlantItem, spec: CheckSpec) -> list[Field]:
    done = context.checks.get(item.pk, {})
    key, last = f"plant.{item.pk}.{spec.key}", done.get((spec.key, PlantCheck.Moment.FOUND))
    shown = display_unit(spec.quantity) if spec.quantity else ""
    common: dict[str, Any] = {
        "quantity": spec.quantity,
        "units": _units(spec.quantity) if spec.quantity else (),
        "unit": shown,
        "low": spec.low,
        "high": spec.high,
    }
    before = _check_words(spec, last, shown)
    if spec.choices:
        options = tuple((word, str(label)) for word, label in spec.choices)
        fields = [
            Field(
                key,
                "choice",
                str(spec.label),
                options=options,
                before=before,
                caution=str(spec.caution),
                bad=tuple(spec.bad_words),
                safety=spec.safety,
                may_skip=True,
            )
        ]
        if spec.safety:
            fields.append(Field(f"{key}.safe", "line", _("If it failed: made safe how, by whom, what now")))
        return fields
    name = f"{spec.label}, {_('as found')}" if spec.as_left else str(spec.label)
    fields = [Field(key, "number", name, before=before, caution=str(spec.caution), may_skip=True, **common)]
    if spec.as_left:
        left = done.get((spec.key, PlantCheck.Moment.LEFT))
        fields.append(
            Field(
                f"{key}.left",
                "number",
                f"{spec.label}, {_('as left')}",
                before=_check_words(spec, left, shown),
                **common,
            )
        )
    return fields


def _check_words(spec: CheckSpec, last: PlantCheck | None, shown: str) -> str:
    if last is None:
        return ""
    day = date_format(last.at, "j M")
    if last.value is None:
        words = {word: str(label) for word, label in spec.choices}
        return f"{words.get(last.word, last.word)} · {day}"
    return f"{units.show(spec.quantity, last.value, shown)} · {day}"


def _tasks(context: VisitContext) -> list[Group]:
    options = (("done", _("done")), ("not_done", _("not done")))
    return [
        Group(
            f"do.{task.pk}",
            task.title,
            (
                Field(f"do.{task.pk}", "choice", task.title, options=options, bad=("not_done",), may_skip=True),
                Field(f"do.{task.pk}.note", "line", _("Note")),
            ),
            note=" · ".join(
                part
                for part in [str(task.installation or ""), str(task.get_origin_display()), str(task.plant_item or "")]
                if part
            ),
            installation=task.installation_id,
            reference=str(task.pk),
        )
        for task in context.tasks
    ]


def _settings(context: VisitContext) -> list[Group]:
    groups = []
    for installation in context.installations:
        kinds = {item.kind for item in context.plant.get(installation.pk, [])}
        current, wanted = context.programmes.get(installation.pk), context.approved.get(installation.pk)
        stands = current.settings if current else {}
        asked = wanted.settings if wanted else {}
        fields = tuple(_setting(installation, setting, stands, asked) for setting in settings_for(kinds))
        note = _("The lead aquarist asks for new settings: %(reason)s") % {"reason": wanted.reason} if wanted else ""
        groups.append(
            Group(f"set.{installation.pk}", str(installation), fields, note=note, installation=installation.pk)
        )
    return groups


def _setting(installation: Installation, setting: Setting, stands: dict[str, Any], asked: dict[str, Any]) -> Field:
    shown = display_unit(setting.quantity) if setting.quantity else ""
    before = _setting_words(setting, stands.get(setting.key), shown)
    asks = ""
    if setting.key in asked and asked[setting.key] != stands.get(setting.key):
        asks = _("set to %(value)s") % {"value": _setting_words(setting, asked[setting.key], shown)}
    return Field(
        f"set.{installation.pk}.{setting.key}",
        "clock" if setting.kind == "clock" else "number",
        str(setting.label),
        quantity=setting.quantity,
        units=_units(setting.quantity) if setting.quantity else (),
        unit=shown,
        before=before,
        help=asks,
        low=setting.minimum,
        high=setting.maximum,
    )


def _setting_words(setting: Setting, value: Any, shown: str) -> str:
    if value is None:
        return ""
    return units.show(setting.quantity, value, shown) if setting.quantity else str(value)


def _sign(context: VisitContext) -> list[Group]:
    items = tuple((str(item.pk), f"{item.name} ({item.get_unit_display()})") for item in context.items.values())
    next_fields = [
        field
        for number in range(1, MAX_HAND_ONS + 1)
        for field in (
            Field(f"next.{number}.text", "line", _("Note %(number)s") % {"number": number}),
            Field(f"next.{number}.item", "lot", _("bring along"), options=items),
            Field(f"next.{number}.quantity", "number", _("how much")),
        )
    ]
    how = (("drawn", _("signs")), ("absent", _("nobody there")), ("refused", _("refuses")))
    return [
        Group(
            "notes",
            _("Notes"),
            (
                Field("notes.client", "text", _("For the client (goes into the report)")),
                Field("notes.office", "text", _("For the office (stays with us)")),
            ),
        ),
        Group("next", _("For whoever comes next"), tuple(next_fields)),
        Group("leave", _("Leaving"), (Field("leave.at", "time", _("Finished at")),)),
        Group(
            "sign.technician",
            _("Your signature"),
            (
                Field("sign.technician.name", "line", _("Your name"), initial=str(context.visit.technician or "")),
                Field("sign.technician.strokes", "signature", _("Sign here")),
            ),
        ),
        Group(
            "sign.client",
            _("For the client"),
            (
                Field("sign.client.how", "choice", _("The client's representative"), options=how),
                Field("sign.client.name", "line", _("Name")),
                Field("sign.client.reason", "line", _("If not signed: why")),
                Field("sign.client.strokes", "signature", _("Sign here")),
            ),
        ),
    ]


def _units(quantity: str) -> tuple[tuple[str, str], ...]:
    return tuple((unit.key, unit.label) for unit in QUANTITIES[quantity])


def display_unit(quantity: str, display: DisplayUnits | None = None) -> str:
    """The unit key in which a quantity is shown to the current person."""
    known = [unit.key for unit in QUANTITIES[quantity]]
    chosen = (display or current_display()).unit_for(quantity)
    return chosen if chosen in known else known[0]


def band_words(band: Band, unit: str) -> str:
    """The band in the unit shown, e.g. "7.3 – 9.0 dKH"."""
    quantity = band.parameter.quantity
    found = units.unit_of(quantity, unit)
    low, high = sorted(units.from_canonical(quantity, edge, unit) for edge in (band.low, band.high))
    return f"{low:.{found.digits}f} – {high:.{found.digits}f} {found.label}".strip()


def _last_words(last: Reading | None, quantity: str, shown: str, context: VisitContext) -> str:
    if last is None:
        return ""
    sign = "< " if last.below_detection else ""
    return f"{sign}{units.show(quantity, last.value, shown)} · {_ago(last.taken_at, context)}"


def _ago(at: datetime, context: VisitContext) -> str:
    return date_format(at.astimezone(context.zone), "D j M")


def _reagent_lots(context: VisitContext, parameter: str) -> tuple[tuple[str, str], ...]:
    return lot_options(context, [row for row in context.stock if row.item.parameter == parameter])


def _product_lots(context: VisitContext, product: str) -> tuple[tuple[str, str], ...]:
    return lot_options(context, [row for row in context.stock if row.item.product == product])


def lot_options(context: VisitContext, rows: list[Balance]) -> tuple[tuple[str, str], ...]:
    """Options "lot id:place id" with what a person reads off the bottle; expired ones say so."""
    options = []
    for row in rows:
        if row.quantity <= 0:
            continue
        words = f"{row.item.name}, {row.lot.code if row.lot else _('no lot')}, {row.place.name}"
        if not is_usable(row.lot, context.day):
            dead = lot_dead_on(row.lot)
            words += " – " + (_("expired %(day)s") % {"day": date_format(dead, "j M Y")} if dead else _("blocked"))
        options.append((f"{row.item.pk}:{row.lot.pk if row.lot else ''}:{row.place.pk}", words))
    return tuple(options)


def _first_usable(context: VisitContext, options: tuple[tuple[str, str], ...]) -> str:
    usable = {
        f"{row.item.pk}:{row.lot.pk if row.lot else ''}:{row.place.pk}"
        for row in context.stock
        if is_usable(row.lot, context.day)
    }
    return next((key for key, _words in options if key in usable), options[0][0] if options else "")
