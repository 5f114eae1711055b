"""How large a file may be before it is refused, so that a slip or a trap can't fill the memory.

They are this machine's own: a TOML file, named by the variable POURSTATS_CONFIG or else
``pourstats.toml`` in the user's configuration folder, may set them::

    [limits]
    file_mb = 256  # a file as it lies on the disk
    unpacked_mb = 100  # a workbook, unpacked
    columns = 2000  # of a header
    cell_characters = 1000000
"""

from __future__ import annotations

import os
import stat
import tomllib
from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path

from pourstats.faults import Refusal


@dataclass(frozen=True)
class Limits:
    """The most that is read: megabytes (2**20 bytes) of a file and of an unpacked workbook,
    columns of a header, characters of a cell."""

    file_mb: int = 256
    unpacked_mb: int = 100
    columns: int = 2_000
    cell_characters: int = 1_000_000


def config_path() -> Path:
    """Where this machine's own settings stand, if it has any."""
    named = os.environ.get("POURSTATS_CONFIG")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_config_dir("pourstats", appauthor=False)) / "pourstats.toml"


def parsed(text: str, name: str) -> Limits:
    """The limits of a TOML text; what it leaves out has its default. Refusal for what is none."""
    try:
        given = tomllib.loads(text).get("limits", {})
    except tomllib.TOMLDecodeError as error:
        raise Refusal(f"{name} is not TOML ({error}); mend it, or move it away") from None
    known = {field.name for field in fields(Limits)}
    if not isinstance(given, dict):
        raise Refusal(f"{name}: limits is a table; write [limits] and a line a limit")
    for limit, value in given.items():
        if limit not in known:
            raise Refusal(
                f"{name}: no limit is called {limit}; there are {', '.join(sorted(known))}"
            )
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 10**9:
            raise Refusal(f"{name}: {limit} = {value!r}; write a whole number of 1 or more")
    return replace(Limits(), **given)


@cache
def in_force() -> Limits:
    """This machine's limits, read once. Raises Refusal for a settings file that can't be used."""
    path = config_path()
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        if os.environ.get("POURSTATS_CONFIG"):
            raise Refusal(
                f"there is no file {path}, which POURSTATS_CONFIG names; mend or unset the variable"
            ) from None
        return Limits()
    except (OSError, UnicodeDecodeError) as error:
        raise Refusal(f"{path} can't be read ({error}); mend it, or move it away") from None
    return parsed(text, str(path))


def unreadable(path: Path) -> str:
    """What to say of a file that is not to be read; empty if it may be. Raises OSError.

    A pipe may never end, and a device has no size.
    """
    found, most = path.stat(), in_force().file_mb
    if not stat.S_ISREG(found.st_mode):
        return "it is no plain file but a pipe, a device or a folder; save it as a file"
    if found.st_size <= most * 2**20:
        return ""
    return (
        f"it has {found.st_size / 2**20:,.0f} MB; the most is {most} ({named('file_mb')}); split it"
    )


def named(limit: str) -> str:
    """How a message names a limit and where it is set."""
    return f"limits.{limit} in {config_path().name}"
