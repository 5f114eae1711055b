"""What the tests in a real browser share."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from serving import browser

sys.path.pop(0)


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    with browser() as found:
        yield found
