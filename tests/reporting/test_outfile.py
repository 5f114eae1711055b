"""A file that a command writes never takes the place of a store, and comes whole or not at all."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.reporting.outfile import whole
from tests.commands import Run

SAMPLE = Path(__file__).parents[2] / "sample_logs"
JOBS, TOMORROW = str(SAMPLE / "jobs.csv"), str(SAMPLE / "forecast" / "tomorrow.csv")
CALLS = {
    "table": ["table", "pours", "--format", "csv", "--out"],
    "week as PDF": ["week", "--pdf"],
    "week as HTML": ["week", "--html"],
    "week as a workbook": ["week", "--xlsx"],
    "pour": ["pour", "B266", "--pdf"],
    "paper": ["template", "--paper"],
}


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "s.duckdb"
    subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "load", str(SAMPLE), "--store", str(path)],
        check=True, capture_output=True,
    )  # fmt: skip
    return path


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_no_output_is_written_over_the_store(call: list[str], stored: Path, run: Run) -> None:
    before = stored.read_bytes()
    answer = run(*call, str(stored), "--store", str(stored))
    assert answer.status == 2
    assert "is a store, or a backup of one, and was left alone" in answer.err
    assert stored.read_bytes() == before


def test_nor_over_the_log_that_is_kept_beside_it(stored: Path, run: Run) -> None:
    log = stored.with_name(f"{stored.name}.wal")
    for call in (*CALLS.values(), ["backup"]):
        answer = run(*call, str(log), "--store", str(stored))
        assert answer.status == 2
        assert "is where a store keeps its own log" in answer.err
        assert not log.exists()


@pytest.mark.skipif(sys.platform != "linux", reason="/dev/stdout is Linux's")
def test_a_table_goes_into_a_pipe_by_its_name(stored: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "table", "crew", "--format", "csv", "--out",
         "/dev/stdout", "--store", str(stored)],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "8 rows written to /dev/stdout\n")
    assert done.stdout.count("\n") == 9


def test_nor_a_calendar(stored: Path, run: Run, tmp_path: Path) -> None:
    backup = tmp_path / "pours.backup"
    assert run("backup", str(backup), "--store", str(stored)).status == 0
    before = backup.read_bytes()
    answer = run("plan", JOBS, "--forecast", TOMORROW, "--calendar", str(backup), "--store",
                 str(tmp_path / "none.duckdb"))  # fmt: skip
    # Told before the day is worked out, which takes its time.
    assert (answer.status, answer.out) == (2, "")
    assert "pours.backup is a store, or a backup of one" in answer.err
    assert backup.read_bytes() == before


def test_what_was_there_stays_where_the_new_one_fails(tmp_path: Path) -> None:
    page = tmp_path / "week.pdf"
    page.write_text("of last week")
    with pytest.raises(Refusal, match=r"week\.pdf can't be written"), whole(page, "pdf") as draft:
        draft.write_text("half")
        raise OSError(28, "No space left on device")
    assert page.read_text() == "of last week"
    assert list(tmp_path.iterdir()) == [page]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "call", [CALLS["week as a workbook"], ["table", "pours", "--format", "xlsx", "--out"]]
)
def test_a_workbook_on_a_full_disk_is_refused_without_a_traceback(
    call: list[str], stored: Path
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", *call, "/dev/full", "--store", str(stored)],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 2
    assert "No space left on device" in done.stderr
    assert "Traceback" not in done.stderr
