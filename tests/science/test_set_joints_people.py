"""Set, maturity, joints, volume and crew weather against printed values."""

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pourstats.science import bleed, heat_stress, joints, setting, sun, volume
from pourstats.science.air import celsius

_spec = importlib.util.spec_from_file_location(
    "published_science", Path(__file__).parents[1] / "published_science.py"
)
published = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(published)


def test_equivalent_age_and_maturity_of_the_worked_day():
    temp = np.array(published.DAY_OF_MATURITY_C, float)
    hours = np.array(published.DAY_OF_MATURITY_H, float)
    mean, step = (temp[1:] + temp[:-1]) / 2, np.diff(hours)
    assert setting.nurse_saul_c_h(mean, step) == pytest.approx(680)
    assert setting.nurse_saul_c_h(mean, step, datum_c=-10) == pytest.approx(920)
    assert setting.equivalent_age_h(mean, step) == pytest.approx(39.08, abs=0.01)


def test_affinity_ratios():
    for temp_c, ratio in published.AFFINITY_Q5000:
        found = setting.affinity(temp_c, 5000 * 8.314)
        assert found == pytest.approx(ratio, abs=1e-4)


def test_maturity_at_a_steady_temperature():
    # ASTM C1074 exam page: 28 days at 15 degC over -11 degC is 728 degC days
    assert setting.nurse_saul_c_h(15.0, [28.0], datum_c=-11.0) == pytest.approx(728)


def test_twenty_degrees_colder_about_doubles_the_set():
    # NRMCA CIP 27: x2; one third per 10 degF (Concrete Construction): x1.78
    ratio = setting.final_set_h(celsius(50)) / setting.final_set_h(celsius(70))
    assert 1.75 <= ratio <= 2.05
    cooler = setting.initial_set_h(celsius(50)) / setting.initial_set_h(celsius(70))
    assert 1.75 <= cooler <= 2.05


def test_set_agrees_with_the_printed_table_where_it_says_so():
    for temp_f, hours in published.SET_H.items():
        assert setting.final_set_h(celsius(temp_f)) == pytest.approx(hours, rel=0.15)
        assert setting.PRINTED_SET_H[temp_f] == pytest.approx(hours)


def test_the_printed_table_stands_beside_ours_beyond_its_agreement():
    # the same table at 90 and 100 degF: 2 2/3 and 1 2/3 h; ours is longer there
    assert setting.printed_set_h([90, 100]) == pytest.approx([2.667, 1.667], abs=0.01)
    assert np.all(setting.final_set_h(celsius([90, 100])) > setting.printed_set_h([90, 100]))
    assert np.isnan(setting.printed_set_h(20))


def test_float_times_are_the_surveys():
    for temp_f, hours in published.FLOAT_H.items():
        assert setting.float_ready_h(celsius(temp_f)) == pytest.approx(hours, rel=0.05)


def test_readiness_comes_before_set_and_feels_temperature_less():
    ratio = setting.float_ready_h(celsius(50)) / setting.float_ready_h(celsius(70))
    assert ratio < setting.final_set_h(celsius(50)) / setting.final_set_h(celsius(70)) - 0.2
    assert setting.float_ready_h(celsius(70)) < setting.initial_set_h(celsius(70))


def test_water_delays_and_a_reducer_does_not():
    wet = setting.mix_delay(7, (), None, 21)
    assert wet > 1.05
    assert setting.mix_delay(7, ("mid_range_reducer",), None, 21) == 1
    assert setting.mix_delay(4, ("retarder",), None, 21) > 1.2
    assert setting.mix_delay(4, ("accelerator",), None, 21) < 0.85
    assert setting.mix_delay(4, (), 25, 10) > setting.mix_delay(4, (), 25, 21) > 1


def test_an_admixtures_shift_is_within_the_c494_limits():
    # ASTM C494 type B: initial set 1:00 to 3:30 later (from memory)
    low, high = setting.SHIFT_H["retarder"]
    plain = setting.initial_set_h(21.111)
    assert low <= setting.initial_set_h(21.111, (low + high) / 2) - plain <= high


def test_joint_spacing_and_depth():
    for thickness, near, far in published.SPACING_FT:
        assert joints.spacing_range_ft(thickness) == pytest.approx((near, far))
    assert joints.spacing_range_ft(8)[1] == 18  # ACI 302.1R-96: at most 18 ft
    # CIP 6 and ACI 327R-14: a quarter of the slab; Shields: 1 in for early entry to 9 in
    assert joints.saw_depth_in([4, 6, 8], "conventional") == pytest.approx([1, 1.5, 2])
    assert joints.saw_depth_in([4, 6, 9], "early_entry") == pytest.approx([1, 1, 1])
    with pytest.raises(ValueError, match="24 to 36"):
        joints.spacing_ft(4, 50)


def test_saw_windows_stay_in_the_aci_rows():
    temps = celsius([50, 60, 70, 80, 90])
    # ACI FAQ 915: conventional 4 to 12 h after placing; early entry 1 h hot to about 4 h cold
    opening, closing = joints.saw_hours(temps, "conventional")
    assert np.all((opening >= 4) & (opening <= 14))
    assert np.all(np.diff(opening) <= 0)
    assert np.all(closing > opening + 2)
    early, _ = joints.saw_hours(temps, "early_entry")
    assert early[0] == pytest.approx(4, abs=0.3)
    assert early[-1] == pytest.approx(1, abs=0.3)


def test_yards():
    for thickness, cover in published.COVER_FT2:
        assert volume.cover_ft2_per_yd3(thickness) == pytest.approx(cover)
    assert volume.plan_yd3(1200, 4) == pytest.approx(14.81, abs=0.01)  # about 15 yd in print
    assert volume.plan_yd3(200, 6) == pytest.approx(3.7, abs=0.01)
    assert volume.shortfall_pct(4) == pytest.approx(3, abs=0.2)  # NRMCA CIP 8
    assert 1.04 <= volume.order_yd3(324, 1) <= 1.10  # CIP 8: 4 to 10 % over


def test_heat_index_is_the_charts():
    rows = np.array(published.HEAT_INDEX, float)
    humid = (rows[:, 1] > 85) & (rows[:, 0] <= 87)  # the algorithm adds to the chart here
    found = heat_stress.heat_index_f(rows[:, 0], rows[:, 1])
    assert np.abs(found - rows[:, 2])[~humid].max() <= 1.3
    # MetPy's tests, read off the NWS page in 2019: 86/45 is 87, 111/27 121, 96/60 116, 86/88 104
    assert np.round(heat_stress.heat_index_f([86, 111, 96, 86], [45, 27, 60, 88])) == pytest.approx(
        [87, 121, 116, 104]
    )


def test_wind_chill_is_the_charts():
    rows = np.array(published.WIND_CHILL, float)
    found = heat_stress.wind_chill_f(rows[:, 0], rows[:, 1])
    assert np.abs(found - rows[:, 2]).max() <= 0.51  # printed to whole degrees
    assert heat_stress.wind_chill_f(10, 4) == pytest.approx(
        2.6231, abs=0.05
    )  # MetPy, by the SI form
    assert heat_stress.wind_chill_f(60, 20) == 60


def test_the_sun_stands_where_nrel_puts_it():
    # NREL/TP-560-34302 table A5.1; without its altitude and pressure refraction differs by 0.01
    times = pd.DatetimeIndex(["2003-10-17 19:30:30"])
    assert sun.zenith_deg(times, 39.742476, -105.1786) == pytest.approx(50.11162, abs=0.01)


def test_clear_and_cloudy_sky():
    # Haurwitz 1098 cos z exp(-0.059 / cos z), by hand: 1035, 888, 487 W/m2
    assert sun.clear_sky_w_m2([0, 30, 60, 95]) == pytest.approx([1035, 888, 487, 0], abs=1)
    # Kasten and Czeplak 1980: overcast leaves a quarter
    assert sun.cloudy_w_m2(800, [0, 100]) == pytest.approx([800, 200])


def test_bleed_water_dries_or_stands():
    # 2 % of 160 kg on 4 in: about 0.33 kg/m2 (from memory, +-50 %)
    assert bleed.capacity_kg_m2(4) == pytest.approx(0.33, rel=0.5)
    rise = np.array([[0.1, 0.1, 0.0], [0.1, 0.1, 0.0]])
    dry = np.array([[0.05, 0.05, 0.2], [0.3, 0.3, 0.3]])
    assert bleed.standing_kg_m2(rise, dry) == pytest.approx(np.array([[0.05, 0.1, 0], [0, 0, 0]]))
    assert list(bleed.crusts(rise, dry)) == [False, True]
    assert bleed.risen_share([0, 0.6, 1]) == pytest.approx([0, 1, 1])


@pytest.mark.filterwarnings("error")
def test_frozen_concrete_never_sets_and_warns_of_nothing():
    """NRMCA CIP 27: fresh concrete freezes below about 25 degF; no rate is left then."""
    assert np.isinf(setting.final_set_h(-8.0)) and np.isinf(setting.initial_set_h(-8.0))
    assert np.isinf(setting.float_ready_h(-8.0))
    assert joints.saw_hours(-8.0, "conventional")[1] == 72
    assert joints.saw_hours(-8.0, "early_entry")[0] == 4
