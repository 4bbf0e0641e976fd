"""A visit at a reef with a van's stock, and the answers that make it ready to sign."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from servicedesk.consumables.models import Item, StockPlace
from servicedesk.installations.models import Installation
from servicedesk.people.models import Technician, User
from servicedesk.visits.models import Visit
from servicedesk.visits.services.form import Answer, entry_store
from tests.builders import (
    STROKES,
    a_firm,
    a_lot,
    a_site,
    a_technician,
    a_visit,
    an_agreement,
    an_installation,
    an_item,
    readings,
    stocked,
    van_place,
)

# 1 °dKH = 10 mg CaO per litre; CaO 56.077 g/mol takes up two equivalents of acid (DIN 38409-7's definition of
# carbonate hardness, from memory; molar mass from CIAAW's standard atomic weights Ca 40.078, O 15.999).
MEQ_PER_DKH = 10 / (56.077 / 2)
STARTED = datetime(2026, 11, 24, 15, 0, tzinfo=UTC)  # 09:00 in Nashville


@dataclass
class Scene:
    technician: Technician
    visit: Visit
    reef: Installation
    next_visit: Visit
    salt: Item
    place: StockPlace

    @property
    def user(self) -> User:
        return self.technician.user

    def key(self, parameter: str) -> str:
        return f"test.{self.reef.pk}.{parameter}"

    def type(self, key: str, typed: str, unit: str = "", **more: Any) -> None:
        entry_store(visit=self.visit, answer=Answer(key, typed, unit, **more), actor=self.user)


def a_scene(**over: Any) -> Scene:
    """A started visit of Tue 24 Nov 2026 at a reef of 1000 L net; the next one is due a week later."""
    a_firm()
    technician = a_technician()
    agreement = an_agreement(a_site(), **over)
    reef = an_installation(agreement.site)
    salt = an_item(name="Bicarbonate", product="nahco3", price_per_unit=Decimal("0.02"))
    place = van_place(technician)
    stocked(salt, place, 5000, a_lot(salt))
    day = date(2026, 11, 24)
    planned: dict[str, Any] = {
        "technician": technician.user,
        "planned_on": day,
        "state": Visit.State.STARTED,
        "started_at": STARTED,
    }
    visit = a_visit(agreement.site, reef, agreement=agreement, due_on=day, occurrence_on=day, **planned)
    later = day + timedelta(days=7)
    following = a_visit(agreement.site, reef, agreement=agreement, due_on=later, occurrence_on=later)
    readings(reef, STARTED - timedelta(days=7), alkalinity=("7.8", "dKH"))
    return Scene(technician, visit, reef, following, salt, place)


def fill(scene: Scene, alkalinity: str = "8.0", unit: str = "dKH") -> Scene:
    """All that signing asks for."""
    scene.type("arrive.at", "09:00")
    scene.type(scene.key("alkalinity"), alkalinity, unit, confirmed=True)
    scene.type("leave.at", "10:00")
    scene.type("sign.technician.name", "Tess Technician")
    scene.type("sign.technician.strokes", str(STROKES))
    scene.type("sign.client.how", "absent")
    scene.type("sign.client.reason", "Reception was closed")
    return scene
