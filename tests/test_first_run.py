"""The few house rules asked for at first run: an answer that can't be used is asked for again."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from pourstats import settings
from pourstats.cli.record import ask_house_rules
from pourstats.store.database import Store
from pourstats.store.rules import in_force


def test_the_rules_that_matter_are_asked_for_and_a_slip_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = iter(["about ten", "7", "", "0.4", "43.6", "-116.2"])
    asked: list[str] = []

    def prompt(question: str, default: str, err: bool) -> str:
        assert err
        asked.append(question)
        return next(answers) or default

    monkeypatch.setattr(click, "prompt", prompt)
    store = Store(tmp_path / "s.duckdb")
    ask_house_rules(store)
    assert len(asked) == 1 + sum(rule.ask for rule in settings.RULES.values())
    found = in_force(store)
    assert found["free_min_per_yd3"]["value"] == 7
    assert found["burden"]["value"] == 0.4
    assert found["longitude"]["value"] == -116.2
    assert not found["default_pay"]["set"]
    assert "'about ten' is not a number" in capsys.readouterr().err


def test_a_template_filled_in_bit_by_bit_is_not_scolded(tmp_path: Path) -> None:
    from pourstats.logs.forms import write_templates
    from pourstats.reporting.loaded import load_text
    from pourstats.store.loading import load

    write_templates(tmp_path / "log")
    pours = tmp_path / "log" / "pours.csv"
    head = pours.read_text().splitlines()[0].split(",")
    row = {"pour_id": "P1", "date": "2031-06-03", "site": "Mill", "slab_type": "garage"}
    cells = [row.get(name.split(" ")[0], "") for name in head]
    cells[head.index("area [ft2]")], cells[head.index("thickness [in]")] = "600", "4"
    pours.write_text(",".join(head) + "\n" + ",".join(cells) + "\n")
    report = load(Store(tmp_path / "s.duckdb"), [tmp_path / "log"])
    assert report.status == 0
    text = load_text(report)
    assert text.startswith("pours            1 read: 1 added")
    assert text.count("a header but no rows") == 1
