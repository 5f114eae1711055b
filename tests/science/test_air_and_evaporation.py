"""Moist air and evaporation against printed tables and against psychrolib."""

import importlib.util
from pathlib import Path

import numpy as np
import psychrolib
import pytest

from pourstats.science import air, evaporation

_spec = importlib.util.spec_from_file_location(
    "published_science", Path(__file__).parents[1] / "published_science.py"
)
published = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(published)


def test_saturation_pressure_is_ashraes():
    for temp_c, pressure in published.SATURATION_PA:
        # psychrolib's own tests promise 0.03 % against this table
        assert air.saturation_pressure_pa(temp_c) == pytest.approx(pressure, rel=3e-4)


def test_saturation_and_dew_point_agree_with_psychrolib():
    psychrolib.SetUnitSystem(psychrolib.SI)
    for temp in (-15.0, 3.0, 18.0, 35.0, 48.0):
        assert air.saturation_pressure_pa(temp) == pytest.approx(
            psychrolib.GetSatVapPres(temp), rel=1e-6
        )
        for humidity in (12, 50, 96):
            assert air.dew_point_c(temp, humidity) == pytest.approx(
                psychrolib.GetTDewPointFromRelHum(temp, humidity / 100), abs=0.01
            )


def test_dew_point_of_the_airs_own_saturation_is_its_temperature():
    assert air.dew_point_c([5, 20, 40], 100) == pytest.approx([5, 20, 40], abs=1e-5)


def test_wind_at_the_slab_is_about_half_of_the_weather_stations():
    # ln(0.5 / 0.03) / ln(10 / 0.03) = 0.484 (logarithmic profile, by hand)
    assert air.wind_at_slab_mph(10.0, 10.0) == pytest.approx(4.84, abs=0.01)
    assert air.wind_at_slab_mph(10.0, np.nan) == pytest.approx(4.84, abs=0.01)
    assert air.wind_at_slab_mph(10.0, 0.5) == pytest.approx(10.0)


def test_evaporation_example_of_the_nomograph():
    # ACI 305R nomograph caption: air 80, 50 %, concrete 87, 12 mph: about 0.25; chart reading 0.02
    assert evaporation.menzel_lb_ft2_h(87, 80, 50, 12) == pytest.approx(0.25, abs=0.02)
    assert evaporation.uno_lb_ft2_h(87, 80, 50, 12) == pytest.approx(0.25, abs=0.02)


def test_menzel_reproduces_lerchs_table():
    rows = np.array(published.LERCH)
    found = evaporation.menzel_lb_ft2_h(rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3])
    assert np.abs(found - rows[:, 4]).max() <= 0.008


def test_critical_humidities_come_out_near_the_precaution_level():
    rows = np.array(published.CRITICAL_HUMIDITY)
    found = evaporation.menzel_lb_ft2_h(rows[:, 0], rows[:, 1], rows[:, 2], 10.0)
    # humidity is rounded to tens in the table, worth about 0.02
    assert found == pytest.approx(np.full(len(rows), 0.2), abs=0.022)


def test_the_si_forms_agree_with_the_us_ones_as_far_as_printed():
    c, a = air.celsius([87.0, 70.0]), air.celsius([80.0, 50.0])
    us = evaporation.KG_M2_PER_LB_FT2
    menzel = evaporation.menzel_lb_ft2_h([87, 70], [80, 50], 50, 12) * us
    assert evaporation.menzel_kg_m2_h(c, a, 50, 12 * 1.609344) == pytest.approx(menzel, rel=0.02)
    # Uno's rounded SI form lies 4 % below the US one: 1.138 against 1.189 kg/m2/h
    assert evaporation.uno_kg_m2_h(c[0], a[0], 50, 12 * 1.609344) == pytest.approx(1.138, abs=0.002)
    assert evaporation.uno_lb_ft2_h(87, 80, 50, 12) * us == pytest.approx(1.189, abs=0.002)


def test_concrete_below_the_dew_point_dries_nothing():
    assert evaporation.menzel_lb_ft2_h(50, 80, 90, 10) == 0
    assert evaporation.uno_lb_ft2_h(50, 80, 90, 10) == 0


def test_caution_levels():
    # FHWA-HRT-05-038 ch. 5: caution 0.5, action 1.0 kg/m2/h
    assert [evaporation.caution(x) for x in (0.09, 0.1, 0.2, np.nan)] == [
        "low", "caution", "precautions", "unknown",
    ]  # fmt: skip
