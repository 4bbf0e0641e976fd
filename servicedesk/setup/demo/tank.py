"""The water of one installation, day by day: a mass balance of what is used, dosed, exchanged and fed.

Alkalinity, calcium and magnesium: d(c)/dt = supply − demand, demand in proportion to the coral load,
which grows slowly and follows alkalinity a little. One meq of alkalinity goes with 20.04 mg of calcium
(stoichiometry of CaCO3). Nitrate and phosphate: feed in, first-order loss out, water changes. The sizes
of demand, feed and losses are common practice.
"""

import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import cos, log10, pi, sin
from typing import Any

from servicedesk.installations.models import Installation
from servicedesk.readings.models import Band
from servicedesk.science.water.limewater import limewater_meq_l
from servicedesk.science.water.reactor import delivered_meq_day
from servicedesk.setup.demo.size import Size

CA_MG_PER_MEQ = 20.04
CA_SHARE = 0.97
MG_MG_PER_MEQ = 1.1
ALK_SOLUTION_MEQ_ML = 1.0
CA_SOLUTION_MG_ML = 20.04
MG_SOLUTION_MG_ML = 25.0
CO2_KG_PER_MEQ = 44.0e-6 / 2 / 0.55
CYLINDER_KG = 10.0
FRESH = {"alkalinity": 3.0, "calcium": 430.0, "magnesium": 1320.0, "nitrate": 0.0, "phosphate": 0.0}
WEAK_DAYS = 42
WARM_DAYS = 26


@dataclass(frozen=True, slots=True)
class Kind:
    """Usual ranges of a kind of system: demand meq/L and day, feed g per 1000 L and day, settled nutrients."""

    demand: tuple[float, float]
    feed: tuple[float, float]
    nitrate: tuple[float, float]
    phosphate: tuple[float, float]
    ph: float
    swing: float


KINDS = {
    "reef_stony": Kind((0.11, 0.30), (1.6, 3.0), (5, 12), (0.04, 0.10), 8.24, 0.09),
    "soft_coral": Kind((0.018, 0.045), (1.5, 3.0), (6, 16), (0.05, 0.15), 8.2, 0.08),
    "fish_only": Kind((0.004, 0.009), (4, 8), (18, 42), (0.25, 0.85), 8.08, 0.03),
    "jellyfish": Kind((0.002, 0.005), (1.5, 3.0), (4, 12), (0.04, 0.15), 8.1, 0.02),
}


@dataclass(slots=True)
class Tank:
    """State of the water (canonical units) and the traits that drive it."""

    kind: str
    volume_l: float
    plant: set[str]
    day: date
    traits: Kind
    rng: random.Random
    targets: dict[str, float]
    lows: dict[str, float]
    evaporation_l_day: float
    water: dict[str, float]
    settings: dict[str, Any]
    demand: float
    growth: float
    nutrients_in: dict[str, float]
    losses: dict[str, float]
    effluent: float
    efficiency: float
    cylinder_kg: float
    began: date
    weak_from: date | None = None
    warm_from: date | None = None
    swings: dict[str, float] = field(default_factory=dict)
    lime_level_pct: float = 90.0
    delivered_meq: float = 0.0

    def advance(self, until: date) -> None:
        """Live on until the morning of a day."""
        while self.day < until:
            self._one_day()
            self.day += timedelta(days=1)

    def _one_day(self) -> None:
        self._wander("demand", 0.1 if self.weak_from is None else 0.03)
        alk, volume = self.water["alkalinity"], self.volume_l
        years = (self.day - self.began).days / 365
        use = self.demand * (1 + self.growth * years) * (0.55 + 0.45 * alk / self.targets["alkalinity"])
        use *= 1 + self.swings["demand"]
        reactor, lime = self.reactor_meq(), self.lime_meq()
        dosed = self.settings.get("dose_alkalinity_ml_day", 0.0) * ALK_SOLUTION_MEQ_ML
        self.delivered_meq = reactor
        self.water["alkalinity"] = max(alk + (reactor + lime + dosed) / volume - use, 0.6)
        calcium = (reactor + lime) * CA_MG_PER_MEQ + self.settings.get("dose_calcium_ml_day", 0.0) * CA_SOLUTION_MG_ML
        self.water["calcium"] += calcium / volume - use * CA_MG_PER_MEQ * CA_SHARE
        magnesium = reactor * 0.4 + self.settings.get("dose_magnesium_ml_day", 0.0) * MG_SOLUTION_MG_ML
        self.water["magnesium"] += magnesium / volume - use * MG_MG_PER_MEQ
        self.cylinder_kg = max(self.cylinder_kg - max(reactor, 0) * CO2_KG_PER_MEQ, 0.0)
        self.lime_level_pct = max(self.lime_level_pct - 100 * self.settings.get("lime_l_day", 0) / (volume * 0.35), 4.0)
        self._nutrients()
        self._physics()

    def reactor_meq(self) -> float:
        flow = self.settings.get("reactor_flow_ml_min", 0.0)
        return delivered_meq_day(flow, self.effluent_now(), self.water["alkalinity"]) if flow else 0.0

    def effluent_now(self) -> float:
        """Effluent alkalinity; a reactor with spent media loses almost half in six weeks."""
        if self.weak_from is None or self.day < self.weak_from:
            return self.effluent
        return self.effluent * (1 - 0.46 * min((self.day - self.weak_from).days / WEAK_DAYS, 1.0))

    def lime_meq(self) -> float:
        return float(self.settings.get("lime_l_day", 0.0)) * limewater_meq_l(23.0, self.efficiency)

    def _nutrients(self) -> None:
        season = 1 + 0.12 * cos(2 * pi * (self.day.timetuple().tm_yday - 350) / 365)
        for key in ("nitrate", "phosphate"):
            self._wander(key, 0.25)
            income = self.nutrients_in[key] * season * (1 + self.swings[key])
            self.water[key] = max(self.water[key] + income - self.losses[key] * self.water[key], 0.0)

    def _physics(self) -> None:
        """Salinity creeps with top-off errors; chiller and heaters hold the temperature."""
        self.water["salinity"] += self.rng.gauss(0.004, 0.035)
        self._wander("temperature", 0.11)
        warm = 0.0
        if self.warm_from is not None and self.day >= self.warm_from:
            warm = 1.9 * min((self.day - self.warm_from).days / WARM_DAYS, 1.0)
        self.water["temperature"] = self.settings["temperature_c"] + warm + self.swings["temperature"]

    def _wander(self, key: str, spread: float) -> None:
        """A slow random walk around nothing (first-order autoregression)."""
        before = self.swings.get(key, 0.0)
        self.swings[key] = 0.9 * before + self.rng.gauss(0, spread * 0.436)

    def ph_at(self, at: datetime) -> float:
        """pH at a local clock time: alkalinity, the day's swing, room CO2 in winter, and the reactor."""
        hour = at.hour + at.minute / 60
        winter = cos(2 * pi * (self.day.timetuple().tm_yday - 15) / 365)
        value = self.traits.ph + 0.6 * log10(self.water["alkalinity"] / self.targets["alkalinity"])
        value += self.traits.swing * sin(2 * pi * (hour - 11) / 24) - 0.035 * winter
        return value + 0.03 * self.swings.get("nitrate", 0.0)

    def change_water(self, fraction: float) -> None:
        """Exchange a share for new salt water mixed to the target salinity."""
        fresh = {**FRESH, "salinity": self.targets["salinity"]}
        for key, value in fresh.items():
            self.water[key] += (value - self.water[key]) * fraction

    def raise_by(self, key: str, change: float) -> None:
        self.water[key] += change


def tank_begin(installation: Installation, plant: set[str], bands: dict[str, Band], size: Size, *, wrong: str) -> Tank:
    """Settled water at the beginning of the history, with a programme that roughly holds it."""
    rng, traits = size.rng("tank", installation.code), KINDS[installation.kind]
    volume = installation.net_volume_l
    targets = {**FRESH, **{key: band.target for key, band in bands.items()}}
    demand = rng.uniform(*traits.demand) * (0.75 if volume > 20_000 else 1)
    feed_g = volume / 1000 * rng.uniform(*traits.feed)
    level = {"nitrate": rng.uniform(*traits.nitrate), "phosphate": rng.uniform(*traits.phosphate)}
    losses = {"nitrate": rng.uniform(0.025, 0.05), "phosphate": rng.uniform(0.03, 0.06)}
    water = {key: targets[key] for key in ("alkalinity", "calcium", "magnesium", "salinity", "temperature")}
    water["calcium"] += rng.gauss(0, 8)
    water["magnesium"] += rng.gauss(0, 15)
    tank = Tank(
        kind=installation.kind,
        volume_l=volume,
        plant=plant,
        day=size.begins_on - timedelta(days=1),
        traits=traits,
        rng=rng,
        targets=targets,
        lows={key: band.low for key, band in bands.items()},
        evaporation_l_day=installation.evaporation_l_day or volume * 0.008,
        water={**water, **level},
        settings={},
        demand=demand,
        growth=rng.uniform(0.05, 0.25) if installation.kind == "reef_stony" else rng.uniform(0, 0.1),
        nutrients_in={key: value * losses[key] * 1.12 for key, value in level.items()},
        losses=losses,
        effluent=rng.uniform(12.5, 16.5),
        efficiency=rng.uniform(0.78, 0.92),
        cylinder_kg=rng.uniform(4, CYLINDER_KG),
        began=size.begins_on,
        swings=dict.fromkeys(("demand", "nitrate", "phosphate", "temperature"), 0.0),
    )
    if wrong == "weak_reactor" and "reactor" in plant:
        tank.weak_from = size.today - timedelta(days=WEAK_DAYS)
    if wrong == "warm_tank" and "chiller" in plant:
        tank.warm_from = size.today - timedelta(days=WARM_DAYS)
    tank.settings = _programme(tank, feed_g)
    return tank


def _programme(tank: Tank, feed_g: float) -> dict[str, Any]:
    """Settings that supply what is used: limewater first, then the reactor, the doser the rest."""
    rng, volume = tank.rng, tank.volume_l
    is_reef = tank.kind in {"reef_stony", "soft_coral"}
    settings: dict[str, Any] = {
        "temperature_c": tank.targets["temperature"],
        "lights_on": "10:00" if is_reef else "09:00",
        "lights_off": "21:00" if is_reef else "20:00",
        "feed_g_day": float(f"{feed_g:.2g}"),
        "feeds_per_day": rng.choice([2, 3, 4]),
        "feed_first": "10:30",
        "feed_last": "19:30",
    }
    if "chiller" in tank.plant:
        settings["differential_k"] = 0.5
    need = tank.demand * volume
    if "stirrer" in tank.plant:
        litres = round(min(tank.evaporation_l_day * 0.55, need * 0.35 / limewater_meq_l(23.0, tank.efficiency)), 1)
        settings |= {"lime_l_day": litres, "lime_from": "22:00", "lime_to": "09:00"}
        need -= litres * limewater_meq_l(23.0, tank.efficiency)
    if "reactor" in tank.plant:
        share = 0.6 if tank.weak_from else 0.8
        flow = need * share / (tank.effluent - tank.targets["alkalinity"]) * 1000 / 1440
        settings |= {"reactor_flow_ml_min": round(flow, 1), "reactor_ph": round(rng.uniform(6.5, 6.7), 2)}
        need *= 1 - share
    if "doser" in tank.plant:
        supplied_ca = tank.demand * volume - need
        settings |= {
            "dose_alkalinity_ml_day": round(need),
            "dose_calcium_ml_day": round(max(tank.demand * volume * CA_SHARE - supplied_ca, 0)),
            "dose_magnesium_ml_day": round(tank.demand * volume * MG_MG_PER_MEQ / MG_SOLUTION_MG_ML * 0.8),
        }
    return settings
