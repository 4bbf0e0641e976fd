"""How a technician's test reads: the true value, the method's error, the method's steps, the unit on the kit."""

import random
from dataclasses import dataclass
from math import hypot

from servicedesk.readings.models import Method, Parameter
from servicedesk.science import units

KIT_UNITS = {"alkalinity": "dKH", "temperature": "degF"}
TENTHS = {"dKH": 1, "degF": 1}


@dataclass(frozen=True, slots=True)
class Test:
    """One test as noted down: text and unit, its canonical value and the method's error there."""

    parameter: str
    typed: str
    unit: str
    value: float
    sd: float
    method: str
    below: bool = False


class Tester:
    """The firm's test box."""

    def __init__(self) -> None:
        self.parameters = {row.key: row for row in Parameter.objects.all()}
        self.methods: dict[str, Method] = {row.parameter_id: row for row in Method.objects.filter(is_default=True)}

    def test(self, key: str, true: float, rng: random.Random) -> Test:
        parameter, method = self.parameters[key], self.methods[key]
        sd = hypot(method.sd_abs, method.sd_rel * true)
        step = method.resolution or 10**-parameter.digits
        seen = max(round(rng.gauss(true, sd) / step) * step, 0.0)
        unit = KIT_UNITS.get(parameter.quantity, units.canonical_unit(parameter.quantity).key)
        if seen == 0 and key in {"nitrate", "phosphate"}:
            typed = f"< {step:g}"
            return Test(key, typed, unit, step, hypot(method.sd_abs, method.sd_rel * step), method.key, below=True)
        shown = units.from_canonical(parameter.quantity, seen, unit)
        digits = TENTHS.get(unit, parameter.digits)
        typed = f"{shown:.{digits}f}"
        value = units.to_canonical(parameter.quantity, float(typed), unit)
        return Test(key, typed, unit, value, hypot(method.sd_abs, method.sd_rel * value), method.key)
