"""A command of ours, run in the tests' own process."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass
class Answer:
    """What a command answered."""

    status: int
    out: str
    err: str


Run = Callable[..., Answer]
