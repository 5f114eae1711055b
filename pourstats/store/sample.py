"""Where the invented sample season lies, in a checkout or beside an installed package."""

from __future__ import annotations

from pathlib import Path

from pourstats.faults import Refusal


def sample_folder() -> Path:
    """The folder of the sample season's CSV files. Raises Refusal if it was not installed."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_sample_logs", package.parent / "sample_logs"):
        if (folder / "pours.csv").is_file():
            return folder
    raise Refusal("the sample season is missing from this installation; install pourstats again")
