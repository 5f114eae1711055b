"""Names of files as other systems write them, and a standard output that has few letters."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands import Run

LOG = "pour_id,date,site,slab_type,area,thickness\n{},2031-06-03,{},garage,600,4\n"


def call(*words: str | bytes, encoding: str = "utf-8") -> subprocess.CompletedProcess[bytes]:
    """A command as a process of its own, whose standard output has that encoding."""
    env = {**os.environ, "PYTHONIOENCODING": encoding}
    start = [sys.executable, "-c", "from pourstats.cli import main; main()"]
    return subprocess.run([*start, *words], env=env, capture_output=True, check=False, timeout=60)


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere every name of a file is Unicode")
def test_a_name_in_latin_1_is_read_and_told(tmp_path: Path) -> None:
    folder = os.fsencode(tmp_path) + b"/se\xf1al"
    Path(os.fsdecode(folder)).mkdir()
    for name, text in ((b"pours.csv", LOG.format("A1", "Oak")), (b"m\xe1s.csv", "a,b\n1,2\n"),
                       (b"a\xf1o.xlsx", "no workbook")):  # fmt: skip
        Path(os.fsdecode(folder + b"/" + name)).write_text(text)
    store = os.fsencode(tmp_path / "s.duckdb")
    done = call("load", folder, "--store", store)
    assert (done.returncode, done.stderr) == (3, b"")
    assert rb"a\udcf1o.xlsx" in done.stdout
    assert rb"m\udce1s.csv" in done.stdout
    again = call("load", folder, "--store", store, "--json")
    assert b'"unchanged": 1' in again.stdout
    kept = call("table", "set_aside", "--store", store)
    assert rb"a\udcf1o.xlsx" in kept.stdout
    for words in (["load", b"pours.csv", "--store", b"se\xf1al.duckdb"],
                  ["backup", folder + b".backup", "--store", store]):  # fmt: skip
        refused = call(*words)
        assert refused.returncode == 2
        assert b"has letters that aren't UTF-8; name another file" in refused.stderr
    refused = call("delete", b"\xf1", "--store", store)
    assert refused.returncode == 2
    assert b"type the value anew" in refused.stderr


def test_a_terminal_with_few_letters_shows_the_rest_by_number_and_a_table_is_never_changed(
    tmp_path: Path,
) -> None:
    (tmp_path / "pours.csv").write_text(LOG.format("A1", "Łódka"), encoding="utf-8")
    store = str(tmp_path / "s.duckdb")
    assert call("load", str(tmp_path), "--store", store).returncode == 0
    shown = call("pour", "A1", "--store", store, encoding="cp1252")
    assert shown.returncode == 0
    assert "\\u0141ódka".encode("cp1252") in shown.stdout
    refused = call("table", "pours", "--format", "csv", "--store", store, encoding="cp1252")
    assert (refused.returncode, refused.stdout) == (2, b"")
    assert b"name a file with --out" in refused.stderr


def test_what_a_name_or_a_mapping_says_moves_no_cursor(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    (folder / "a\x1b[2J\u202eb.csv").write_text("a,b\n1,2\n")
    (folder / "station.csv").write_text(
        "Time,Temp F\x1b[2J,RH %,Wind mph\n2031-06-03 06:00,x,5,5\n"
    )
    calls = [
        ("load", str(folder)),
        ("map", str(folder / "station.csv"), "--site", "Oak\x1b[2J", "--yes"),
        ("map", "--list"),
        ("load", str(folder / "station.csv")),
        ("delete", "no\x1b[2J"),
        ("undo",),
    ]
    for words in calls:
        found = run(*words)
        text = found.out + found.err
        assert text
        assert not [c for c in text if c != "\n" and not c.isprintable()], words
