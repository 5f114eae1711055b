"""Amounts in finished texts, in metric. Factors: NIST SP 811 (2008), appendix B.8: 1 yd3 is
0.764555 m3, 1 ft2 is 0.09290304 m2, 1 mi/h is 1.609344 km/h, 1 lb/(ft2 h) is 4.88243 kg/(m2 h)
(0.45359237 kg over 0.09290304 m2), t/°C = (t/°F - 32)/1.8."""

from __future__ import annotations

import pytest

from pourstats.reporting.amounts import in_system


@pytest.mark.parametrize(
    ("us", "metric"),
    [
        ("at 55 °F or more", "at 13 °C or more"),
        ("Air down to -4 °F, the slab to 50 °F", "Air down to -20 °C, the slab to 10 °C"),
        ("at 55\n    °F or more", "at 13\n    °C or more"),
        ("air temperature (10 °F warmer)", "air temperature (5.6 °C warmer)"),
        ("up to 9 °F more", "up to 5 °C more"),
        ("wind (5 mph more)", "wind (8 km/h more)"),
        ("Drying 0.10, up to 0.20 lb/ft²/h (±40 %)", "Drying 0.49, up to 0.98 kg/m²/h (±40 %)"),
        ("Order 11.5 yd³ in 2 loads", "Order 8.79 m³ in 2 loads"),
        ("1,076.4 ft2 basement, 4000 psi", "100 m² basement, 28 MPa"),
        ("Free time 10 min/yd³ from then", "Free time 13 min/m³ from then"),
        ("$7.65 a yard placed ($3.82 to $15.29)", "$10.01 a m³ placed ($5.00 to $20.00)"),
        (
            "costs\n$7.65 a\nyard placed ($3.82 to\n$15.29)",
            "costs\n$10.01 a\nm³ placed ($5.00 to\n$20.00)",
        ),
        ("$7.65 a yard ($3.82 to $15.29: too few)", "$10.01 a m³ ($5.00 to $20.00: too few)"),
        ("Rain from 12:30, 0.20 in, before", "Rain from 12:30, 5 mm, before"),
        ("07:00  load 1     10 yd³  unloads", "07:00  load 1   7.65 m³  unloads"),
    ],
)
def test_an_amount_is_shown_in_metric(us: str, metric: str) -> None:
    assert in_system(us, "metric").split() == metric.split()
    assert in_system(us, "us") == us


def test_what_is_no_amount_stays() -> None:
    text = "9 in 10; at 12:30 in, 2 of 3; $2.00 a minute ($1.12 to $17.30); B10 yd; ACI 306R"
    assert in_system(text, "metric") == text


def test_columns_keep_their_places() -> None:
    us = "  07:00  load 1     10 yd³  unloads\n  08:12  load 2  11.25 yd³  unloads"
    first, second = in_system(us, "metric").splitlines()
    assert first.index("m³") == second.index("m³") == us.splitlines()[0].index("yd³") + 1
