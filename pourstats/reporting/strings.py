"""What pages say, a file a language: ``strings/en.toml``, ``strings/es.toml`` of the pages.

Read where they lie, in a checkout or in an installed package, so that a text stands once.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from pourstats.faults import Refusal

PACKAGE = Path(__file__).resolve().parent.parent


def pages_folder() -> Path:
    """The folder of the pages. Raises Refusal where an installation lacks it."""
    for folder in (PACKAGE / "_dashboards", PACKAGE.parent / "dashboards"):
        if (folder / "app.py").is_file():
            return folder
    raise Refusal("the pages are missing from this installation; install pourstats again")


def languages() -> dict[str, dict[str, str]]:
    """Language code → its strings, section and name joined by a dot; English first.

    A string that a language lacks is absent there.
    """
    files = sorted((pages_folder() / "strings").glob("*.toml"), key=lambda f: (f.stem != "en", f))
    return {
        file.stem: {
            f"{section}.{name}": text
            for section, entries in tomllib.loads(file.read_text(encoding="utf-8")).items()
            for name, text in entries.items()
        }
        for file in files
    }
