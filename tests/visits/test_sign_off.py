"""Sign-off: one transaction, once, frozen."""

import json
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction

from servicedesk.care.models import Addition
from servicedesk.care.queries import programme_in_force
from servicedesk.care.services import programme_put_in_force
from servicedesk.consumables.models import Move
from servicedesk.consumables.queries import balance
from servicedesk.installations.models import PlantCheck
from servicedesk.readings.models import Reading
from servicedesk.visits import snapshot
from servicedesk.visits.models import HandOn, Visit, VisitReport
from servicedesk.visits.services.form import Answer, entry_store
from servicedesk.visits.services.schedule import visit_assign
from servicedesk.visits.services.sign_off import visit_sign_off
from tests.builders import a_machine
from tests.conftest import SignedIn
from tests.visits.filling import STARTED, Scene, a_scene, fill


def problems(scene: Scene) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        visit_sign_off(visit=scene.visit, actor=scene.user)
    return caught.value.message_dict


def test_readings_enter_the_books(scene: Scene) -> None:
    fill(scene, "7.0")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    found = Reading.objects.get(installation=scene.reef, taken_at=STARTED)
    assert found.typed_value == "7.0"
    assert found.value == pytest.approx(7.0 * 10 / 28.0385, rel=1e-4)  # meq/L, from CaO 56.077 g/mol by hand


def test_a_dose_is_an_addition_and_leaves_the_van(scene: Scene) -> None:
    fill(scene, "7.0").type(f"dose.{scene.reef.pk}.alkalinity", "20", "g")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    assert Addition.objects.get(installation=scene.reef).mass_g == 20
    assert balance(scene.salt, scene.place) == 4980
    assert Move.objects.filter(document=f"visit:{scene.visit.pk}").count() == 1


def test_changed_settings_are_a_new_programme_version(scene: Scene) -> None:
    first = programme_put_in_force(installation=scene.reef, settings={"temperature_c": 25.0}, at=STARTED.replace(day=1),
                                   actor=None)  # fmt: skip
    fill(scene).type(f"set.{scene.reef.pk}.temperature_c", "25.5", "degC")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    now = programme_in_force(scene.reef)
    assert now is not None
    assert (now.number, now.settings) == (2, {"temperature_c": 25.5})
    first.refresh_from_db()
    assert first.settings == {"temperature_c": 25.0}


def test_a_setting_out_of_its_limits_is_told_beside_the_field(scene: Scene) -> None:
    fill(scene).type(f"set.{scene.reef.pk}.temperature_c", "45", "degC")
    assert f"set.{scene.reef.pk}.temperature_c" in problems(scene)


def test_plant_is_noted_as_found_and_as_left(scene: Scene) -> None:
    chiller = a_machine(scene.reef, "chiller")
    fill(scene).type(f"plant.{chiller.pk}.set_point_c", "25", "degC")
    scene.type(f"plant.{chiller.pk}.set_point_c.left", "25.5", "degC")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    assert dict(PlantCheck.objects.filter(plant_item=chiller).values_list("moment", "value")) == {
        "found": 25.0,
        "left": 25.5,
    }


def test_a_note_is_handed_on_and_those_read_are_settled(scene: Scene) -> None:
    old = HandOn.objects.create(site=scene.visit.site, text="Mind the wet step", at=STARTED)
    fill(scene).type("next.1.text", "Bring the long brush")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    old.refresh_from_db()
    assert old.settled_by_visit_id == scene.visit.pk
    assert HandOn.objects.get(settled_by_visit=None).text == "Bring the long brush"


def test_a_task_handed_on_and_not_done_stays_open(scene: Scene) -> None:
    note = HandOn.objects.create(site=scene.visit.site, text="Clean the weir", kind=HandOn.Kind.TASK, at=STARTED)
    Visit.objects.filter(pk=scene.visit.pk).update(state=Visit.State.DUE)
    scene.visit.refresh_from_db()
    visit_assign(
        visit=scene.visit, technician=scene.user, planned_on=scene.visit.due_on, planned_start=None, actor=None
    )
    task = scene.visit.tasks.get(hand_on=note)
    fill(scene).type(f"do.{task.pk}", "not_done", not_done_reason="no time")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    note.refresh_from_db()
    assert note.settled_by_visit_id is None


def test_an_alarm_asks_for_the_next_visit_sooner(scene: Scene) -> None:
    fill(scene, "5.5")
    visit_sign_off(visit=scene.visit, actor=scene.user)
    scene.next_visit.refresh_from_db()
    assert scene.next_visit.needed_by is not None
    assert scene.next_visit.needed_by.isoformat() == "2026-11-27"
    assert "alarm" in scene.next_visit.needed_why


def test_the_snapshot_verifies_and_one_changed_letter_does_not(scene: Scene) -> None:
    report = visit_sign_off(visit=fill(scene).visit, actor=scene.user)
    import hashlib

    assert hashlib.sha256(report.snapshot.encode()).hexdigest() == report.sha256
    assert snapshot.digest(report.snapshot.replace("8.0", "8.1")) != report.sha256


@pytest.mark.parametrize(
    "key",
    ["arrive.at", "leave.at", "sign.technician.strokes", "sign.technician.name", "sign.client.how"],
)
def test_what_is_missing_is_told_by_field_and_nothing_is_stored(scene: Scene, key: str) -> None:
    fill(scene).type(key, "")
    assert list(problems(scene)) == [key]
    assert not VisitReport.objects.exists()
    assert not Reading.objects.filter(taken_at=STARTED).exists()


@pytest.mark.parametrize("strokes", ["not json", "{}", '[["a", "b"]]', "[[[1, 2]]]", '[[["x", 1], [2, 3]]]'])
def test_a_drawing_that_is_none_is_no_signature(scene: Scene, strokes: str) -> None:
    fill(scene).type("sign.technician.strokes", strokes)
    assert "sign.technician.strokes" in problems(scene)


def test_an_emptied_reading_does_not_count_as_tested(scene: Scene) -> None:
    fill(scene).type(scene.key("alkalinity"), "")
    assert any(key.startswith("test.") for key in problems(scene))


def test_an_odd_value_not_kept_stands_in_the_way(scene: Scene) -> None:
    fill(scene).type(scene.key("alkalinity"), "7.8", "meq_l")
    assert list(problems(scene)) == [scene.key("alkalinity")]


def test_a_failed_safety_check_must_be_made_safe(scene: Scene) -> None:
    from servicedesk.installations.models import PlantKind
    from servicedesk.installations.plant_checks import checks_for

    kind, spec = next((kind, spec) for kind in PlantKind.values for spec in checks_for(kind) if spec.safety)
    machine = a_machine(scene.reef, kind)
    key = f"plant.{machine.pk}.{spec.key}"
    fill(scene).type(key, min(spec.bad_words))
    assert f"{key}.safe" in problems(scene)
    scene.type(f"{key}.safe", "Switched off and tagged; told reception")
    assert visit_sign_off(visit=scene.visit, actor=scene.user).revision == 1


def test_a_wrong_sign_off_comes_back_with_all_that_was_typed(scene: Scene, signed_in: SignedIn) -> None:
    fill(scene).type("leave.at", "late")
    scene.type("notes.client", "Glass cleaned")
    answer = signed_in(user=scene.user).post(f"/visits/{scene.visit.pk}/sign/")
    assert answer.status_code == 422
    assert "Glass cleaned" in answer.content.decode()
    assert "14:30" in answer.content.decode()


def test_signing_again_returns_the_report_that_stands(scene: Scene) -> None:
    fill(scene)
    first = visit_sign_off(visit=scene.visit, actor=scene.user)
    assert visit_sign_off(visit=scene.visit, actor=scene.user).pk == first.pk
    assert Reading.objects.filter(taken_at=STARTED).count() == 1


def test_nothing_can_be_typed_after_signing(scene: Scene) -> None:
    visit_sign_off(visit=fill(scene).visit, actor=scene.user)
    with pytest.raises(ValidationError):
        entry_store(visit=scene.visit, answer=Answer("notes.client", "more"), actor=scene.user)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("update visits_visitreport set snapshot = '{}'", "report_frozen"),
        ("update visits_visitreport set sha256 = ''", "report_frozen"),
        ("delete from visits_visitreport", "report_keep"),
        ("update visits_visit set signed_at = now() where signed_at is not null", "visit_frozen"),
        ("update visits_visit set state = 'due' where signed_at is not null", "visit_frozen"),
        ("delete from visits_visit", "visit_keep"),
    ],
)
def test_the_database_itself_refuses_to_change_what_was_signed(scene: Scene, statement: str, words: str) -> None:
    visit_sign_off(visit=fill(scene).visit, actor=scene.user)
    with pytest.raises(DatabaseError, match="pgtrigger") as caught, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert words.split("_", maxsplit=1)[0] in str(caught.value)


@pytest.mark.usefixtures("committed")
def test_two_taps_at_once_make_one_report() -> None:
    scene = fill(a_scene(), "7.0")
    scene.type(f"dose.{scene.reef.pk}.alkalinity", "20", "g")

    def sign(_number: int) -> UUID:
        try:
            return visit_sign_off(visit=Visit.objects.get(pk=scene.visit.pk), actor=scene.user).pk
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as threads:
        found = set(threads.map(sign, range(2)))
    assert len(found) == 1
    assert VisitReport.objects.count() == 1
    assert Addition.objects.count() == 1
    assert balance(scene.salt, scene.place) == 4980


def test_the_report_speaks_the_clients_units_whatever_was_typed(scene: Scene) -> None:
    client = scene.visit.site.client
    client.alkalinity_unit = "ppm_caco3"
    client.save()
    fill(scene, "7.0")
    report = visit_sign_off(visit=scene.visit, actor=scene.user)
    assert "ppm CaCO₃" in report.snapshot
    assert " dKH" not in " ".join(advice(report))


def advice(report: VisitReport) -> list[str]:
    data = json.loads(report.snapshot)
    return [
        sentence for part in data["installations"] for row in part["readings"] for sentence in row.get("advice", [])
    ]
