"""One pour on its line of time: no label is cut off at the edge of a phone's narrow chart."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

from pourstats.reporting.charts_pour import pour_day

# Chart area of a phone of 390 px beside the longest lane's name, and the width of "07:21-16:29" in
# the charts' 12 px letters with its gap, both as measured in Chromium.
PHONE_PX, LABEL_PX = 228, 84


def found() -> dict[str, Any]:
    def at(clock: str) -> str:
        return f"2031-06-03T{clock}:00"

    passes = [
        {"pass_no": n, "start": at(a), "end": at(b), "tool": tool}
        for n, a, b, tool in ((1, "12:31", "12:55", "hand"), (2, "12:55", "13:41", "float_blades"),
                              (3, "13:43", "14:21", "finish_blades"))
    ]  # fmt: skip
    loads = [{"volume": 9.5, "arrived": at("08:11"), "left": at("09:02")},
             {"volume": 6, "arrived": at("11:12"), "left": at("11:42")}]  # fmt: skip
    pour = {"crew_in": at("07:21"), "crew_out": at("16:29"), "place_start": at("08:17"),
            "place_end": at("11:46"), "bull_float_end": at("12:01"), "saw_start": at("14:37"),
            "saw_end": at("16:10")}  # fmt: skip
    return {"pour": pour, "trucks": loads, "passes": passes, "pass_intervals": [],
            "pour_output": {}}  # fmt: skip


def texts(chart: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [
        (layer["mark"]["align"], row)
        for layer in chart["layer"]
        if layer["mark"]["type"] == "text"
        for row in layer["data"]["values"]
    ]


def test_every_label_has_room_on_a_phone() -> None:
    drawn = pour_day(found())
    assert drawn is not None
    told = texts(json.loads(drawn.chart.to_json()))
    assert [row["lane"] for _, row in told if row["lane"].startswith("pass 3")] == [
        "pass 3, finish blades"
    ]
    day = (dt.datetime(2031, 6, 3, 16, 29) - dt.datetime(2031, 6, 3, 7, 21)).total_seconds()
    for align, row in told:
        begun = dt.datetime.fromisoformat(row["at"]) - dt.datetime(2031, 6, 3, 7, 21)
        px = PHONE_PX * begun.total_seconds() / day
        room = px if align == "right" else PHONE_PX - px
        assert room >= LABEL_PX, row["lane"]
    assert len(told) == len({row["lane"] for _, row in told}) == 9


def test_amounts_of_loads_stand_in_the_units_chosen() -> None:
    drawn = pour_day(found(), "metric")
    assert drawn is not None
    # 9.5 yd3 are 7.26 m3 (NIST SP 811, appendix B: 1 yd3 = 0.764554858 m3).
    assert "load 1, 7.26 m³" in drawn.words
