"""The day sheet and its calendar: what stands on them, and that times are right in the zone."""

import re
from datetime import UTC, datetime

import icalendar
import pytest

from pourstats.planning.day import plan
from pourstats.reporting.calendar import calendar_bytes, stays
from pourstats.reporting.day import plan_text
from pourstats.reporting.trucks import trucks_text
from tests.planning.test_day import CREW, HOUSE, TWO, sky

ZONES = {"Maple": "America/Boise", "Oak": "America/Boise"}


@pytest.fixture(scope="module")
def two():
    return plan(TWO, sky("Maple", "Oak"), {"crew": CREW}, HOUSE)


def test_the_sheet_has_a_row_a_slab_and_a_row_a_person(two):
    text = plan_text(two)
    day = two["days"][0]
    for pour in day["pours"]:
        assert f"{pour['pour_id']}, {pour['site']}: first load {pour['place_start'][11:]}" in text
    for worker in {task["worker"] for task in day["tasks"]}:
        assert re.search(rf"^  {worker}: \d\d:\d\d drive to", text, re.MULTILINE)
    for row in day["machines"]:
        assert row["machine"] in text
    for part in ("SLABS", "PEOPLE", "MACHINES", "WATCH", "WHY"):
        assert part in text
    assert "Tuesday 8 July 2031" in text


def test_the_sheet_fits_a_page_and_uses_the_owners_words(two):
    text = plan_text(two)
    assert max(map(len, text.splitlines())) <= 100
    for word in ("quantile", "percentile", "median", "None", "nan"):
        assert word not in text


def test_what_is_not_planned_stands_on_top():
    rows = TWO.assign(hands=[3.0, 9.0])
    text = plan_text(plan(rows, sky("Maple", "Oak"), {"crew": CREW}, HOUSE))
    assert text.index("NOT PLANNED  O1") < text.index("SLABS")


def test_too_much_for_one_day_stands_before_all_else(two):
    day = two["days"][0] | {"too_much": ["Too much for one day: A works over 15 hours."]}
    lines = plan_text(two | {"days": [day]}).splitlines()
    assert lines[2] == "Too much for one day: A works over 15 hours."


def test_the_crews_text_says_nothing_of_money(two):
    money = re.compile(r"dollar|\$|USD|\bpay\b|paid")
    day = two["days"][0] | {
        "too_much": ["A long day: A works over 13 hours.", "For 98 dollars more it fits."],
    }
    notes = [*two["notes"], "Where pay isn't known 30 USD an hour is taken."]
    told = two | {"days": [day], "notes": notes}
    assert money.search(plan_text(told)) and "WHY" in plan_text(told)
    crew = plan_text(told, costs=False)
    assert not money.search(crew) and "WHY" not in crew and "Second best" not in crew
    assert "A works over 13 hours" in crew
    for part in ("SLABS", "PEOPLE", "MACHINES", "WATCH", "Keep wet concrete off the skin"):
        assert part in crew


def test_the_calendar_is_icalendar_and_its_times_are_the_sites(two):
    calendar = icalendar.Calendar.from_ical(calendar_bytes(two, ZONES))
    events = calendar.walk("VEVENT")
    wanted = stays(two["days"][0])
    assert len(events) == len(wanted) > 0
    for event, stay in zip(events, wanted, strict=True):
        start = event["DTSTART"].dt
        assert start.replace(tzinfo=None) == datetime.fromisoformat(stay["start"])
        # Idaho's clock is six hours behind UTC in July (IANA time zone database).
        assert (
            start.astimezone(UTC).replace(tzinfo=None) - start.replace(tzinfo=None)
        ).seconds == 6 * 3600
        assert event["DTEND"].dt > start
        assert {"UID", "DTSTAMP", "SUMMARY"} <= set(event)  # RFC 5545, 3.6.1
    assert len({str(event["UID"]) for event in events}) == len(events)
    assert [str(zone["TZID"]) for zone in calendar.walk("VTIMEZONE")] == ["America/Boise"]


def test_without_a_zone_times_float(two):
    calendar = icalendar.Calendar.from_ical(calendar_bytes(two, {}))
    assert all(event["DTSTART"].dt.tzinfo is None for event in calendar.walk("VEVENT"))


def test_lines_end_as_the_standard_has_it(two):
    written = calendar_bytes(two, ZONES)
    lines = written.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75  # RFC 5545, 3.1


def test_the_truck_sheet_says_what_to_tell_the_plant():
    from pourstats.planning.trucks import trucks

    result = trucks(TWO.assign(area=2500.0), None, {})
    text = trucks_text(result)
    for job in result["jobs"]:
        assert (
            f"Order {job['order_yd3']:g} yd³ in {job['loads']} loads, {job['spacing_min']:g} minutes apart"
            in text
        )
        for load in job["order"]:
            assert f"{load['due'][11:]}  load {load['load_no']}" in text
    assert "quantile" not in text
