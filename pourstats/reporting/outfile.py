"""A file that a command writes for somebody: whole or not at all, and never over a store."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pourstats.faults import Refusal
from pourstats.store.database import belongs_to_a_store


def demand(path: str | Path, format: str) -> None:
    """Refusal where :func:`whole` will refuse: to be told before something is worked out for it."""
    with _told(path):
        _target(path, format)


@contextmanager
def whole(path: str | Path, format: str) -> Iterator[Path]:
    """A draft to write, which takes the place of the file ``path`` once it is done, or not at all.

    What is no plain file, as a pipe, is written at once. Raises Refusal naming the file, and where
    a store or a backup of one is there: a slip of the pen must not cost a season.
    """
    with _told(path):
        target, special = _target(path, format)
        draft = target if special else target.with_name(f".{target.name}.{os.getpid()}.part")
        try:
            yield draft
            if draft != target:
                draft.replace(target)
        finally:
            if draft != target:
                with suppress(OSError):
                    draft.unlink(missing_ok=True)


def _target(path: str | Path, format: str) -> tuple[Path, bool]:
    """The file that is meant, and whether it is something else than a plain one."""
    target = Path(path)
    # Before its links are followed: a pipe at their end has no name.
    special = target.exists() and not target.is_file() and not target.is_dir()
    target = target if special else target.resolve()
    if target.is_dir():
        raise Refusal(f"{path} is a folder; name a file in it, as {target / 'pourstats'}.{format}")
    if not special and belongs_to_a_store(target):
        what = (
            "is where a store keeps its own log" if target.suffix == ".wal"
            else "is a store, or a backup of one,"
        )  # fmt: skip
        raise Refusal(f"{path} {what} and was left alone; name another file")
    if not target.parent.exists():
        raise FileNotFoundError
    return target, special


@contextmanager
def _told(path: str | Path) -> Iterator[None]:
    try:
        yield
    except FileNotFoundError:
        raise Refusal(
            f"{path} can't be written: there is no folder {Path(path).resolve().parent}; make it"
            " first, or name a file elsewhere"
        ) from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise Refusal(f"{path} can't be written ({reason}); name another file") from None
