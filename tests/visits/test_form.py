"""The form: declared from what stands there, live results against a hand calculation, nothing typed is lost."""

from datetime import timedelta
from uuid import uuid4

import pytest

from servicedesk.science import live
from servicedesk.visits.form.context import load
from servicedesk.visits.form.declaration import build
from servicedesk.visits.form.fields import Field
from servicedesk.visits.form.meaning import Meaning, meaning
from servicedesk.visits.models import Visit, VisitEntry
from servicedesk.visits.services.form import Answer, entry_store
from tests.builders import a_machine
from tests.conftest import SignedIn
from tests.visits.filling import MEQ_PER_DKH, Scene


def declared(scene: Scene, key: str) -> Field:
    found = build(load(scene.visit)).field(key)
    assert found is not None
    return found


def meant(scene: Scene, key: str) -> Meaning:
    return meaning(declared(scene, key), scene.visit.entries.get(key=key))


def test_each_machine_brings_its_own_checks(scene: Scene) -> None:
    without = {group.key for group in build(load(scene.visit)).step("plant").groups}
    chiller = a_machine(scene.reef, "chiller")
    group = next(row for row in build(load(scene.visit)).step("plant").groups if row.reference == str(chiller.pk))
    assert group.key not in without
    assert any(field.key.endswith(".left") for field in group.fields)


def test_a_machine_taken_away_is_not_asked_for(scene: Scene) -> None:
    gone = a_machine(scene.reef, "chiller", removed_on=scene.visit.due_on - timedelta(days=1))
    groups = build(load(scene.visit)).step("plant").groups
    assert str(gone.pk) not in {group.reference for group in groups}


def test_chiller_settings_are_asked_only_where_there_is_a_chiller(scene: Scene) -> None:
    key = f"set.{scene.reef.pk}.differential_k"
    assert build(load(scene.visit)).field(key) is None
    a_machine(scene.reef, "chiller")
    assert build(load(scene.visit)).field(key) is not None


def test_the_dose_is_what_molar_masses_give(scene: Scene) -> None:
    """NaHCO3 by hand: Na 22.990, H 1.008, C 12.011, O 15.999 g/mol (CIAAW of IUPAC, abridged; from memory)."""
    scene.type(scene.key("alkalinity"), "7.0", "dKH")
    field = declared(scene, scene.key("alkalinity"))
    assert field.live is not None
    found = live.live_result(field.live, "7.0", "dKH").correction
    assert found is not None
    molar_g = 22.990 + 1.008 + 12.011 + 3 * 15.999
    lacking_meq_l = field.live["band"]["target"] - 7.0 * MEQ_PER_DKH
    assert found.mass_g == pytest.approx(1000 * lacking_meq_l * molar_g / 1000, rel=1e-3)
    assert meant(scene, scene.key("alkalinity")).dose_g == pytest.approx(found.mass_g / len(found.portions))


@pytest.mark.parametrize("typed", ["4.5", "5.5", "6.5", "7.0"])
def test_no_day_raises_more_than_the_safe_change(scene: Scene, typed: str) -> None:
    field = declared(scene, scene.key("alkalinity"))
    assert field.live is not None
    found = live.live_result(field.live, typed, "dKH", confirmed=True).correction
    found = found or live.live_result({**field.live, "last": None}, typed, "dKH").correction
    if found is None:
        pytest.skip("asked again: no dose on an odd value")
    limit_g = 1000 * field.live["dose"]["rise_per_day"] * 84.007 / 1000
    by_day: dict[int, float] = {}
    for portion in found.portions:
        by_day[portion.day] = by_day.get(portion.day, 0.0) + portion.mass_g
    assert max(by_day.values()) <= limit_g * 1.0001


def test_the_portions_name_mass_water_place_and_hour(scene: Scene) -> None:
    scene.type(scene.key("alkalinity"), "7.0", "dKH")
    steps = meant(scene, scene.key("alkalinity")).steps
    assert steps[0].startswith("09:15: ")
    assert "dissolved in" in steps[0]
    assert "sump" in steps[0]


def test_the_drift_since_the_last_visit_is_told(scene: Scene) -> None:
    scene.type(scene.key("alkalinity"), "7.0", "dKH")
    assert any("-0.8 dKH in 7 days" in text for text in meant(scene, scene.key("alkalinity")).sentences)


def test_a_value_in_band_asks_for_no_dose(scene: Scene) -> None:
    scene.type(scene.key("alkalinity"), "8.0", "dKH")
    found = meant(scene, scene.key("alkalinity"))
    assert found.kind == "good"
    assert found.dose_g is None


def test_an_odd_value_is_asked_once_with_the_likely_unit_and_then_kept(scene: Scene) -> None:
    """7.8 dKH is 2.78 meq/L: "7.8" typed beside meq/L is most likely dKH."""
    key = scene.key("alkalinity")
    scene.type(key, "7.8", "meq_l")
    asked = meant(scene, key)
    assert [suggestion.unit for suggestion in asked.suggestions] == ["dKH"]
    assert asked.may_keep
    scene.type(key, "7.8", "meq_l", confirmed=True)
    kept = meant(scene, key)
    assert not kept.may_keep
    assert kept.dose_g is None
    assert scene.visit.entries.get(key=key).typed == "7.8"


def test_a_lost_decimal_point_is_offered_in_one_tap(scene: Scene) -> None:
    scene.type(scene.key("alkalinity"), "78", "dKH")
    found = meant(scene, scene.key("alkalinity"))
    assert found.error
    assert [suggestion.typed for suggestion in found.suggestions] == ["7.8"]


@pytest.mark.parametrize("typed", ["eight", "8..1", "nan", "inf", "1e400", "--"])
def test_what_is_no_number_is_kept_and_told_beside_the_field(scene: Scene, signed_in: SignedIn, typed: str) -> None:
    key = scene.key("alkalinity")
    browser = signed_in(user=scene.user)
    answer = browser.post(f"/visits/{scene.visit.pk}/entries/", {"key": key, "typed": typed, "unit": "dKH"})
    assert "is not a number" in answer.content.decode()
    page = browser.get(f"/visits/{scene.visit.pk}/form/test/").content.decode()
    assert f'value="{typed}"' in page
    assert "is not a number" in page


@pytest.mark.parametrize("typed", ["25:99", "noon", "9"])
def test_a_wrong_clock_time_is_told_beside_the_field(scene: Scene, typed: str) -> None:
    scene.type("arrive.at", typed)
    assert "14:30" in meant(scene, "arrive.at").error


@pytest.mark.parametrize("typed", ["lots", "-5", "1e15"])
def test_a_wrong_dose_is_told_beside_the_field(scene: Scene, typed: str) -> None:
    key = f"dose.{scene.reef.pk}.alkalinity"
    scene.type(key, typed, "g")
    assert meant(scene, key).error


def test_what_was_typed_is_there_after_a_reload(scene: Scene, signed_in: SignedIn) -> None:
    scene.type("notes.client", "Two frags fell; put back.")
    page = signed_in(user=scene.user).get(f"/visits/{scene.visit.pk}/form/sign/").content.decode()
    assert "Two frags fell; put back." in page


def test_the_same_operation_sent_again_changes_nothing(scene: Scene) -> None:
    operation = uuid4()
    for typed in ("8.0", "9.9"):
        answer = Answer(scene.key("alkalinity"), typed, "dKH", operation=operation)
        entry_store(visit=scene.visit, answer=answer, actor=scene.user)
    assert scene.visit.entries.get(key=scene.key("alkalinity")).typed == "8.0"


def test_an_older_answer_does_not_overwrite_a_newer(scene: Scene) -> None:
    key, now = scene.key("alkalinity"), scene.visit.started_at
    assert now is not None
    for typed, minutes in (("8.0", 10), ("7.0", 5)):
        answer = Answer(key, typed, "dKH", entered_at=now + timedelta(minutes=minutes))
        entry_store(visit=scene.visit, answer=answer, actor=scene.user)
    assert VisitEntry.objects.get(visit=scene.visit, key=key).typed == "8.0"


def test_not_done_because_stands_instead_of_a_value(scene: Scene) -> None:
    scene.type(scene.key("alkalinity"), "", not_done_reason="no reagent")
    assert meant(scene, scene.key("alkalinity")).words == "not done: no reagent"


def test_a_consumable_with_a_wrong_quantity_keeps_the_rest(scene: Scene, signed_in: SignedIn) -> None:
    stock = build(load(scene.visit)).field(f"dose.{scene.reef.pk}.alkalinity.lot")
    assert stock is not None
    chosen = stock.options[0][0]
    data = {"stock": chosen, "quantity": "a few", "use_id": str(uuid4())}
    answer = signed_in(user=scene.user).post(f"/visits/{scene.visit.pk}/uses/", data)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "is not a number" in page
    assert 'value="a few"' in page
    assert f'value="{chosen}" selected' in page


def test_a_file_that_is_no_picture_is_refused_beside_it(scene: Scene, signed_in: SignedIn) -> None:
    from django.core.files.uploadedfile import SimpleUploadedFile

    upload = SimpleUploadedFile("photo.jpg", b"not a picture", "image/jpeg")
    data = {"photo": upload, "group": scene.key("alkalinity")}
    answer = signed_in(user=scene.user).post(f"/visits/{scene.visit.pk}/photos/", data)
    assert answer.status_code == 422
    assert "not a picture" in answer.content.decode()


def test_an_extra_visit_with_wrong_days_keeps_the_rest(scene: Scene, signed_in: SignedIn) -> None:
    data = {"kind": "extra", "task": "Look at the chiller", "due_on": "31.2.", "latest_on": "2026-12-04",
            "duration_min": "60", "token": str(uuid4())}  # fmt: skip
    answer = signed_in("planner").post(f"/visits/sites/{scene.visit.site_id}/extra/", data)
    assert answer.status_code == 422
    assert "Look at the chiller" in answer.content.decode()
    assert not Visit.objects.filter(kind=Visit.Kind.EXTRA).exists()
