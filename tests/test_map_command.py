"""`pourstats map`: what it shows, asks and keeps; exit statuses; for programs too."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pourstats import cli
from pourstats.cli import exchange
from pourstats.store import mappings
from pourstats.store.database import Store
from tests.commands import Run

STATION = (
    "Backyard station\n\nTime (UTC),Temp,RH %,Wind km/h,Battery\n"
    "2031-06-03 12:00,12,50,10,12.1\n2031-06-03 20:00,31,x,10,12.1\n"
)


@pytest.fixture(autouse=True)
def station(tmp_path: Path) -> None:
    """Another program's file, where the commands run."""
    (tmp_path / "station.csv").write_text(STATION, encoding="utf-8")


def test_it_shows_and_says_what_to_add(run: Run, tmp_path: Path) -> None:
    found = run("map", "station.csv")
    assert found.status == 1
    for words in (
        "header in line 3",
        "weather",
        "Temp",
        "degC",
        "likely",
        "sure",
        "left out: Battery",
    ):
        assert words in found.out
    for option in ("--site NAME", "--zone Area/City", "--yes"):
        assert option in found.err
    assert not (tmp_path / "s.duckdb").exists()
    # Yes alone does not answer what is open.
    again = run("map", "station.csv", "--yes")
    assert (again.status, again.out) == (1, found.out)
    assert not (tmp_path / "s.duckdb").exists()


def test_kept_it_is_loaded_listed_and_forgotten(run: Run) -> None:
    found = run("map", "station.csv", "--site", "Mill", "--zone", "America/Denver", "--yes")
    assert (found.status, found.err) == (0, "")
    assert "Kept as station" in found.out
    assert "2031-06-03 06:00  53.6" in found.out  # 12:00 UTC in Denver in June; 12 °C
    assert "1 of 2 rows would be set aside; the first: station.csv, line 5, RH %" in found.out
    loaded = run("load", "station.csv")
    assert loaded.status == 3
    assert "line 5, RH %: 'x' is not a number" in loaded.out
    assert "every row taken for site Mill" in loaded.out
    assert json.loads(run("table", "weather", "--json").out)[0]["time"] == "2031-06-03T06:00"
    listed = run("map", "--list")
    assert (listed.status, listed.err) == (0, "")
    assert "station" in listed.out
    assert json.loads(run("map", "--list", "--json").out)[0]["given"] == {"site": "Mill"}
    assert run("map", "--forget", "nothing").status == 1
    assert run("map", "--forget", "station").status == 0
    assert run("load", "station.csv").status == 2
    assert "No mapping is kept" in run("map", "--list").out


def test_for_programs(run: Run) -> None:
    found = run("map", "station.csv", "--json")
    assert found.status == 1
    assert found.err.strip()
    answer = json.loads(found.out)
    assert (answer["table"], answer["header_line"], answer["kept"]) == ("weather", 3, None)
    assert [q["about"] for q in answer["questions"]] == ["zone", "site"]
    columns = {c["ours"]: (c["theirs"], c["unit"], c["sure"]) for c in answer["columns"]}
    assert columns["air_temp"] == ("Temp", "degC", "likely")
    assert columns["wind"] == ("Wind km/h", "km/h", "sure")
    call = ["map", "station.csv", "--site", "Mill", "--zone", "America/Denver", "--yes", "--json"]
    kept = run(*call)
    assert (kept.status, kept.err) == (0, "")
    answer = json.loads(kept.out)
    assert (answer["kept"], answer["rows"], answer["would_be_set_aside"]) == ("station", 2, 1)
    assert run("map", "--forget", "station", "--json").status == 0


def test_every_option_that_it_asks_for_is_one(run: Run) -> None:
    """What the message says to add can be added, to the letter, with the owner's values."""
    Path("odd.csv").write_text("stamp UTC,Temp,Wind\n6/3/2031 06:00,10,3\n6/3/2031 07:00,11,3\n")
    found = run("map", "odd.csv", "--set", "time=stamp UTC", "--table", "weather")
    needed = found.err
    for option in ("--zone Area/City", "--dates mdy", "--unit air_temp=degC", "--unit wind=",
                   "--site NAME", '--set humidity="THEIR COLUMN"'):  # fmt: skip
        assert option in needed, needed
    done = run(
        "map", "odd.csv", "--set", "time=stamp UTC", "--table", "weather", "--zone",
        "America/Denver", "--dates", "mdy", "--unit", "air_temp=degC", "--unit", "wind=mph",
        "--site", "Mill", "--give", "humidity=50", "--yes",
    )  # fmt: skip
    assert done.status == 0, done


def test_a_time_can_not_be_given_beside_the_files_own(run: Run) -> None:
    Path("hours.csv").write_text("Employee,Date,Clock in,Clock out\nJB,2031-06-03,7:00,15:00\n")
    found = run("map", "hours.csv", "--give", "task=place", "--give", "end=16:00", "--yes")
    assert found.status == 2
    assert "'Date + Clock out' gives it; leave that --give out" in found.err
    assert run("map", "--list").out.startswith("No mapping is kept")
    assert "did you mean" not in run("map", "hours.csv", "--table", "settings").err


@pytest.mark.parametrize(
    "args",
    [
        ["map"], ["map", "nowhere.csv"], ["map", "."], ["map", "station.csv", "--table", "wether"],
        ["map", "station.csv", "--set", "wind"], ["map", "station.csv", "--set", "wind=Gust"],
        ["map", "station.csv", "--unit", "wind=degC"], ["map", "station.csv", "--zone", "Mars/Base"],
        ["map", "station.csv", "--clock", "noon"], ["map", "station.csv", "--dates", "ddm"],
        ["map", "station.csv", "--year", "31"], ["map", "station.csv", "--give", "winds=5"],
        ["map", "station.csv", "--sheet", "x"], ["map", "station.csv", "--table", "settings"],
        ["map", "station.csv", "--give", "time=2031-06-03 06:00", "--site", "Mill", "--yes"],
    ],
)  # fmt: skip
def test_calls_that_cannot_be_used_end_with_2_and_a_message(run: Run, args: list[str]) -> None:
    for form in ([], ["--json"]):
        found = run(*args, *form)
        assert found.status == 2, found
        assert found.err.strip()
        assert found.out == ""


@pytest.mark.parametrize("text", ["", "\n\n", "a,b\n", "qq,ww\nx,y\n"])
def test_nothing_to_work_with(run: Run, text: str) -> None:
    Path("x.csv").write_text(text)
    found = run("map", "x.csv")
    assert (found.status, found.out) == (1, "")
    assert "x.csv" in found.err


# On a terminal ------------------------------------------------------------------------------------


def asked(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, answers: list[str], text: str = STATION
) -> tuple[int, str]:
    """The command as somebody at a terminal would answer it."""
    (tmp_path / "station.csv").write_text(text, encoding="utf-8")
    monkeypatch.setattr(exchange, "at_a_terminal", lambda: True)
    call = ["map", str(tmp_path / "station.csv"), "--store", str(tmp_path / "s.duckdb")]
    result = CliRunner().invoke(cli.cli, call, input="\n".join(answers) + "\n",
                                standalone_mode=False)  # fmt: skip
    if result.exception is not None:
        raise result.exception
    return result.return_value, result.output


def test_it_asks_what_it_cannot_tell(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    answers = ["Mars/Base", "Mill", "America/Denver", "Mill", "wind=Gust", "wind unit=m/s", "yes"]
    status, out = asked(monkeypatch, tmp_path, answers)
    assert status == 0, out
    assert "'Mars/Base' is no time zone" in out
    assert "no column 'Gust'" in out
    (kept,) = mappings.kept(Store(tmp_path / "s.duckdb")).values()
    assert (kept.zone, kept.given, kept.columns["wind"].unit) == (
        "America/Denver", {"site": "Mill"}, "m/s",
    )  # fmt: skip


def test_enter_takes_what_is_proposed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    text = "name,in,out,job\nJo,6/3/2031 6:40,6/3/2031 15:00,B1\n"
    status, out = asked(monkeypatch, tmp_path, ["", "", ""], text)
    assert status == 0, out
    (kept,) = mappings.kept(Store(tmp_path / "s.duckdb")).values()
    assert (kept.order, kept.given) == ("mdy", {"task": "place"})


def test_no_keeps_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from pourstats.faults import Refusal

    with pytest.raises(Refusal, match="nothing is kept") as caught:
        asked(monkeypatch, tmp_path, ["America/Denver", "Mill", "no"])
    assert caught.value.status == 1
    with pytest.raises(click.Abort):  # the end of the input, or Ctrl-C
        asked(monkeypatch, tmp_path, ["America/Denver"])
    assert not (tmp_path / "s.duckdb").exists()


JOB = (
    "pour_id,date,site,slab_type,area,thickness,place_start,concrete_temp\n"
    "J1,2031-06-03,Mill Flats,garage,600,4,8:00,70\n"
)
SKY = "Backyard station\n\nTime (UTC),Temp,RH %,Wind km/h,Battery\n" + "".join(
    f"2031-06-03 {hour:02d}:00,{10 + hour / 2},40,10,12.1\n" for hour in range(24)
)


def test_a_kept_way_of_reading_serves_a_forecast_too(run: Run, tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOB, encoding="utf-8")
    (tmp_path / "sky.csv").write_text(SKY, encoding="utf-8")
    plain = "site,time,air_temp,humidity,wind\n" + "".join(
        # Denver's summer clock is six hours behind UTC; °F and mph worked out here.
        f"Mill Flats,2031-06-{3 if hour >= 6 else 2:02d} {(hour - 6) % 24:02d}:00,"
        f"{(10 + hour / 2) * 1.8 + 32},40,{10 / 1.609344}\n"
        for hour in range(24)
    )
    (tmp_path / "plain.csv").write_text(plain, encoding="utf-8")

    refused = run("finishing", "jobs.csv", "--forecast", "sky.csv")
    assert refused.status == 2
    assert "pourstats map sky.csv" in refused.err

    kept = run("map", "station.csv", "--site", "Mill Flats", "--zone", "America/Denver", "--yes")
    assert kept.status == 0
    ours = run("finishing", "jobs.csv", "--forecast", "plain.csv", "--json")
    theirs = run("finishing", "jobs.csv", "--forecast", "sky.csv", "--json")
    assert ours.status == theirs.status == 0
    one, other = (json.loads(found.out)["jobs"][0] for found in (ours, theirs))
    assert one["passes"] == other["passes"]
    assert one["evaporation_lb_ft2_h"]["mean"] == pytest.approx(
        other["evaporation_lb_ft2_h"]["mean"], rel=1e-3
    )
    assert "every row taken for site Mill Flats" in theirs.err


def test_hours_of_people_are_no_forecast(run: Run, tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOB, encoding="utf-8")
    sheet = "Employee,Date,Clock in,Clock out,Job\nJB,2031-06-03,7:00,15:00,Mill Flats\n"
    (tmp_path / "hours.csv").write_text(sheet, encoding="utf-8")
    kept = run("map", "hours.csv", "--give", "task=place", "--yes")
    assert kept.status == 0, kept.err
    found = run("finishing", "jobs.csv", "--forecast", "hours.csv")
    assert found.status == 2
    assert "read as crew_time" in found.err
