"""Ten moments of a real dashboard; `python tests/faults/kills.py --deeds dashboard` tries more."""

from __future__ import annotations

import importlib.util
import shutil

import pytest


@pytest.mark.skipif(
    shutil.which("chromium") is None or importlib.util.find_spec("playwright") is None,
    reason="no browser: install Chromium (Debian: apt-get install chromium) and the dev extra",
)
def test_a_dashboard_killed_while_a_phone_taps_loses_nothing_that_had_its_tick() -> None:
    from tests.faults import pages

    with pages.browser() as found:
        tally = pages.at_random(found, moments=10, seed=7)
    assert tally.moments == 10
    assert tally.under_way >= 5
