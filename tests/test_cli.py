"""The command line: help with examples, exit statuses, results apart from messages, no tracebacks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import duckdb
import pytest

from pourstats import cli
from tests.commands import Run

HEAD = "pour_id,date,site,slab_type,area,thickness"
GOOD = "A1,2031-06-03,Oak,garage,600,4"


def log(folder: Path, **files: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def season(run: Run, tmp_path: Path, full: Any) -> Run:
    """The same, where one sound row of every table is stored."""
    assert full.store.path == tmp_path / "s.duckdb"
    return run


COMMANDS = sorted(cli.cli.commands)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(run: Run, name: str) -> None:
    found = run(name, "--help")
    assert found.status == 0
    assert found.err == ""
    assert "Example" in found.out
    assert f"pourstats {name}" in found.out.partition("Example")[2]
    for option in ("--store FILE", "--json"):
        assert option in found.out
    assert (cli.cli.commands[name].help or "").strip()


@pytest.mark.parametrize("name", COMMANDS)
def test_every_example_is_a_call_that_the_command_takes(name: str) -> None:
    """Only parsed: names, options and how many arguments."""
    import shlex

    command = cli.cli.commands[name]
    for line in command.example.splitlines():  # type: ignore[attr-defined]
        words = shlex.split(line, comments=True)
        assert words[:2] == ["pourstats", name], line
        context = command.make_context(name, words[2:], resilient_parsing=False)
        assert isinstance(context, click.Context)


def test_the_name_alone_says_what_to_do_next(run: Run) -> None:
    found = run()
    assert found.status == 0
    for name in ("demo", "template", "load", "week"):
        assert f"pourstats {name}" in found.out


def test_an_unknown_command_is_answered_with_the_near_one(run: Run) -> None:
    found = run("laod", "x")
    assert found.status == 2
    assert "load" in found.err
    assert found.out == ""


@pytest.mark.parametrize(
    "args",
    [
        ["load"], ["load", "nowhere"], ["table"], ["table", "nothing_so"], ["week", "--ending", "x"],
        ["week", "--ending", "2031-02-30"], ["table", "pours", "--format", "doc"],
        ["table", "pours", "--units", "stone"], ["restore", "nowhere"], ["restore", "."],
        ["settings", "no_such"], ["settings", "burden", "much"], ["settings", "burden", "-1"],
        ["settings", "zone", "Mars/Base"], ["settings", "day_start", "25:00"], ["undo", "twice"],
        ["delete"], ["load", "--nonsense", "x"], ["--nonsense"], ["template"], ["export"], ["backup"],
        ["settings", "burden", "0.3", "0.4"], ["load", "--store"],
    ],
)  # fmt: skip
def test_calls_that_cannot_be_used_end_with_2_and_a_message(season: Run, args: list[str]) -> None:
    for form in ([], ["--json"]):
        if args[0].startswith("-") and form:
            continue
        found = season(*args, *form)
        assert found.status == 2, found
        assert found.err.strip()
        assert found.out == ""


@pytest.mark.parametrize(
    "args",
    [["week"], ["table", "pours"], ["table", "pour_output"], ["undo"], ["delete", "A1"],
     ["export", "out"], ["backup", "copy"], ["pour", "A1"]],
)  # fmt: skip
def test_without_a_store_there_is_nothing_to_work_with(
    run: Run, tmp_path: Path, args: list[str]
) -> None:
    for form in ([], ["--json"]):
        found = run(*args, *form)
        assert found.status == 1, found
        assert found.err.strip()
    assert list(tmp_path.iterdir()) == []


def test_an_empty_table_is_nothing_to_work_with(season: Run) -> None:
    for name in ("stamps", "forecasts", "set_aside", "settings"):
        for form in ([], ["--json"], ["--format", "csv"]):
            found = season("table", name, *form)
            assert (found.status, found.out) == (1, ""), (name, found)
            assert found.err.strip()


def test_what_is_no_store_is_refused_everywhere(run: Run, tmp_path: Path) -> None:
    (tmp_path / "s.duckdb").write_text("no store at all, only text\n" * 100)
    folder = log(tmp_path / "log", pours=f"{HEAD}\n{GOOD}\n")
    for args in (["load", folder], ["week"], ["table", "pours"], ["undo"], ["delete", "A1"],
                 ["settings"], ["settings", "burden", "0.4"], ["export", "out"],
                 ["backup", "copy"]):  # fmt: skip
        for form in ([], ["--json"]):
            found = run(*args, *form)
            assert found.status == 2, (args, found)
            assert "s.duckdb" in found.err
            assert found.out == ""


# Load ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("files", "status"),
    [
        ({"pours": f"{HEAD}\n{GOOD}\n"}, 0),
        ({"pours": f"{HEAD}\n"}, 1), ({"pours": ""}, 1), ({}, 1), ({"lunch": "a\n1\n"}, 1),
        ({"pours": f"{HEAD}\n{GOOD},x\n"}, 3), ({"pours": "date\n2031-06-03\n"}, 3),
        ({"pours": f"{HEAD},area\n{GOOD},1\n"}, 2), ({"pours": f'{HEAD},notes\n{GOOD},"x\n'}, 2),
        ({"pours": f"{HEAD},area\n{GOOD},1\n", "crew": "worker\nJB\n"}, 3),
        ({"trucks": "pour_id,ticket,volume\nA1,7,9\n"}, 3),
    ],
)  # fmt: skip
def test_exit_statuses_of_a_load(
    run: Run, tmp_path: Path, files: dict[str, str], status: int
) -> None:
    folder = log(tmp_path / "log", **files)
    found = run("load", folder)
    assert found.status == status, found
    assert bool(found.err.strip()) is (status in (1, 2))
    again = run("load", folder, "--json")
    assert again.status == status
    assert bool(again.err.strip()) is (status in (1, 2))
    answer = json.loads(again.out)
    assert set(answer) >= {"tables", "set_aside", "warnings"}
    for counts in answer["tables"].values():
        assert set(counts) == {"read", "added", "replaced", "unchanged", "set_aside", "taken_up"}
        assert counts["read"] == sum(counts[k] for k in ("added", "replaced", "unchanged",
                                                         "set_aside"))  # fmt: skip
    for entry in answer["set_aside"]:
        assert set(entry) >= {"file", "sheet", "line", "column", "value", "reason"}


def test_a_single_file_with_a_name_that_says_nothing(run: Run, tmp_path: Path) -> None:
    (tmp_path / "lunch.csv").write_text("a\n1\n")
    found = run("load", "lunch.csv")
    assert found.status == 2
    assert "pours.csv" in found.err


def test_a_load_tells_people_what_to_mend(run: Run, tmp_path: Path) -> None:
    text = f"{HEAD},cure\n{GOOD},compund\nB2,6/3/2031,Oak,garaj,600,4,\n"
    found = run("load", log(tmp_path / "log", pours=text))
    for words in ("line 2", "compound", "line 3", "2031-06-03", "garage"):
        assert words in found.out
    assert found.err == ""


@pytest.mark.parametrize("name", ["naïve log", "log with 'quotes'", "-log", "日本"])
def test_folders_with_odd_names(run: Run, tmp_path: Path, name: str) -> None:
    folder = log(tmp_path / name, pours=f"{HEAD}\n{GOOD}\n")
    assert run("load", folder).status == 0
    assert run("export", tmp_path / f"{name} out").status == 0
    assert run("backup", tmp_path / f"{name}.backup").status == 0
    assert run("restore", tmp_path / f"{name}.backup").status == 0
    assert run("load", tmp_path / f"{name} out").status == 0


def test_the_store_option_goes_before_the_environment(run: Run, tmp_path: Path) -> None:
    folder = log(tmp_path / "log", pours=f"{HEAD}\n{GOOD}\n")
    assert run("load", folder, "--store", tmp_path / "other.duckdb").status == 0
    assert not (tmp_path / "s.duckdb").exists()
    assert run("table", "pours").status == 1
    assert run("table", "pours", "--store", tmp_path / "other.duckdb").status == 0


# Tables, delete, undo, settings -------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["pours", "trucks", "passes", "crew_time", "weather", "sites", "callbacks", "bids", "crew", "jobs",
     "pour_output", "day_output", "truck_times", "pass_intervals", "callback_rates"],
)  # fmt: skip
def test_tables_as_json_are_lists_of_rows_without_nan(season: Run, name: str) -> None:
    found = season("table", name, "--format", "json")
    assert found.status == 0, found
    rows = json.loads(found.out, parse_constant=pytest.fail)
    assert isinstance(rows, list)
    assert isinstance(rows[0], dict)
    assert json.loads(season("table", name, "--json").out) == rows


def test_log_tables_as_json_have_the_pages_names_and_times(season: Run) -> None:
    (row,) = json.loads(season("table", "trucks", "--format", "json").out)
    assert row == {
        "pour_id": "A1", "ticket": "7", "volume": 9, "returned": None, "plant": None,
        "called": None, "due": None, "batched": None, "arrived": None, "pour_start": None,
        "pour_end": None, "left": None, "slump": None, "concrete_temp": None, "water_added": None,
        "wait_charge": None,
    }  # fmt: skip
    (row,) = json.loads(season("table", "crew_time", "--format", "json").out)
    assert (row["start"], row["end"]) == ("2031-06-03T07:00", "2031-06-03T09:00")


@pytest.mark.parametrize("form", ["csv", "json", "parquet", "xlsx"])
@pytest.mark.parametrize("system", ["us", "metric"])
def test_tables_as_files(season: Run, tmp_path: Path, form: str, system: str) -> None:
    target = tmp_path / f"pours.{form}"
    found = season("table", "pours", "--format", form, "--units", system, "--out", target)
    assert (found.status, found.out) == (0, "")
    assert target.stat().st_size > 20
    if form in ("csv", "xlsx"):
        answer = json.loads(season("load", target, "--json").out)
        assert answer["tables"]["pours"]["unchanged"] == 1


@pytest.mark.parametrize("form", ["parquet", "xlsx"])
def test_what_is_no_text_wants_a_file(season: Run, form: str) -> None:
    found = season("table", "pours", "--format", form)
    assert found.status == 2
    assert "--out" in found.err


@pytest.mark.parametrize("target", ["no/such/folder/x.csv", "."])
def test_an_output_that_cannot_be_written(season: Run, target: str) -> None:
    found = season("table", "pours", "--format", "csv", "--out", target)
    assert (found.status, found.out) == (2, "")
    assert found.err.strip()


def test_delete_and_undo(season: Run) -> None:
    assert season("delete", "Z9").status == 1
    assert "B214" not in season("delete", "A1").out
    assert season("table", "trucks").status == 1
    assert season("undo").status == 0
    assert season("table", "trucks").status == 0
    assert season("delete", "A1", "--json").status == 0
    assert json.loads(season("undo", "--json").out)["undone"]
    assert season("undo").status == 0
    assert season("undo").status == 1


def test_settings_show_and_set(run: Run, tmp_path: Path) -> None:
    assert "burden" in run("settings").out
    assert not (tmp_path / "s.duckdb").exists()
    assert run("settings", "Burden", "40%").status == 0
    assert run("settings", "burden", "--store", str(tmp_path)).status == 2, "a folder is no store"
    assert json.loads(run("settings", "burden", "--json").out)["burden"]["value"] == 0.4
    assert run("settings", "burden", "").status == 0
    assert json.loads(run("settings", "--json").out)["burden"]["value"] == 0.35
    found = run("settings", "burdn")
    assert found.status == 2
    assert "burden" in found.err


def test_backup_and_restore(season: Run, tmp_path: Path) -> None:
    assert season("backup", "copy").status == 0
    assert season("backup", "copy").status == 2
    season("delete", "A1")
    assert season("restore", "copy").status == 0
    assert season("table", "trucks").status == 0
    (tmp_path / "bad").write_bytes((tmp_path / "copy").read_bytes()[:5000])
    assert season("restore", "bad").status == 2
    assert season("table", "trucks").status == 0


def test_templates_load_as_they_are(run: Run, tmp_path: Path) -> None:
    assert run("template", "blank", "--full").status == 0
    found = run("load", "blank")
    assert found.status == 1
    assert found.err.strip()
    assert "set aside" not in found.out.lower()


# The command as a process -------------------------------------------------------------------------


def test_as_a_process(tmp_path: Path) -> None:
    log(tmp_path / "log", pours=f"{HEAD}\n{GOOD}\nB2,2031-06-03,Oak,garage,0,4\n")
    env = {**os.environ, "POURSTATS_STORE": str(tmp_path / "s.duckdb"), "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(
        [sys.executable, "-c", "from pourstats.cli import main; main()", "load", "log", "--json"],
        cwd=tmp_path, env=env, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 3
    assert done.stderr == ""
    assert json.loads(done.stdout)["tables"]["pours"]["set_aside"] == 1


def test_check_ends_with_0_whatever_it_finds_and_with_1_where_nothing_is_stored(
    season: Run, tmp_path: Path
) -> None:
    """The contract's statuses; the store is not changed by looking."""
    before = (tmp_path / "s.duckdb").read_bytes()
    found = season("check", "--json")
    assert found.status == 0
    assert found.err == ""
    assert json.loads(found.out)["state"] == "found"
    assert season("check").out.startswith("Looked over 1 pour ")
    assert (tmp_path / "s.duckdb").read_bytes() == before
    with duckdb.connect(str(tmp_path / "s.duckdb")) as connection:
        connection.execute("INSERT INTO trucks SELECT * FROM trucks")
    assert season("check").status == 0
    missing = season("check", "--store", tmp_path / "none.duckdb")
    assert missing.status == 1
    assert "pourstats load" in missing.err
    season("settings", "burden", "0.3", "--store", tmp_path / "bare.duckdb")
    bare = season("check", "--store", tmp_path / "bare.duckdb", "--json")
    assert (bare.status, json.loads(bare.out)["state"]) == (1, "no_rows")


def test_a_passcode_that_is_broken_off_stays_as_it_was(run: Run, monkeypatch: Any) -> None:
    monkeypatch.setattr(click, "prompt", lambda *args, **kwargs: (_ for _ in ()).throw(click.Abort))
    stopped = run("passcode", "crew")
    assert (stopped.status, stopped.err) == (130, "stopped; the passcode is as it was\n")
    monkeypatch.setattr(click, "prompt", lambda *args, **kwargs: "trowel-4")
    crew = run("passcode", "crew")
    assert crew.status == 0
    assert "until the office has one: `pourstats passcode office`" in crew.err
    monkeypatch.setattr(click, "prompt", lambda *args, **kwargs: "ledger-9")
    assert run("passcode", "office").err == ""


@pytest.mark.skipif(os.name == "nt", reason="a POSIX shell closes standard output here")
def test_a_closed_standard_output_is_no_mishap(tmp_path: Path) -> None:
    folder = log(tmp_path / "logs", pours=f"{HEAD}\n{GOOD}\n")
    call = '"$0" -m pourstats.cli load "$1" --store "$2" >&-'
    done = subprocess.run(
        ["sh", "-c", call, sys.executable, str(folder), str(tmp_path / "closed.duckdb")],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")


def test_what_was_written_into_a_log_moves_no_cursor(run: Run, tmp_path: Path) -> None:
    jobs = tmp_path / "jobs.csv"
    jobs.write_text(f"{HEAD}\nJ1,2031-06-10,Oak\x1b[2J\x9b31m,garage,600,4\n", encoding="utf-8")
    for name in ("trucks", "bid"):
        found = run(name, str(jobs))
        assert found.status == 0
        assert "J1" in found.out
        assert not [c for c in found.out if c != "\n" and not c.isprintable()], name


@pytest.mark.parametrize(
    ("call", "says"),
    [(("week",), "stopped; the store keeps what it had\n"),
     (("load", "logs"), "`pourstats undo` takes back what is in\n")],
)  # fmt: skip
def test_ctrl_c_says_what_holds(
    run: Run, tmp_path: Path, monkeypatch: Any, call: tuple[str, ...], says: str
) -> None:
    log(tmp_path / "logs", pours=f"{HEAD}\n{GOOD}\n")

    def stopped(*args: Any, **kwargs: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("pourstats.store.database.Store._opened", stopped)
    monkeypatch.setattr("pourstats.store.database.Store.exists", lambda self: True)
    found = run(*call)
    assert found.status == 130
    assert found.err.endswith(says)


def test_a_deletion_counts_rows(season: Run) -> None:
    found = season("delete", "A1")
    assert found.out.startswith("deleted A1: 1 row of pours, 1 row of ")
