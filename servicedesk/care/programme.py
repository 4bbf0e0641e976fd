"""What a programme may hold: one declaration of its settings, carried to forms, sheets and the tablet.

Keys with ``{channel}`` repeat per doser channel. Values are kept in the canonical unit of their
quantity. Times are local clock times at the site as text "HH:MM".
"""

from dataclasses import asdict, dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from servicedesk.installations.models import PlantKind


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting: ``kind`` is number, clock or text; ``plant`` names the machine that carries it."""

    key: str
    label: Promise | str
    kind: str = "number"
    quantity: str = ""
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    plant: str = ""

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "label": str(self.label)}


SETTINGS: tuple[Setting, ...] = (
    Setting("temperature_c", _("Temperature set point"), "number", "temperature", "degC", 10, 32),
    Setting(
        "differential_k",
        _("Chiller differential"),
        "number",
        "temperature_difference",
        "K",
        0.1,
        5,
        PlantKind.CHILLER,
    ),
    Setting("lights_on", _("Lights on"), "clock", plant=PlantKind.LIGHT),
    Setting("lights_off", _("Lights off"), "clock", plant=PlantKind.LIGHT),
    Setting("lime_l_day", _("Limewater a day"), "number", "volume", "L", 0, 2000, PlantKind.STIRRER),
    Setting("lime_from", _("Limewater from"), "clock", plant=PlantKind.STIRRER),
    Setting("lime_to", _("Limewater to"), "clock", plant=PlantKind.STIRRER),
    Setting(
        "dose_alkalinity_ml_day",
        _("Alkalinity solution a day"),
        "number",
        "dose_volume",
        "mL",
        0,
        20000,
        PlantKind.DOSER,
    ),
    Setting(
        "dose_calcium_ml_day",
        _("Calcium solution a day"),
        "number",
        "dose_volume",
        "mL",
        0,
        20000,
        PlantKind.DOSER,
    ),
    Setting(
        "dose_magnesium_ml_day",
        _("Magnesium solution a day"),
        "number",
        "dose_volume",
        "mL",
        0,
        20000,
        PlantKind.DOSER,
    ),
    Setting(
        "reactor_flow_ml_min",
        _("Reactor effluent flow"),
        "number",
        "drip_flow",
        "mL_min",
        0,
        1000,
        PlantKind.REACTOR,
    ),
    Setting("reactor_ph", _("Reactor chamber pH"), "number", "ph", "pH", 5.5, 8, PlantKind.REACTOR),
    Setting("feed_g_day", _("Feed a day"), "number", "mass", "g", 0, 5000),
    Setting("feeds_per_day", _("Feeds a day"), "number", "count", "count", 0, 24),
    Setting("feed_first", _("First feed"), "clock"),
    Setting("feed_last", _("Last feed"), "clock"),
)
BY_KEY = {setting.key: setting for setting in SETTINGS}


def settings_for(plant_kinds: set[str]) -> list[Setting]:
    """The settings that make sense with the machines present."""
    return [setting for setting in SETTINGS if not setting.plant or setting.plant in plant_kinds]


def differences(before: dict[str, Any], after: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """{key: (before, after)} of what changed, absent counted as None."""
    keys = [key for key in BY_KEY if before.get(key) != after.get(key)]
    return {key: (before.get(key), after.get(key)) for key in keys}
