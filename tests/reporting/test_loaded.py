"""What a load tells people stays short where a folder holds thousands of files."""

from __future__ import annotations

from pourstats.reporting.loaded import MOST_CHARACTERS, load_text
from pourstats.store.report import Report


def test_a_folder_of_thousands_of_other_files_does_not_fill_the_screen() -> None:
    names = [f"f{number}.csv" for number in range(10_000)]
    text = load_text(Report(warnings=[f"not read: {', '.join(names)} (look)", "a short one"]))
    assert len(text) < 2 * MOST_CHARACTERS
    shown = text.count(".csv")
    assert f"and {10_000 - shown:,} more" in " ".join(text.split())
    assert "a short one" in text
    whole = load_text(Report(warnings=["not read: " + ", ".join(names[:20])]))
    assert "f19.csv" in whole
