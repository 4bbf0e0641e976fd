"""The join: one alkalinity typed in a plant room changes all that follows from it."""

import json
from decimal import Decimal

import pytest

from servicedesk.billing.charges import charges_of_visit
from servicedesk.billing.services import invoice_draft
from servicedesk.care.queries import programme_in_force
from servicedesk.care.services import programme_put_in_force
from servicedesk.people.models import Technician
from servicedesk.routes.queries.load import LoadList, load_list
from servicedesk.visits.form.context import load
from servicedesk.visits.form.declaration import build
from servicedesk.visits.form.meaning import meaning
from servicedesk.visits.models import Visit
from servicedesk.visits.services.sign_off import visit_sign_off
from tests.builders import a_machine
from tests.visits.filling import MEQ_PER_DKH, STARTED, Scene, fill


def load_of(visit: Visit, technician: Technician) -> LoadList:
    return load_list([visit], {visit.pk: 1}, technician.van, technician.depot, visit.due_on)


def advised_g(scene: Scene) -> float | None:
    field = build(load(scene.visit)).field(scene.key("alkalinity"))
    assert field is not None
    return meaning(field, scene.visit.entries.get(key=scene.key("alkalinity"))).dose_g


def test_one_alkalinity_changes_dose_programme_next_visit_load_report_and_invoice(scene: Scene) -> None:
    a_machine(scene.reef, "doser")
    programme_put_in_force(
        installation=scene.reef, settings={"dose_alkalinity_ml_day": 100.0}, at=STARTED.replace(day=1), actor=None
    )
    before = load_of(scene.next_visit, scene.technician)
    assert [line.item for line in before.lines] == []

    scene.type(scene.key("alkalinity"), "8.0", "dKH")
    assert advised_g(scene) is None  # in band: nothing to add
    fill(scene, "7.0")
    scene.type(scene.key("alkalinity"), "7.0", "dKH")
    dose_g = advised_g(scene)
    lacking = 2.9 - 7.0 * MEQ_PER_DKH  # to the band's target, meq/L
    # NaHCO3 84.007 g/mol by the abridged standard atomic weights (CIAAW of IUPAC, from memory); 1000 L, three portions
    assert dose_g == pytest.approx(84.007 * lacking / 3, rel=1e-3)

    scene.type(f"dose.{scene.reef.pk}.alkalinity", f"{dose_g:.0f}", "g")
    scene.type(f"set.{scene.reef.pk}.dose_alkalinity_ml_day", "120", "mL")
    report = visit_sign_off(visit=scene.visit, actor=scene.user)

    now = programme_in_force(scene.reef)
    assert now is not None
    assert (now.number, now.settings["dose_alkalinity_ml_day"]) == (2, 120.0)

    scene.next_visit.refresh_from_db()
    assert scene.next_visit.needed_by is not None
    assert scene.next_visit.needed_by.isoformat() == "2026-11-27"
    assert scene.next_visit.due_on == scene.next_visit.needed_by
    assert "Alkalinity" in scene.next_visit.needed_why

    after = load_of(scene.next_visit, scene.technician)
    assert [(line.item, line.needed >= Decimal(round(dose_g or 0))) for line in after.lines] == [(scene.salt, True)]

    part = json.loads(report.snapshot)["installations"][0]
    row = next(row for row in part["readings"] if row["parameter"] == "alkalinity")
    assert (row["typed"], row["state"]) == ("7.0", "low")
    assert any("sodium bicarbonate" in words for words in row["advice"])
    assert [float(added["mass_g"]) for added in part["additions"]] == [round(dose_g or 0)]
    assert [setting["left"] for setting in part["settings"] if setting["left"].startswith("120")] != []

    scene.visit.refresh_from_db()
    invoice = invoice_draft(client=scene.visit.site.client, visits=[scene.visit], actor=None).invoice
    assert invoice is not None
    material = invoice.lines.get(kind="material")
    assert (material.description, material.quantity) == ("Bicarbonate", Decimal(round(dose_g or 0)))
    assert material.net == (Decimal(round(dose_g or 0)) * Decimal("0.02")).quantize(Decimal("0.01"))
    assert {charge.kind for charge in charges_of_visit(scene.visit)} >= {"fee", "material"}


def test_an_alkalinity_in_band_changes_none_of_it(scene: Scene) -> None:
    visit_sign_off(visit=fill(scene, "8.0").visit, actor=scene.user)
    due_on = scene.next_visit.due_on
    scene.next_visit.refresh_from_db()
    assert (scene.next_visit.needed_by, scene.next_visit.due_on) == (None, due_on)
    assert load_of(scene.next_visit, scene.technician).lines == []
    scene.visit.refresh_from_db()
    assert {charge.kind for charge in charges_of_visit(scene.visit)} == {"fee"}
