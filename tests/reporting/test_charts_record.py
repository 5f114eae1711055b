"""What weather did to the intervals, as a chart whose words an owner would use."""

from __future__ import annotations

from typing import Any

from pourstats.reporting.charts_record import weather_effects


def effect(cause: str, step: str, minutes: float, clear: bool = True) -> dict[str, Any]:
    return {"cause": cause, "step": step, "minutes": minutes, "minutes_low": minutes - 5,
            "minutes_high": minutes + 5, "clear": clear, "having": 9}  # fmt: skip


def test_causes_are_said_shortly_and_minutes_as_sooner_or_later() -> None:
    effects = [
        effect("air temperature", "10 °F warmer", -19.2), effect("exposure: sun",
        "part sun against shade", 8.0), effect("finish: broom", "against hard_trowel", -40.0),
        effect("added: accelerator", "with against without", -38.0, clear=False),
        effect("base: vapor_sheet", "against without", 3.0, clear=False),
    ]  # fmt: skip
    part = {"what": "first pass", "effects": effects, "pours": 40, "median_min": 110.0}
    drawn = weather_effects({"first_pass": part}, "first_pass", "metric")
    assert drawn is not None
    # 10 °F of difference are 5.6 °C (NIST SP 811, appendix B.9: 1 °F of interval = 5/9 °C).
    assert drawn.title == (
        "First pass: air temperature (5.6 °C warmer) 19 min sooner; part sun, not shade 8 min"
        " later; finish: broom, not hard trowel 40 min sooner"
    )
    assert "added: accelerator -43 to -33" in drawn.words
    assert "base: vapor sheet -2 to +8" in drawn.words
