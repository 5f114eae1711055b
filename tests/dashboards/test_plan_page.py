"""The day's plan on its page: machines for this plan alone, and what the crew may read of it."""

from __future__ import annotations

import io
import re
from importlib import import_module
from typing import Any

import pypdf
import pytest
from streamlit.testing.v1 import AppTest

from pourstats.store.access import set_passcode, token
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.rules import in_force, set_rule
from tests.dashboards.test_pages import ROOT, _found, everything

__all__ = ["_found"]
SAMPLE = ROOT / "sample_logs"
SKY = SAMPLE / "forecast" / "tomorrow.csv"
MONEY = r"(?i)dollar|\$|\busd\b|\bpay\b|labor[ _](?:cost|rate)|risk_usd"


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = Store(tmp_path_factory.mktemp("season") / "s.duckdb")
    load(store, sorted(SAMPLE.glob("*.csv")))
    set_rule(store, "trowels_walk_behind", "3")
    set_passcode(store, "office", "ledger-9")
    set_passcode(store, "crew", "trowel-4")
    return store


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch, _found: None) -> None:
    """The forecast of the sample season, and a short search: the page is tried, not the plan."""
    import ahead

    monkeypatch.setattr(ahead, "weather", lambda *_, **__: SKY)
    monkeypatch.setattr(import_module("pourstats.planning.day.plan"), "RUNS", 40)


def page(store: Store, role: str, monkeypatch: pytest.MonkeyPatch, **query: str) -> AppTest:
    """The page as that role sees it, one job chosen."""
    monkeypatch.setenv("POURSTATS_STORE", str(store.path))
    app = AppTest.from_file(str(ROOT / "dashboards" / "app.py"), default_timeout=90)
    app.session_state["token"] = token(store, role)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    app.switch_page("plan.py").run()
    for name in ("B294", "B295"):
        app.multiselect[0].unselect(name).run()
    return app


def pressed(app: AppTest, label: str) -> AppTest:
    next(b for b in app.button if b.label == label).click().run()
    assert not app.exception
    return app


def labels(app: AppTest, kind: str) -> list[str]:
    return [each.proto.label for each in app.get(kind)]


def counts(app: AppTest) -> dict[str, Any]:
    return {each.label: each.value for each in app.number_input}


def forecasts_kept(store: Store) -> int:
    with store.read() as connection:
        return connection.execute("SELECT count(*) FROM forecasts").fetchone()[0]


def test_machines_stand_as_the_settings_have_them_and_change_this_plan_alone(
    season: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = page(season, "office", monkeypatch)
    # What no setting says stands as it is reckoned with, so that + and - have a number to step from.
    assert counts(app) == {"Walk-behind trowels": 3, "Ride-on trowels": 0, "Saws": 1,
                           "Vehicles": None}  # fmt: skip
    assert "Keep these as the settings" not in [b.label for b in app.button]
    before = forecasts_kept(season)
    # No trowel: a floated patio can't be finished, and the plan says what is missing.
    next(n for n in app.number_input if n.label == "Walk-behind trowels").set_value(0).run()
    next(n for n in app.number_input if n.label == "Saws").set_value(0).run()
    assert any("this plan alone" in each.value for each in app.caption)
    pressed(app, "Plan it")
    assert re.search(r"no trowel|no saw", everything(app))
    assert forecasts_kept(season) == before, "a what-if is not scored"
    assert in_force(season, "trowels_walk_behind")["trowels_walk_behind"]["value"] == 3
    # Only once the office says so.
    next(n for n in app.number_input if n.label == "Walk-behind trowels").set_value(4).run()
    next(n for n in app.number_input if n.label == "Saws").set_value(None).run()
    pressed(app, "Keep these as the settings")
    assert in_force(season, "trowels_walk_behind")["trowels_walk_behind"]["value"] == 4
    assert not in_force(season, "saws")["saws"]["set"]
    assert counts(app)["Walk-behind trowels"] == 4
    assert "Keep these as the settings" not in [b.label for b in app.button]


def test_the_crew_has_the_day_sheet_without_a_dollar(
    season: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pourstats.reporting import sheet_day

    app = pressed(page(season, "crew", monkeypatch), "Plan it")
    assert labels(app, "download_button") == ["Calendar file", "Day sheet to print (PDF)",
                                              "Day sheet as text"]  # fmt: skip
    (text,) = [block.value for block in app.code]
    assert "B300" in text and "PEOPLE" in text
    assert not re.findall(MONEY, text)
    # Streamlit's own marks and the charts' apart.
    assert not re.findall(MONEY, re.sub(r"\$\$\w+|\$schema", "", everything(app)))
    pdf = sheet_day.day_pdf(app.session_state["plan"][1].result)
    printed = " ".join(part.extract_text() for part in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    assert "B300" in printed
    assert not re.findall(MONEY, printed)
    # What the crew asks for is a plan like any: only keeping its machines is the office's.
    next(n for n in app.number_input if n.label == "Vehicles").set_value(3).run()
    assert "Keep these as the settings" not in [b.label for b in app.button]
    # The office reads on the same page what it costs.
    office = pressed(page(season, "office", monkeypatch), "Plan it")
    assert re.findall(MONEY, office.code[0].value)


@pytest.mark.parametrize("role", ["office", "crew"])
def test_a_day_that_is_too_much_is_said_above_the_chart(
    role: str, season: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = ["Too much for one day: TJ works over 15 hours.", "For 98 dollars more it fits."]
    given = import_module("pourstats.reporting.planned").plan_answer

    def heavy(*args: Any, **more: Any) -> Any:
        found = given(*args, **more)
        found.result["days"][0]["too_much"] = lines
        return found

    app = page(season, role, monkeypatch)
    monkeypatch.setattr(import_module("pourstats.reporting.planned"), "plan_answer", heavy)
    pressed(app, "Plan it")
    told = [each.value.replace("\\", "") for each in app.warning]
    assert lines[0] in told
    # What it would cost to mend is the office's alone to read.
    assert (lines[1] in told) == (role == "office")
