"""Whose turn it is to open a store, among the processes of one user."""

from __future__ import annotations

import functools
import hashlib
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LOOK_S = 0.005
"""How often the turn is asked for, which costs next to nothing."""


@contextmanager
def entered(path: Path, shared: bool, deadline: float) -> Iterator[None]:
    """Be let in to the store in one's turn: writers alone, readers beside each other.

    DuckDB's own lock doesn't keep quick turns of several processes apart: now and then a committed
    row is lost. Nor does it know a queue: a dashboard on which ten phones tap opens the store again
    as soon as it lets go of it, and a load would wait in vain. So who is next waits alone at the
    door, and who comes after waits behind. After ``deadline``, on Windows and where nothing can be
    locked it goes on without, and DuckDB's lock decides.
    """
    try:
        import fcntl

        turns = _turns()
    except (ImportError, OSError):
        yield
        return

    def locked(place: int, how: int) -> None:
        while True:
            try:
                fcntl.lockf(turns, how | fcntl.LOCK_NB, 1, place)
                return
            except (BlockingIOError, PermissionError):
                if time.monotonic() > deadline:
                    return
            except OSError:
                return
            time.sleep(LOOK_S)

    # Two bytes of that file a store: the door, and the room behind it.
    name = os.fsencode(os.path.realpath(path))
    door = int.from_bytes(hashlib.sha256(name).digest()[:4]) // 2 * 2
    try:
        locked(door, fcntl.LOCK_EX)
        locked(door + 1, fcntl.LOCK_SH if shared else fcntl.LOCK_EX)
        with suppress(OSError):
            fcntl.lockf(turns, fcntl.LOCK_UN, 1, door)
        yield
    finally:
        with suppress(OSError):
            fcntl.lockf(turns, fcntl.LOCK_UN, 2, door)


@functools.cache
def _turns() -> int:
    """A file of the user's own, kept open: to close it would give up every lock on it. It lies not
    beside the store, whose folder may take none. Raises OSError."""
    import tempfile

    path = Path(tempfile.gettempdir()) / f"pourstats-{os.getuid()}.turns"
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
