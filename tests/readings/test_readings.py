"""Readings: bands, the latest, corrections, what is typed outside a visit."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.installations.models import SystemKind
from servicedesk.readings.models import Band, BandTemplate, Reading, Sampling
from servicedesk.readings.queries import band_state, bands, latest, overview, series
from servicedesk.readings.services import TypedReading, bands_from_template, reading_correct, sampling_record
from servicedesk.science import units
from tests.builders import a_lot, a_user, an_installation, an_item, readings
from tests.conftest import SignedIn

NOON = datetime(2026, 11, 20, 12, tzinfo=UTC)


@pytest.mark.django_db
@pytest.mark.parametrize("kind", SystemKind.values)
def test_bands_follow_the_template_of_the_kind(kind: str) -> None:
    reef = an_installation(kind=kind)
    wanted = dict(BandTemplate.objects.filter(kind=kind).values_list("parameter_id", "target"))
    assert wanted
    assert {key: band.target for key, band in bands(reef).items()} == wanted


@pytest.mark.django_db
def test_an_edited_band_is_not_overwritten_by_the_template() -> None:
    reef = an_installation()
    Band.objects.filter(installation=reef, parameter="alkalinity").update(target=3.0)
    assert bands_from_template(installation=reef, actor=None) == 0
    assert bands(reef)["alkalinity"].target == 3.0


@pytest.mark.django_db
def test_the_latest_is_the_newest_before_the_moment_asked_for() -> None:
    reef = an_installation()
    for day, typed in ((0, "8.0"), (1, "7.6"), (2, "7.9")):
        readings(reef, NOON + timedelta(days=day), alkalinity=(typed, "dKH"))
    assert latest(reef)["alkalinity"].typed_value == "7.9"
    assert latest(reef, before=NOON + timedelta(days=2))["alkalinity"].typed_value == "7.6"
    assert [row.typed_value for row in series(reef, ["alkalinity"])["alkalinity"]] == ["8.0", "7.6", "7.9"]


@pytest.mark.django_db
def test_a_corrected_reading_keeps_the_old_and_only_the_new_counts() -> None:
    reef = an_installation()
    old = readings(reef, NOON, alkalinity=("6.0", "dKH")).readings.get()
    typed = TypedReading("alkalinity", "8.0", "dKH")
    new = reading_correct(reading=old, typed=typed, actor=a_user("lead_aquarist"))
    old.refresh_from_db()
    assert (old.typed_value, old.superseded_by) == ("6.0", new)
    assert latest(reef)["alkalinity"] == new
    assert series(reef)["alkalinity"] == [new]
    with pytest.raises(ValidationError):
        reading_correct(reading=old, typed=typed, actor=a_user("lead_aquarist"))


@pytest.mark.django_db
def test_a_reading_with_an_expired_reagent_says_so() -> None:
    reef, reagent = an_installation(), an_item(parameter="alkalinity", kind="reagent")
    lot = a_lot(reagent, expires_on=NOON.date() - timedelta(days=1))
    row = TypedReading("alkalinity", "8.0", "dKH", reagent_lot_id=lot.pk)
    sampling = sampling_record(
        sampling_id=uuid4(), installation=reef, taken_at=NOON, actor=None, source=Sampling.Source.TYPED, readings=[row]
    )
    assert sampling.readings.get().reagent_expired


@pytest.mark.django_db
def test_below_detection_is_kept_as_such() -> None:
    found = readings(an_installation(), NOON, phosphate=("<0.02", "mg_L")).readings.get()
    assert found.below_detection
    assert found.typed_value == "<0.02"


@pytest.mark.django_db
def test_the_same_sampling_again_stores_nothing() -> None:
    reef, key = an_installation(), uuid4()
    for typed in ("8.0", "9.0"):
        sampling_record(
            sampling_id=key, installation=reef, taken_at=NOON, actor=None, source=Sampling.Source.TYPED,
            readings=[TypedReading("alkalinity", typed, "dKH")],
        )  # fmt: skip
    assert Reading.objects.get().typed_value == "8.0"


@pytest.mark.django_db
def test_one_impossible_value_stores_none_of_a_sampling() -> None:
    rows = {"alkalinity": ("8.0", "dKH"), "ph": ("81", "pH")}
    with pytest.raises(ValidationError) as caught:
        readings(an_installation(), NOON, **rows)
    assert list(caught.value.message_dict) == ["ph"]
    assert not Reading.objects.exists()
    assert not Sampling.objects.exists()


@pytest.mark.django_db
def test_the_worst_system_comes_first() -> None:
    good, bad = an_installation(), an_installation()
    readings(good, NOON, alkalinity=("8.0", "dKH"))
    readings(bad, NOON, alkalinity=("5.0", "dKH"))
    found = overview([good, bad])
    assert [row.installation for row in found] == [bad, good]
    assert found[0].alarm == ["Alkalinity"]


@given(st.floats(0, 12, allow_nan=False))
def test_a_band_knows_every_value(value: float) -> None:
    band = Band(alarm_low=2.3, low=2.6, target=2.9, high=3.2, alarm_high=3.9)
    state = band_state(value, band)
    assert (state == "in") == (2.6 <= value <= 3.2)
    assert (state == "alarm") == (value < 2.3 or value > 3.9)


@pytest.mark.django_db
def test_the_form_of_a_sampling_names_its_value_fields(signed_in: SignedIn) -> None:
    """The tests below type into these fields."""
    page = signed_in("lead_aquarist").get(f"/water/{an_installation().pk}/readings/new/").content.decode()
    assert 'name="value_alkalinity"' in page
    assert 'name="value_alkalinity_unit"' in page


def send(signed_in: SignedIn, **over: str) -> tuple[object, int]:
    reef = an_installation()
    data = {"taken_at": "2026-11-20T09:00", "note": "Called by the hotel", "token": str(uuid4()),
            "value_alkalinity": "8.0", "value_alkalinity_unit": "dKH"} | over  # fmt: skip
    return signed_in("lead_aquarist").post(f"/water/{reef.pk}/readings/new/", data), reef.pk


@pytest.mark.django_db
def test_a_sampling_outside_a_visit_is_taken_at_the_sites_clock(signed_in: SignedIn) -> None:
    send(signed_in)
    found = Reading.objects.get()
    assert found.taken_at == datetime(2026, 11, 20, 15, tzinfo=UTC)  # 09:00 in Nashville
    assert found.value == pytest.approx(units.to_canonical("alkalinity", 8.0, "dKH"))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "wrong"),
    [("value_alkalinity", "much"), ("value_alkalinity", "99"), ("value_alkalinity", "-1"), ("taken_at", "yesterday"),
     ("taken_at", "2999-01-01T09:00")],
)  # fmt: skip
def test_a_wrong_sampling_is_told_beside_the_field_and_keeps_the_rest(
    signed_in: SignedIn, field: str, wrong: str
) -> None:
    answer, _reef = send(signed_in, **{field: wrong})
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert answer.context["form"].errors.keys() == {field}  # type: ignore[attr-defined]
    page = answer.content.decode()  # type: ignore[attr-defined]
    assert "Called by the hotel" in page
    assert f'value="{wrong}"' in page
    assert not Reading.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(("field", "wrong"), [("low", "few"), ("low", "9.9"), ("high", ""), ("alarm_low", "8.5")])
def test_a_wrong_band_is_told_and_the_old_stands(signed_in: SignedIn, field: str, wrong: str) -> None:
    reef = an_installation()
    before = bands(reef)["alkalinity"].low
    data = {"token": str(uuid4()), "product": ""}
    for name, value in {"alarm_low": "6", "low": "7.5", "target": "8", "high": "9", "alarm_high": "11"}.items():
        data |= {name: value, f"{name}_unit": "dKH"}
    answer = signed_in("lead_aquarist").post(f"/water/{reef.pk}/bands/alkalinity/", data | {field: wrong})
    assert answer.status_code == 422
    assert answer.context["form"].errors
    assert bands(reef)["alkalinity"].low == before
