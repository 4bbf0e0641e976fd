"""What a technician does at one installation: test, check the plant, dose, change water, set, use up."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from servicedesk.installations.models import PlantItem
from servicedesk.installations.plant_checks import checks_for
from servicedesk.science.water import dosing
from servicedesk.setup.demo.tank import ALK_SOLUTION_MEQ_ML, CYLINDER_KG
from servicedesk.setup.demo.tester import Test, Tester
from servicedesk.setup.demo.world import System

TESTED = {
    "reef_stony": ("alkalinity", "calcium", "magnesium", "salinity", "temperature", "ph", "nitrate", "phosphate"),
    "soft_coral": ("alkalinity", "calcium", "magnesium", "salinity", "temperature", "ph", "nitrate", "phosphate"),
    "fish_only": ("alkalinity", "salinity", "temperature", "ph", "nitrate", "phosphate"),
    "jellyfish": ("alkalinity", "salinity", "temperature", "ph", "nitrate", "phosphate"),
}
CHANGED = {"weekly": 0.05, "twice": 0.025, "biweekly": 0.10, "monthly": 0.18}
LARGE_L, SALT_G_PER_L = 9000, 36.5
STEP = {"alkalinity": 0.2, "calcium": 10.0, "magnesium": 25.0}
PRODUCT_ITEMS = {"nahco3": "BICARB", "cacl2_2h2o": "CALCHL", "mgcl2_6h2o": "MAGCHL"}
REAGENTS = {"alkalinity": "RALK", "calcium": "RCA", "magnesium": "RMG", "nitrate": "RNO3", "phosphate": "RPO4"}
SOLUTION_G_ML = {
    "dose_alkalinity_ml_day": ("BICARB", 0.084),
    "dose_calcium_ml_day": ("CALCHL", 0.0735),
    "dose_magnesium_ml_day": ("MAGCHL", 0.209),
}


@dataclass(frozen=True, slots=True)
class Check:
    item: PlantItem
    key: str
    moment: str
    value: float | None = None
    word: str = ""


@dataclass(frozen=True, slots=True)
class Dose:
    parameter: str
    product: str
    mass_g: float
    change: float


@dataclass(slots=True)
class Care:
    """All that was done at an installation, before it is written down anywhere."""

    system: System
    at: datetime
    days: int
    tests: list[Test] = field(default_factory=list)
    doses: list[Dose] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    services: list[PlantItem] = field(default_factory=list)
    uses: dict[str, float] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    water_change_l: float = 0.0

    def use(self, code: str, quantity: float) -> None:
        if quantity > 0:
            self.uses[code] = self.uses.get(code, 0.0) + quantity


class Hand:
    """The technicians' hand: knows each installation's last test, so that settings follow the trend."""

    def __init__(self, tester: Tester) -> None:
        self.tester = tester
        self.last: dict[str, tuple[date, float]] = {}
        self.visits: dict[str, int] = {}

    def care(self, system: System, at: datetime, cadence: str) -> Care:
        """Look after an installation at a local time."""
        tank = system.tank
        before = tank.day
        tank.advance(at.date())
        self.visits[system.installation.code] = self.visits.get(system.installation.code, 0) + 1
        care = Care(system, at, max((tank.day - before).days, 1))
        self._test(care)
        self._check(care)
        self._service(care)
        self._correct(care)
        self._set(care)
        self._change_water(care, cadence)
        self._use(care)
        return care

    def _number(self, care: Care) -> int:
        return self.visits[care.system.installation.code]

    def _test(self, care: Care) -> None:
        tank = care.system.tank
        for key in TESTED[tank.kind]:
            if key == "magnesium" and self._number(care) % 2 and care.days < 8:
                continue
            true = tank.ph_at(care.at) if key == "ph" else tank.water[key]
            care.tests.append(self.tester.test(key, true, tank.rng))

    def _check(self, care: Care) -> None:
        for item in care.system.plant:
            values = _values(care, item)
            for spec in checks_for(item.kind):
                if spec.key in values:
                    value = values[spec.key]
                    is_word = isinstance(value, str)
                    if value == "ok" and not spec.safety and self._number(care) % 2 == 0:
                        continue
                    care.checks.append(
                        Check(item, spec.key, "found", None if is_word else value, value if is_word else "")  # type: ignore[arg-type]
                    )

    def _service(self, care: Care) -> None:
        """Machines whose interval has run out are serviced; a warm tank's chiller waits (that is its trouble)."""
        today = care.at.date()
        for item in care.system.plant:
            if item.service_interval_days is None or item.installed_on is None:
                continue
            last = care.system.serviced.get(item.pk)
            if last is None:
                last = care.system.serviced[item.pk] = _first_service(care, item)
            neglected = care.system.tank.warm_from is not None and item.kind == "chiller"
            if (today - last).days >= item.service_interval_days and not neglected:
                care.services.append(item)
                care.system.serviced[item.pk] = today
        care.services = care.services[:4]

    def _correct(self, care: Care) -> None:
        """Below the band: the first safe portion, as the form advises."""
        tank = care.system.tank
        if tank.weak_from is not None and care.at.date() >= tank.weak_from:
            return
        for test in care.tests:
            product_key = dosing.USUAL_PRODUCT.get(test.parameter)
            if product_key not in PRODUCT_ITEMS or test.value >= tank.lows.get(test.parameter, 0.0):
                continue
            change = min(tank.targets[test.parameter] - test.value, STEP[test.parameter])
            mass = round(dosing.dose_mass_g(dosing.PRODUCTS[product_key], tank.volume_l, change))
            if mass < 1:
                continue
            care.doses.append(Dose(test.parameter, product_key, float(mass), change))
            tank.raise_by(test.parameter, change)

    def _set(self, care: Care) -> None:
        """Follow the trend of alkalinity, calcium and magnesium with reactor or doser."""
        tank = care.system.tank
        if tank.weak_from is not None and care.at.date() >= tank.weak_from:
            return
        wanted = dict(tank.settings)
        for test in care.tests:
            if test.parameter in STEP:
                self._follow(care, test, wanted)
        changed = {key: value for key, value in wanted.items() if value != tank.settings.get(key)}
        if changed:
            care.settings = tank.settings = wanted

    def _follow(self, care: Care, test: Test, wanted: dict[str, Any]) -> None:
        tank, code = care.system.tank, f"{care.system.installation.code}:{test.parameter}"
        dosed = sum(dose.change for dose in care.doses if dose.parameter == test.parameter)
        last, self.last[code] = self.last.get(code), (care.at.date(), test.value + dosed)
        off = (tank.targets[test.parameter] - test.value) / tank.targets[test.parameter]
        margin = {"alkalinity": 0.055, "calcium": 0.035, "magnesium": 0.035}[test.parameter]
        if last is None or abs(off) < margin or (self._number(care) % 2 and care.days < 8):
            return
        days = max((care.at.date() - last[0]).days, 1)
        trend = (test.value - last[1]) / days
        missing = (tank.targets[test.parameter] - test.value) / 24 - 0.35 * trend * min(days / 14, 1)
        if missing * off < 0:
            return
        _turn(tank.settings, wanted, test.parameter, missing * tank.volume_l, tank.effluent_now() - test.value)

    def _change_water(self, care: Care, cadence: str) -> None:
        tank = care.system.tank
        if cadence == "weekly" and self._number(care) % 2:
            return
        share = CHANGED[cadence] * (2 if cadence == "weekly" else 1)
        share *= 0.3 if tank.volume_l > LARGE_L else 0.6 if tank.volume_l > 3000 else 1
        care.water_change_l = float(round(tank.volume_l * share / 5) * 5)
        tank.change_water(care.water_change_l / tank.volume_l)
        tested = {test.parameter: test.value for test in care.tests}
        off = tank.targets["salinity"] - tested["salinity"]
        if abs(off) > 0.5:
            tank.water["salinity"] += off * 0.7

    def _use(self, care: Care) -> None:
        tank, days = care.system.tank, care.days
        care.use("SALT", round(care.water_change_l * SALT_G_PER_L / 100) * 100)
        for key, (code, grams) in SOLUTION_G_ML.items():
            care.use(code, round(tank.settings.get(key, 0.0) * grams * min(days, 35)))
        care.use("SOCK", 1 if tank.volume_l < 2000 else 2)
        self._feed(care)
        if self._number(care) % 4 == 1:
            care.use("CARBON", round(tank.volume_l * 0.12 / 10) * 10)
            care.use(
                "PHOSMED", round(tank.volume_l * 0.03 / 10) * 10 if tank.kind in {"reef_stony", "soft_coral"} else 0
            )
            if "stirrer" in tank.plant:
                care.use("LIME", round(tank.settings.get("lime_l_day", 0) * 1.7 * min(days * 4, 60)))
                tank.lime_level_pct = 92.0
            if "reactor" in tank.plant:
                care.use("ARAGON", round(tank.delivered_meq * 0.053 * min(days * 4, 60) / 100) * 100)
        if "reactor" in tank.plant and tank.cylinder_kg < 1.2:
            care.use("CO2", 1)
            tank.cylinder_kg = CYLINDER_KG

    def _feed(self, care: Care) -> None:
        grams = care.system.tank.settings["feed_g_day"] * min(care.days, 31)
        if care.system.tank.kind == "jellyfish":
            care.use("CYSTS", round(grams * 0.3))
            return
        care.use("PELLET", round(grams * 0.45))
        care.use("FROZEN", round(grams * 0.55))


def _first_service(care: Care, item: PlantItem) -> date:
    """Where in its interval a machine stood when the history begins."""
    days = item.service_interval_days or 1
    tank = care.system.tank
    if tank.warm_from is not None and item.kind == "chiller":
        return tank.warm_from - timedelta(days=days - 20)
    return max(item.installed_on or tank.began, tank.began - timedelta(days=tank.rng.randint(0, days)))


def _values(care: Care, item: PlantItem) -> dict[str, float | str]:
    """What a check of a machine finds today."""
    tank, rng = care.system.tank, care.system.tank.rng
    warm = tank.warm_from is not None and care.at.date() >= tank.warm_from
    match item.kind:
        case "chiller":
            found: dict[str, float | str] = {"set_point_c": tank.settings["temperature_c"], "differential_k": 0.5}
            return {**found, "flow_switch": "ok", "condenser": "watch" if warm else "ok"}
        case "reactor":
            return {
                "effluent_alkalinity": round(rng.gauss(tank.effluent_now(), 0.25), 1),
                "effluent_ph": round(tank.settings["reactor_ph"] + rng.gauss(0.02, 0.03), 2),
                "drip_ml_min": round(tank.settings["reactor_flow_ml_min"] * rng.uniform(0.96, 1.03)),
                "cylinder_kg": round(tank.cylinder_kg + 13.2, 1),
            }
        case "stirrer":
            return {"lime_level_pct": float(round(tank.lime_level_pct)), "stirring": "ok"}
        case "return_pump":
            return {"running": "ok"}
        case "skimmer":
            return {"skimmer": "watch" if rng.random() < 0.03 else "ok"}
        case "doser":
            return {"delivered_ml": round(rng.gauss(100, 1.6), 1), "jug": "ok"}
        case "uv":
            return {"uv": "ok"}
        case "top_off":
            used = tank.evaporation_l_day * min(care.days, 31) * rng.uniform(0.9, 1.1)
            return {"float_switch": "ok", "used_l": float(round(used))}
        case "rodi":
            return {"tds": float(rng.choice([0, 0, 1, 2]))}
        case _:
            return {}


def _turn(now: dict[str, Any], wanted: dict[str, Any], parameter: str, meq_or_mg_day: float, strength: float) -> None:
    """Turn the setting that carries a parameter, by at most a fifth at a time."""
    if parameter == "alkalinity" and "reactor_flow_ml_min" in now:
        flow = now["reactor_flow_ml_min"]
        wanted["reactor_flow_ml_min"] = round(_near(flow, flow + meq_or_mg_day / strength * 1000 / 1440), 1)
        return
    key = f"dose_{parameter}_ml_day"
    if key in now:
        per_ml = {"alkalinity": ALK_SOLUTION_MEQ_ML, "calcium": 20.04, "magnesium": 25.0}[parameter]
        wanted[key] = round(_near(now[key], now[key] + meq_or_mg_day / per_ml, floor=5.0))


def _near(now: float, wanted: float, floor: float = 0.5) -> float:
    step = max(now * 0.2, floor)
    return max(min(max(wanted, now - step), now + step), 0.0)
