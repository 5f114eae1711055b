"""The day's plan as a picture: what is labelled, and when a saw is really there."""

from pourstats.reporting.charts_day import day_chart

DAY = "2031-06-03T"


def spread(early: str, middle: str, late: str) -> dict[str, str]:
    return {"p10": DAY + early, "p50": DAY + middle, "p90": DAY + late}


def task(worker: str, what: str, pour: str, start: str, end: str) -> dict[str, str]:
    return {"worker": worker, "task": what, "pour_id": pour, "start": DAY + start, "end": DAY + end}


def bars() -> list[dict]:
    pour = {
        "pour_id": "A1", "site": "Oak", "place_start": DAY + "07:00",
        "place_end": spread("08:40", "09:00", "09:30"), "ready": spread("10:30", "11:00", "11:40"),
        "first_pass": spread("10:40", "11:10", "11:50"),
        "last_pass_end": spread("12:40", "13:00", "13:40"),
        "saw_opens": spread("13:10", "13:30", "14:00"),
        "saw_done": spread("16:20", "16:30", "17:00"),
    }  # fmt: skip
    tasks = [
        task("JB", "place", "A1", "07:00", "09:00"), task("JB", "travel", "B2", "15:40", "15:50"),
        task("JB", "saw", "A1", "16:00", "16:30"), task("JB", "travel", "B2", "16:30", "16:40"),
    ]  # fmt: skip
    day = {"date": "2031-06-03", "pours": [pour], "tasks": tasks, "unplanned": [],
           "chance_done_in_day": 0.8}  # fmt: skip
    drawn = day_chart(day)
    assert drawn is not None
    return drawn.chart.to_dict()["layer"][0]["data"]["values"]


def test_the_saw_stands_where_somebody_saws_and_the_wait_before_is_pale():
    saw = {row["what"]: row for row in bars() if row["lane"] == "A1, Oak"}
    assert (saw["saw"]["start"], saw["saw"]["end"]) == (DAY + "16:00", DAY + "16:30")
    assert saw["saw"]["label"] == "saw 16:00"
    pale = saw["may be cut"]
    assert (pale["start"], pale["end"], pale["label"]) == (DAY + "13:30", DAY + "16:00", "")
    assert pale["solid"] < 1


def test_labels_that_would_lie_over_each_other_are_left_out():
    assert [row["label"] for row in bars() if row["lane"] == "JB"] == [
        "07:00 A1", "15:40 B2", "", "",
    ]  # fmt: skip
