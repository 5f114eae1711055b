"""What the harnesses need of the test run that they are part of."""

from __future__ import annotations

import sys
import types

import pytest


@pytest.fixture(autouse=True)
def no_main_to_run_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Child processes run the main module anew: a page tried earlier may stand there."""
    monkeypatch.setitem(sys.modules, "__main__", types.ModuleType("__main__"))
