"""The slab's heat balance against closed forms and its own books."""

import numpy as np
import pytest
from scipy.special import erfc, erfcx

from pourstats.science import heat

CALM = {"humidity_pct": 50.0, "hydration": 0.0, "evaporation": 0.0, "emissivity": 0.0}


def test_a_deep_slab_in_still_air_follows_the_semi_infinite_solution():
    """Carslaw and Jaeger 1959, sec. 2.7: a half-space at 30 degC whose face meets air of 0 degC."""
    steps, step_h = 240, 1 / 60
    found = heat.slab_temperatures(
        np.zeros((1, steps)), wind_m_s=0.0, sun_w_m2=0.0, step_h=step_h, concrete_c=30.0,
        thickness_m=0.6, base_c=30.0, slab_layers=60, base_layers=5, base_m=1.0, **CALM,
    )  # fmt: skip
    k, c, h = heat.CONCRETE_W_M_K, heat.CONCRETE_J_M3_K, 5.6
    seconds = steps * step_h * 3600
    diffused = 2 * np.sqrt(k / c * seconds)
    depth = (np.arange(60) + 0.5) * 0.01
    reach = h / k * diffused / 2
    z = depth / diffused
    expected = 30 * (1 - (erfc(z) - np.exp(-(z**2)) * erfcx(z + reach)))
    assert found.layers_c[0, -1, :40] == pytest.approx(expected[:40], abs=0.05)


def test_an_insulated_slab_cools_like_a_lump():
    """Foam below and little depth: T falls as exp(-h t / (rho c d)) (lumped body, Biot 0.1)."""
    steps, step_h, d = 120, 1 / 20, 0.03
    found = heat.slab_temperatures(
        np.zeros((1, steps)), wind_m_s=0.0, sun_w_m2=0.0, step_h=step_h, concrete_c=30.0,
        thickness_m=d, base="foam_board", base_c=0.0, base_m=0.2, **CALM,
    )  # fmt: skip
    film = 1 / (1 / 5.6 + d / 2 / heat.CONCRETE_W_M_K)
    under = 1 / (0.05 / 0.035)
    seconds = steps * step_h * 3600
    expected = 30 * np.exp(-(film + 0.6 * under) * seconds / (heat.CONCRETE_J_M3_K * d))
    # The foam's own loss is bracketed, not exact: 10 % of the fall.
    assert found.mean_c[0, -1] == pytest.approx(expected, abs=3.0)


def test_energy_in_equals_energy_stored():
    """The books of a summer day close within 0.1 % of what moved (conservation of energy)."""
    hours = np.arange(0, 12, 0.25)
    air = 22 + 6 * np.sin((hours - 3) / 12 * np.pi)
    found = heat.slab_temperatures(
        np.stack([air, air - 15]), 55.0, 2.0, np.stack([600 + 0 * hours, 0 * hours]), step_h=0.25,
        concrete_c=[26.0, 18.0], thickness_m=[0.1, 0.15], base=["soil", "foam_board"],
    )  # fmt: skip
    assert found.gained_j_m2 == pytest.approx(found.stored_j_m2, rel=1e-3)
    assert np.all(np.abs(found.stored_j_m2) > 1e5)


def test_adiabatic_rise_of_a_day_is_in_the_usual_range():
    """310 kg of cement a m3 warms concrete by 20 to 32 K in a sealed day (ACI 207.1R fig., from memory)."""
    found = heat.slab_temperatures(
        np.full((1, 96), 20.0), humidity_pct=50.0, wind_m_s=0.0, sun_w_m2=0.0, step_h=0.25,
        concrete_c=20.0, thickness_m=0.6, base="foam_board", base_c=20.0, base_m=0.1,
        slab_layers=30, evaporation=0.0, emissivity=0.0,
    )  # fmt: skip
    assert 15 < found.layers_c[0, -1, 28] - 20 < 32


def test_sun_warms_foam_keeps_and_stone_cools():
    air = np.full((3, 16), 20.0)
    sun = np.array([[0.0], [600.0], [600.0]]) * np.ones(16)
    found = heat.slab_temperatures(
        air,
        60.0,
        2.0,
        sun,
        step_h=0.25,
        concrete_c=22.0,
        thickness_m=0.1,
        base=["soil", "soil", "foam_board"],
        base_c=14.0,
    )
    shade, sunny, foam = found.mean_c[:, -1]
    assert sunny > shade + 2
    assert foam > sunny + 1


def test_convection_agrees_with_the_printed_constants():
    # McAdams 1954, W/(m2 K): 5.6 in still air, 25.4 at 5 m/s, 45.8 at 10 m/s (7.6 x 10^0.78)
    assert heat.convection_w_m2_k([0, 5, 10]) == pytest.approx([5.6, 25.35, 45.8], abs=0.1)
