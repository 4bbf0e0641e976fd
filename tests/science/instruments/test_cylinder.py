import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.instruments import cylinder


@pytest.mark.source("CoolProp (Span & Wagner 1996) as an independent library: saturated carbon dioxide")
@given(temp_c=st.floats(0, 30))
def test_saturation(temp_c: float) -> None:
    kelvin = temp_c + 273.15
    assert cylinder.vapour_pressure_kpa(temp_c) == pytest.approx(
        PropsSI("P", "T", kelvin, "Q", 1, "CO2") / 1000, rel=2e-4
    )
    assert cylinder.vapour_kg_l(temp_c) == pytest.approx(PropsSI("D", "T", kelvin, "Q", 1, "CO2") / 1000, rel=2e-3)


@pytest.mark.source("CoolProp: a full 5 kg cylinder of 6.7 L at 20 °C holds two phases")
def test_liquid_left() -> None:
    assert cylinder.liquid_left(content_kg=5, volume_l=6.7, temp_c=20)
    assert PropsSI("Q", "T", 293.15, "D", 5 / 0.0067, "CO2") < 1
    assert not cylinder.liquid_left(content_kg=1, volume_l=6.7, temp_c=20)
    assert PropsSI("D", "T", 293.15, "Q", 1, "CO2") > 1 / 0.0067


@pytest.mark.source("mass balance")
def test_content_by_weight() -> None:
    found = cylinder.content(gross_kg=11.2, tare_kg=8.1, resolution_kg=0.0, scale_sd_kg=0.05)
    assert found.value == pytest.approx(3.1)
    assert found.sd == pytest.approx(0.05)
    assert cylinder.content(gross_kg=8.05, tare_kg=8.1).value == 0.0


@pytest.mark.source("mass balance")
@given(use=st.floats(1, 500), days=st.floats(1, 100))
def test_days_follow_from_use(use: float, days: float) -> None:
    after = 5.0
    before = after + use * days / 1000
    assert cylinder.use_g_day(before_kg=before, after_kg=after, days=days) == pytest.approx(use)
    assert cylinder.days_left(content_kg=use * days / 1000 + 0.5, use_g_day=use, reserve_kg=0.5) == pytest.approx(days)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_cylinder_refuses(bad: float) -> None:
    for call in (
        lambda: cylinder.content(gross_kg=bad, tare_kg=8),
        lambda: cylinder.days_left(content_kg=3, use_g_day=bad),
        lambda: cylinder.use_g_day(before_kg=9, after_kg=8, days=bad),
        lambda: cylinder.vapour_pressure_kpa(bad),
    ):
        with pytest.raises(ScienceError):
            call()


def test_cylinder_names_the_mix_up() -> None:
    with pytest.raises(OutOfRange, match="tare"):
        cylinder.content(gross_kg=7, tare_kg=8)
    with pytest.raises(OutOfRange, match="heavier"):
        cylinder.use_g_day(before_kg=8, after_kg=11, days=7)
    with pytest.raises(OutOfRange, match="cylinder temperature"):
        cylinder.vapour_pressure_kpa(35)  # above the critical temperature there is no liquid
