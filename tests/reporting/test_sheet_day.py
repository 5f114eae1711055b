"""The planned day on paper: a row a person, read back; hostile names come out as text."""

from __future__ import annotations

import io
from typing import Any

import pypdf
import pytest

from pourstats.reporting.sheet_day import day_pdf, day_sheet

DAY = "2031-06-03T"


def spread(low: str, middle: str, high: str) -> dict[str, str]:
    return {"p10": DAY + low, "p50": DAY + middle, "p90": DAY + high}


def plan(worker: str = "JB", site: str = "Oak", days: int = 1) -> dict[str, Any]:
    """A day of one slab and one person, in the shape that `plan --json` prints."""
    steps = [("travel", "06:00", "06:30", None), ("set_up", "06:30", "07:00", None),
             ("wait", "07:00", "07:10", "concrete"), ("place", "07:10", "09:00", None),
             ("finish", "10:00", "13:00", None)]  # fmt: skip
    tasks = [{"worker": worker, "pour_id": "A1", "task": task, "start": DAY + start,
              "end": DAY + end, "wait_for": wait} for task, start, end, wait in steps]  # fmt: skip
    pour = {"pour_id": "A1", "site": site, "place_start": DAY + "07:00", "loads": 2,
            "spacing_min": 25.0, "balance": False, "place_end": spread("08:40", "09:00", "09:30"),
            "first_pass": spread("09:40", "10:00", "10:50"), "saw": None, "saw_done": None,
            "last_pass_end": spread("12:30", "13:00", "14:10")}  # fmt: skip
    day = {"date": "2031-06-03", "pours": [pour], "tasks": tasks, "unplanned": [],
           "moves": [{"worker": worker, "from": "shop", "to": "A1", "at": DAY + "06:00",
                      "rides_with": []}],
           "machines": [{"machine": "trowel 1 (walk-behind)", "pour_id": "A1", "worker": [worker],
                         "start": DAY + "10:00", "end": DAY + "13:00"}],
           "not_needed": ["TJ"], "what_to_watch": [], "cautions": [],
           "labor_cost_usd": {"mean": 98765.0}}  # fmt: skip
    return {"days": [day] * days}


def text_of(pdf: bytes) -> list[str]:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def test_a_row_a_slab_and_a_row_a_person() -> None:
    (text,) = text_of(day_pdf(plan()))
    assert "Tuesday June 3, 2031" in text
    assert "A1 Oak 07:00 2, 25 min apart 09:00 (08:40 to 09:30)" in text
    assert "06:00 drive to A1; 06:30 set up A1; 07:00 wait for concrete; 07:10 place A1" in text
    assert "Not needed: TJ" in text
    assert "98,765" not in text
    assert "98765" not in text


def test_too_long_a_day_stands_on_the_sheet_without_what_it_costs() -> None:
    told = plan()
    told["days"][0]["too_much"] = ["A long day: JB works over 13 hours.", "For 98 dollars more."]
    (text,) = text_of(day_pdf(told))
    assert "A long day: JB works over 13 hours." in text
    assert "dollars" not in text


def test_bars_lie_where_the_clock_says() -> None:
    # 06:00 to 13:00 is seven hours: placing from 07:10 is 70 of 420 min along.
    bars = day_sheet(plan())["days"][0]["people"][0]["bars"]
    assert bars[3][:2] == pytest.approx([70 / 420, 180 / 420])
    assert bars[-1][1] == pytest.approx(1.0)


def test_each_day_has_its_sheet() -> None:
    assert len(text_of(day_pdf(plan(days=3)))) == 3


def test_hostile_names_come_out_as_text() -> None:
    (text,) = text_of(day_pdf(plan(worker='A: #panic("x")', site="*b* $a$ <l> @r [#pagebreak()]")))
    assert 'A: #panic("x") 06:00 drive to A1' in text
    assert "*b* $a$ <l> @r" in text


def test_a_full_day_keeps_to_one_page() -> None:
    # Ten slabs and eight people with a long day each, and what to watch: as much as a crew has.
    full = plan()
    day = full["days"][0]
    day["pours"] = [
        {**day["pours"][0], "pour_id": f"A{i}", "place_start": f"{DAY}{7 + i:02d}:00"}
        for i in reversed(range(10))
    ]
    day["tasks"] = [
        {**task, "worker": f"W{person}", "pour_id": f"A{i}"}
        for person in range(8) for i in range(3) for task in day["tasks"]
    ]  # fmt: skip
    day["what_to_watch"] = [
        {"if": f"the first load at A{i} isn't there by 8:30", "do": "call the plant, and move the"
         " next one back by as much", "because": "nine days in ten it is there by then"}
        for i in range(10)
    ]  # fmt: skip
    day["cautions"] = [
        {"do": "Run electric machines inside, or prove the ventilation with a CO alarm.",
         "because": "Engines fill a closed space with carbon monoxide within minutes.",
         "source": "DHHS (NIOSH) 96-118"}
    ] * 8  # fmt: skip
    (text,) = text_of(day_pdf(full))
    # The slabs stand in the order of the day.
    places = [text.index(f"A{i} Oak") for i in range(10)]
    assert places == sorted(places)
    assert "Local codes and the drawings go first." in text


def test_a_trowel_says_where_it_is_and_a_day_planned_anew_from_when() -> None:
    told = plan()
    assert day_sheet(told)["days"][0]["title"] == "Tuesday June 3, 2031"
    (text,) = text_of(day_pdf(told | {"now": DAY + "09:15"}))
    assert "Tuesday June 3, 2031 — as of 09:15" in text
    assert "trowel 1 (walk-behind): A1 10:00 to 13:00 (JB)" in text


def test_what_to_take_care_of_is_in_the_units_shown() -> None:
    told = plan()
    told["days"][0]["cautions"] = [
        {"do": "Keep the concrete at 55 °F or more.", "because": "Cold.", "source": "x"}
    ]
    (text,) = text_of(day_pdf(told, "metric"))
    # (55 - 32) / 1.8 = 12.8
    assert "Keep the concrete at 13 °C or more." in text
