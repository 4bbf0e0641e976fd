"""What is checked on each kind of machine at a visit: one declaration, carried to form, report and tablet."""

from dataclasses import dataclass, field

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from servicedesk.installations.models import PlantKind

Text = Promise | str


@dataclass(frozen=True, slots=True)
class CheckSpec:
    """One check: a number in a quantity's units, or a choice of words.

    ``as_left``: the value is recorded as found and as left. ``safety``: a failure blocks a plain
    sign-off until it says what was made safe. ``low``/``high``: usual limits in canonical units.
    """

    key: str
    label: Text
    quantity: str = ""
    choices: tuple[tuple[str, Text], ...] = ()
    as_left: bool = False
    safety: bool = False
    low: float | None = None
    high: float | None = None
    caution: Text = ""
    bad_words: frozenset[str] = field(default_factory=frozenset)


OK_BAD = (("ok", _("fine")), ("watch", _("watch it")), ("failed", _("failed")))
TESTED = (("ok", _("tested, works")), ("failed", _("tested, failed")))
BAD = frozenset({"failed"})
ISOLATE = _("Isolate the machine before hands or tools go near it; electricity and water.")

CHECKS: dict[str, tuple[CheckSpec, ...]] = {
    PlantKind.CHILLER: (
        CheckSpec("set_point_c", _("Set point"), "temperature", as_left=True, low=10, high=30),
        CheckSpec("differential_k", _("Differential"), "temperature_difference", as_left=True, low=0.2, high=1.2),
        CheckSpec(
            "flow_switch",
            _("Flow switch test"),
            choices=TESTED,
            safety=True,
            bad_words=BAD,
            caution=_("Refrigerant circuits only by a licensed trade."),
        ),
        CheckSpec("condenser", _("Condenser and air path"), choices=OK_BAD, bad_words=BAD),
    ),
    PlantKind.REACTOR: (
        CheckSpec("effluent_alkalinity", _("Effluent alkalinity"), "alkalinity", low=5, high=20),
        CheckSpec("effluent_ph", _("Effluent pH"), "ph", low=6.2, high=7.0),
        CheckSpec("drip_ml_min", _("Drip rate"), "drip_flow", as_left=True, low=1, high=600),
        CheckSpec(
            "cylinder_kg",
            _("CO₂ cylinder weight, gross"),
            "mass_kg",
            low=0,
            caution=_("CO₂ can suffocate in a closed plant room: ventilate first, trust no smell."),
        ),
        CheckSpec("media", _("Media level"), choices=OK_BAD, bad_words=BAD),
    ),
    PlantKind.STIRRER: (
        CheckSpec(
            "lime_level_pct",
            _("Lime left in the stirrer"),
            "percent",
            low=15,
            high=100,
            caution=_("Limewater is strongly caustic, above pH 12: gloves and goggles; never into the display."),
        ),
        CheckSpec("stirring", _("Stirs and runs clear"), choices=OK_BAD, bad_words=BAD),
    ),
    PlantKind.RETURN_PUMP: (
        CheckSpec("running", _("Runs, noise, leaks"), choices=OK_BAD, bad_words=BAD, caution=ISOLATE),
        CheckSpec("flow_l_h", _("Flow"), "flow", low=0),
    ),
    PlantKind.FLOW_PUMP: (CheckSpec("running", _("Runs, clean"), choices=OK_BAD, bad_words=BAD, caution=ISOLATE),),
    PlantKind.SKIMMER: (
        CheckSpec("skimmer", _("Foam, level, cup emptied"), choices=OK_BAD, bad_words=BAD),
        CheckSpec("skimmate_l", _("Skimmed since last time"), "volume", low=0),
    ),
    PlantKind.HEATER: (
        CheckSpec("heater", _("Heats, glass and cable whole"), choices=OK_BAD, bad_words=BAD, caution=ISOLATE),
    ),
    PlantKind.DOSER: (
        CheckSpec("delivered_ml", _("Delivered in a test for 100 mL"), "dose_volume", low=90, high=110),
        CheckSpec("jug", _("Jugs filled, tubes whole"), choices=OK_BAD, bad_words=BAD),
    ),
    PlantKind.SCRUBBER: (CheckSpec("harvest_g", _("Harvest, wet"), "mass", low=0),),
    PlantKind.UV: (
        CheckSpec("lamp_hours", _("Lamp hours"), "duration", low=0),
        CheckSpec(
            "uv", _("Lamp lit, sleeve clean"), choices=OK_BAD, bad_words=BAD, caution=_("Never look into the lamp.")
        ),
    ),
    PlantKind.EXCHANGER: (
        CheckSpec(
            "exchanger",
            _("Valve moves, no leak, no dew"),
            choices=OK_BAD,
            bad_words=BAD,
            caution=_("Building chilled water only by its licensed trade."),
        ),
    ),
    PlantKind.PROBE: (CheckSpec("probe", _("Clean, reads true"), choices=OK_BAD, bad_words=BAD),),
    PlantKind.LIGHT: (
        CheckSpec("light", _("All lit, splash guard, mounts"), choices=OK_BAD, bad_words=BAD, caution=ISOLATE),
    ),
    PlantKind.FEEDER: (CheckSpec("feeder", _("Turns, dry, filled"), choices=OK_BAD, bad_words=BAD),),
    PlantKind.TOP_OFF: (
        CheckSpec("float_switch", _("Level switches test"), choices=TESTED, safety=True, bad_words=BAD),
        CheckSpec("used_l", _("Top-off used since last time"), "volume", low=0),
    ),
    PlantKind.RODI: (CheckSpec("tds", _("Product water, TDS"), "count", low=0, high=10),),
}


def checks_for(kind: str) -> tuple[CheckSpec, ...]:
    return CHECKS.get(kind, ())


def check_for(kind: str, key: str) -> CheckSpec | None:
    return next((spec for spec in checks_for(kind) if spec.key == key), None)
