"""The callbacks page's watch: drawn with its table, or said why not."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from pourstats.store.database import Store
from pourstats.store.loading import load

ROOT = Path(__file__).resolve().parents[2]
POURS = "pour_id,date,site,slab_type,area,thickness,hands,place_start,place_end,machine_on\n"
CALLS = "callback_id,pour_id,reported,defect,hours,cost\n"


@pytest.fixture(autouse=True)
def _found() -> Iterator[None]:
    sys.path.insert(0, str(ROOT / "dashboards"))
    yield
    sys.path.remove(str(ROOT / "dashboards"))


def shown(folder: Path, called: set[int], monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """The page on forty garages of 2030, those numbers called back 30 days later, and one of
    2031, so that they are old enough to count."""
    days = [f"2030-{1 + k // 28:02d}-{1 + k % 28:02d}" for k in range(40)] + ["2031-06-02"]
    later = [f"2030-{2 + k // 28:02d}-{1 + k % 28:02d}" for k in range(40)]
    (folder / "pours.csv").write_text(POURS + "".join(
        f"P{k},{day},Oak,garage,600,4,4,7:00,8:10,10:30\n" for k, day in enumerate(days)
    ))  # fmt: skip
    (folder / "callbacks.csv").write_text(
        CALLS + "".join(f"C{k},P{k},{later[k]},dusting,4,200\n" for k in sorted(called))
    )
    store = Store(folder / "s.duckdb")
    load(store, [folder / "pours.csv", folder / "callbacks.csv"])
    monkeypatch.setenv("POURSTATS_STORE", str(store.path))
    app = AppTest.from_file(str(ROOT / "dashboards" / "app.py"), default_timeout=90)
    app.run()
    app.switch_page("callbacks.py").run()
    assert not app.exception
    return app


def said(app: AppTest) -> str:
    return "\n".join(str(each.value) for each in (*app.markdown, *app.caption)).replace("\\", "")


@pytest.mark.parametrize("count", [0, 1, 2])
def test_few_calls_say_why_nothing_is_drawn(
    count: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(tmp_path, set(range(count)), monkeypatch)
    assert f"So far {count} came back. How far apart they come is drawn once 6 have" in said(app)
    assert "Each dot is a floor" not in said(app)


def test_a_bad_run_is_drawn_with_its_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every fifth of thirty floors comes back, then all of the last ten."""
    app = shown(tmp_path, {*range(4, 30, 5), *range(30, 40)}, monkeypatch)
    assert "No bad run" in said(app) or "A bad run" in said(app)
    assert "Each dot is a floor that came back" in said(app)
    assert "with those since" in said(app)
    (table,) = [each.value for each in app.table if "came back" in each.value.columns]
    # Thirty floors, each fifth: four good ones before each; then none before each of ten.
    assert table["good floors before it"].astype(str).tolist() == ["0"] * 10 + ["4"] * 5
