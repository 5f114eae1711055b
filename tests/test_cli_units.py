"""What jobs ahead are told in: US units, or metric where that is asked for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands import Run

JOB = """pour_id,date,site,slab_type,area,thickness,ordered_volume,hands,finish_hands,placement,exposure,finish
A1,2031-01-14,Oak,garage,700,4,18,4,1,chute,sun,trowel
"""
SKY = "site,time,air_temp,humidity,wind,cloud\n" + "".join(
    f"Oak,2031-01-14 {hour:02d}:00,{air},70,5,clear\n"
    for hour, air in ((5, 30), (12, 45), (22, 32))
)


@pytest.fixture
def told(run: Run, tmp_path: Path) -> dict[str, list[str]]:
    """The call of each command on one cold day, without a store."""
    jobs, sky = tmp_path / "jobs.csv", tmp_path / "sky.csv"
    jobs.write_text(JOB, encoding="utf-8")
    sky.write_text(SKY, encoding="utf-8")
    given = [str(jobs), "--forecast", str(sky)]
    return {name: [name, *given] for name in ("trucks", "finishing", "plan")}


# 18 yd3 are 13.8 m3, 10 yd3 7.65 m3; ten minutes a yard are thirteen a cubic meter;
# concrete placed in the cold at 55 °F or more (ACI 306R): 13 °C.
@pytest.mark.parametrize(
    ("name", "us", "metric"),
    [
        ("trucks", ["Order 18 yd³", "10 min/yd³", "trucks of 10 yd³"],
         ["Order 13.8 m³", "13 min/m³", "trucks of 7.65 m³"]),
        ("finishing", ["55 °F", "0.1 lb/ft²/h"], ["13 °C", "0.49 kg/m²/h"]),
        ("plan", ["55 °F"], ["13 °C"]),
    ],
)  # fmt: skip
def test_each_command_shows_the_units_asked_for(
    run: Run, told: dict[str, list[str]], name: str, us: list[str], metric: list[str]
) -> None:
    plain = " ".join(run(*told[name]).out.split())
    assert all(text in plain for text in us)
    found = run(*told[name], "--units", "metric")
    shown = " ".join(found.out.split())
    assert found.status == 0
    assert all(text in shown for text in metric)
    assert not any(unit in shown for unit in ("yd³", "ft²", "°F", "yd3"))


def test_what_programs_read_keeps_its_units(run: Run, told: dict[str, list[str]]) -> None:
    one = json.loads(run(*told["trucks"], "--json").out)
    other = json.loads(run(*told["trucks"], "--json", "--units", "metric").out)
    assert one == other
