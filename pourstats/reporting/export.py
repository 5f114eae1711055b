"""The whole store as a log folder that `load` reads back."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.reporting import tables
from pourstats.reporting.sheet import saved
from pourstats.store import mappings, reading
from pourstats.store.database import Store
from pourstats.units import System

FORMS: tuple[tables.Format, ...] = ("csv", "parquet")


def write_export(
    store: Store, folder: Path, system: System, progress: Callable[[str], None]
) -> dict[str, int]:
    """Write every table that has rows as CSV, with Parquet beside, and the kept mappings as JSON;
    rows a file.

    Taps of deleted pours are history, and left out.
    Raises Refusal if a file of that name is there already, or the folder can't be written.
    """
    with store.read() as connection:
        frames = reading.frames(connection, *TABLES)
        deleted = reading.deleted_pours(connection)
    # Their taps would make them pours again where nobody knows that they were deleted.
    frames["stamps"] = frames["stamps"][~frames["stamps"]["pour_id"].isin(deleted)]
    frames = {name: frame for name, frame in frames.items() if not frame.empty}
    ways = mappings.as_file(store)
    if not frames and ways is None:
        raise Refusal("the store has no rows to export yet", status=1)
    names = [f"{name}.{form}" for name in frames for form in FORMS]
    names += [mappings.FILE] if ways is not None else []
    there = [name for name in names if (folder / name).exists()]
    if there:
        raise Refusal(f"{folder / there[0]} is there already; name a new folder")
    written = {f"{name}.csv": len(frame) for name, frame in frames.items()}
    with _all_at_once(folder) as draft:
        for name, frame in frames.items():
            progress(f"writing {name}")
            for form in FORMS:
                tables.write(frame, name, form, system, draft / f"{name}.{form}")
        if ways is not None:
            saved(draft / mappings.FILE, ways)
            written[mappings.FILE] = len(mappings.kept(store))
    return written


@contextmanager
def _all_at_once(folder: Path) -> Iterator[Path]:
    """A folder to fill, whose files get their place together once all are there: an export that is
    cut short must not pass for the record. Raises Refusal."""
    target = folder.resolve()
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        draft.mkdir()
        yield draft
        if target.exists():
            for file in draft.iterdir():
                file.replace(target / file.name)
        else:
            draft.rename(target)
    except Refusal as error:
        raise Refusal(str(error).replace(str(draft), str(folder)), error.status) from None
    except OSError as error:
        raise Refusal(f"can't make the folder {folder} ({error.strerror})") from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)
