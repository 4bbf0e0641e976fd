"""What an installation and an instrument already know of a worksheet's inputs."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db.models import F, Sum
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.care.queries import programme_in_force
from servicedesk.installations.models import Animal, Installation, PlantCheck, PlantItem, PlantKind
from servicedesk.readings.models import Instrument, Reading
from servicedesk.readings.queries import bands, parameters, standing
from servicedesk.science.units import to_canonical
from servicedesk.science.worksheets.declare import AnyInput, Choice, Input, Rows, Worksheet
from servicedesk.science.worksheets.typed import find_unit
from servicedesk.worksheets.models import KeptWorksheet
from servicedesk.worksheets.queries import INSTRUMENT, kept_for

# what a sheet recalls → the worksheet and its output that found it; "kept.SHEET.OUTPUT" names both itself
FOUND_BY: dict[str, tuple[str, str]] = {
    "demand.alkalinity": ("alkalinity-demand", "used_meq_l_day"),
    "demand.calcium": ("calcium-demand", "used_mg_l_day"),
    "demand.magnesium": ("magnesium-demand", "used_mg_l_day"),
    "fitted.photosynthesis": ("ph-over-the-day", "photosynthesis_umol_kg_day"),
    "fitted.respiration": ("ph-over-the-day", "respiration_umol_kg_day"),
    "fitted.exchange": ("ph-over-the-day", "exchange_per_h"),
}


def found_by(what: str) -> tuple[str, str] | None:
    """The worksheet and the output that a recall key asks for."""
    room, _dot, rest = what.partition(".")
    if room == "kept":
        sheet, _dot, output = rest.partition(".")
        return sheet, output
    return FOUND_BY.get(what)


# facts of the place that one sheet may take from another
OF_THE_PLACE = {
    "surface_m2", "wall_m2", "material", "panel_m", "lid_pct", "room_c", "room_humidity_pct", "altitude_m", "air_m_s",
    "water_state", "evaporation_factor", "room_co2_ppm", "lime_temp_c", "feed_temp_c", "feed_kpa", "tds_mg_l",
    "bore_mm", "rock_kg", "sand_kg", "steady_w",
}  # fmt: skip
INSTRUMENTS = "Instruments"
PUMPS = {PlantKind.RETURN_PUMP, PlantKind.FLOW_PUMP}


@dataclass(frozen=True, slots=True)
class Recalled:
    """A canonical value (or an option's key, or a clock time in hours) and where it comes from, in words."""

    value: float | str
    whence: str


def recall(sheet: Worksheet, installation: Installation | None, instrument: Instrument | None) -> dict[str, Recalled]:
    """What is known, by input key; values outside an input's range are left out."""
    memory = _Memory(installation) if installation else None
    found: dict[str, Recalled] = {}
    for item in sheet.inputs:
        if item.recall.startswith(INSTRUMENT):
            known = _of_instrument(item.recall.removeprefix(INSTRUMENT), instrument)
        else:
            known = memory.find(item) or memory.typed_before(sheet, item) if memory else None
        if known is not None and _fits(item, known.value):
            found[item.key] = known
    return found


def _of_instrument(field: str, instrument: Instrument | None) -> Recalled | None:
    if instrument is None or field not in instrument.data:
        return None
    return Recalled(instrument.data[field], instrument.name)


def _fits(item: AnyInput, value: float | str) -> bool:
    if isinstance(item, Choice):
        return value in dict(item.options)
    return isinstance(item, Input) and isinstance(value, int | float) and item.low <= value <= item.high


class _Memory:
    """An installation's data, each kind read at most once."""

    def __init__(self, installation: Installation) -> None:
        self.installation = installation

    def find(self, item: AnyInput) -> Recalled | None:
        if not item.recall:
            return None
        room, _dot, name = item.recall.partition(".")
        finders: dict[str, Callable[[str], Recalled | None]] = {
            "reading": self._reading,
            "previous": self._previous,
            "between": self._between,
            "target": self._target,
            "limit": self._limit,
            "sd": self._sd,
            "product": self._product,
            "check": self._check,
            "programme": self._programme,
        }
        source = found_by(item.recall)
        if source is not None:
            return self._found(*source)
        if room == "plant" and isinstance(item, Input):
            return self._plant(name, item)
        if room in finders:
            return finders[room](name)
        return self._own(item.recall)

    def typed_before(self, sheet: Worksheet, item: AnyInput) -> Recalled | None:
        """What stood in this input when the sheet was last kept here, or on any sheet for a fact of the place."""
        if isinstance(item, Rows) or sheet.subject == INSTRUMENTS or (item.recall and item.key not in OF_THE_PLACE):
            return None
        for row in self._kept_lately:
            if row.worksheet != sheet.name and item.key not in OF_THE_PLACE:
                continue
            for typed in row.record["inputs"]:
                alike = typed["key"] == item.key and typed["label"] == item.label
                if alike and isinstance(typed["value"], int | float | str):
                    day = date_format(row.kept_at.date())
                    return Recalled(typed["value"], _("typed on %(day)s, %(sheet)s") % {"day": day, "sheet": row.title})
        return None

    @cached_property
    def _kept_lately(self) -> list[KeptWorksheet]:
        return list(kept_for(self.installation)[:60])

    def _own(self, what: str) -> Recalled | None:
        system = self.installation
        known: dict[str, float | None] = {
            "net_volume": system.net_volume_l,
            "display_volume": system.display_l,
            "sump_volume": system.sump_l,
            "evaporation": system.evaporation_l_day,
            "animals.fish_kg": self._fish_kg if what == "animals.fish_kg" else None,
        }
        value = known.get(what)
        return Recalled(value, _("of the system")) if value else None

    @cached_property
    def _fish_kg(self) -> float | None:
        fish = Animal.objects.filter(installation=self.installation, group=Animal.Group.FISH, left_on=None)
        grams = fish.exclude(mass_g=None).aggregate(all=Sum(F("mass_g") * F("count")))["all"]
        return grams / 1000 if grams else None

    @cached_property
    def _pairs(self) -> dict[str, list[Reading]]:
        """The last two readings of each parameter, newest first."""
        found: dict[str, list[Reading]] = {}
        for row in standing(self.installation).order_by("-taken_at")[:200]:
            pair = found.setdefault(row.parameter_id, [])
            if len(pair) < 2:
                pair.append(row)
        return found

    @cached_property
    def _bands(self) -> dict[str, Any]:
        return dict(bands(self.installation))

    @cached_property
    def _parameters(self) -> dict[str, Any]:
        return dict(parameters())

    def _reading(self, key: str) -> Recalled | None:
        pair = self._pairs.get(key)
        return _read(pair[0]) if pair else None

    def _previous(self, key: str) -> Recalled | None:
        pair = self._pairs.get(key, [])
        return _read(pair[1]) if len(pair) > 1 else None

    def _between(self, key: str) -> Recalled | None:
        pair = self._pairs.get(key, [])
        if len(pair) < 2:
            return None
        days = (pair[0].taken_at - pair[1].taken_at).total_seconds() / 86400
        return Recalled(round(days, 2), _("between the last two readings"))

    def _target(self, key: str) -> Recalled | None:
        return Recalled(self._bands[key].target, _("target of the band")) if key in self._bands else None

    def _limit(self, key: str) -> Recalled | None:
        parameter = self._parameters.get(key)
        if parameter is None or not parameter.rise_per_day:
            return None
        return Recalled(parameter.rise_per_day, _("our greatest rise a day"))

    def _sd(self, key: str) -> Recalled | None:
        pair = self._pairs.get(key)
        return Recalled(pair[0].sd, _("of the method last used")) if pair and pair[0].sd else None

    def _product(self, key: str) -> Recalled | None:
        band = self._bands.get(key)
        return Recalled(band.product, _("used here")) if band is not None and band.product else None

    @cached_property
    def _plant_items(self) -> list[PlantItem]:
        return list(PlantItem.objects.filter(installation=self.installation, removed_on=None))

    def _plant(self, name: str, item: Input) -> Recalled | None:
        kind, _dot, what = name.partition(".")
        if what == "power":
            return self._power(kind)
        for row in self._plant_items:
            if row.kind == kind and (value := _capacity(row, item.quantity)):
                return Recalled(value, row.label)
        return None

    def _power(self, kind: str) -> Recalled | None:
        """The input of all machines of a kind together."""
        kinds = PUMPS if kind == "pumps" else {kind}
        machines = [row for row in self._plant_items if row.kind in kinds and row.power_w]
        if not machines:
            return None
        return Recalled(sum(row.power_w or 0.0 for row in machines), ", ".join(row.label for row in machines))

    @cached_property
    def _checks(self) -> dict[tuple[str, str], PlantCheck]:
        rows = PlantCheck.objects.filter(plant_item__in=self._plant_items).exclude(value=None)
        newest = (
            rows.select_related("plant_item").order_by("plant_item_id", "key", "-at").distinct("plant_item_id", "key")
        )
        return {(row.plant_item.kind, row.key): row for row in newest}

    def _check(self, name: str) -> Recalled | None:
        kind, _dot, key = name.partition(".")
        row = self._checks.get((kind, key))
        if row is not None and row.value is not None:
            return Recalled(row.value, f"{row.plant_item.label}, {date_format(row.at.date())}")
        for machine in self._plant_items:
            if machine.kind == kind and machine.settings.get(key) is not None:
                return Recalled(machine.settings[key], machine.label)
        return None

    @cached_property
    def _settings(self) -> dict[str, Any]:
        version = programme_in_force(self.installation)
        return version.settings if version else {}

    def _programme(self, key: str) -> Recalled | None:
        value = self._settings.get(key)
        if isinstance(value, str) and value[2:3] == ":":
            value = int(value[:2]) + int(value[3:5]) / 60
        return Recalled(value, _("of the programme")) if isinstance(value, int | float) else None

    def _found(self, sheet: str, key: str) -> Recalled | None:
        row = next((each for each in self._kept_lately if each.worksheet == sheet), None)
        value = row.output(key) if row else None
        return Recalled(value, f"{row.title}, {date_format(row.kept_at.date())}") if row and value is not None else None


def _read(reading: Reading) -> Recalled:
    return Recalled(reading.value, _("read %(day)s") % {"day": date_format(reading.taken_at.date())})


def _capacity(row: PlantItem, quantity: str) -> float | None:
    """The nameplate's capacity in canonical units of ``quantity``; None when its unit is another."""
    if row.capacity is None:
        return None
    try:
        return to_canonical(quantity, row.capacity, find_unit(quantity, row.capacity_unit).key)
    except ValueError:
        return None
