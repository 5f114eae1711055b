"""Every page on the sample season, without a store, on an empty one, three pours, and mistakes."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from pourstats.store.database import Store
from pourstats.store.loading import load

ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted(
    path.name
    for path in (ROOT / "dashboards").glob("*.py")
    if path.name in {"week.py", "log_pour.py", "record.py", "upload.py", "finishing.py", "plan.py",
                     "trucks.py", "price.py", "callbacks.py"}
)  # fmt: skip
SHORT = """pour_id,date,site,slab_type,area,thickness,hands,place_start,place_end,bull_float_end,\
machine_on,passes_done,saw_end,crew_out
{rows}
"""
THREE = "\n".join(
    f"T{n},2031-06-0{n},Oak,garage,600,4,4,7:00,8:10,8:20,10:30,12:40,14:00,14:10"
    for n in (2, 3, 4)
)


@pytest.fixture(autouse=True)
def _found() -> Iterator[None]:
    sys.path.insert(0, str(ROOT / "dashboards"))
    yield
    sys.path.remove(str(ROOT / "dashboards"))


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "s.duckdb"
    load(Store(path), sorted((ROOT / "sample_logs").glob("*.csv")))
    return path


@pytest.fixture(scope="module")
def stores(season: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("stores")
    empty, three, wrong = (folder / f"{name}.duckdb" for name in ("empty", "three", "wrong"))
    with Store(empty).write():
        pass
    (folder / "pours.csv").write_text(SHORT.format(rows=THREE))
    load(Store(three), [folder / "pours.csv"])
    load(Store(wrong), [ROOT / "sample_logs" / "mistakes"])
    return {"season": season, "none": folder / "none.duckdb", "empty": empty, "three": three,
            "mistakes": wrong}  # fmt: skip


def shown(store: Path, page: str, monkeypatch: pytest.MonkeyPatch, **query: str) -> AppTest:
    monkeypatch.setenv("POURSTATS_STORE", str(store))
    app = AppTest.from_file(str(ROOT / "dashboards" / "app.py"), default_timeout=90)
    for name, value in query.items():
        app.query_params[name] = value
    app.run()
    if page != "week.py":
        app.switch_page(page)
        for name, value in query.items():
            app.query_params[name] = value
        app.run()
    # What went wrong is said in a sentence, never as an exception.
    assert not [error.value for error in app.error if "failed" in error.value]
    return app


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("which", ["season", "none", "empty", "three", "mistakes"])
def test_a_page_answers_whatever_the_record(
    page: str, which: str, stores: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(stores[which], page, monkeypatch)
    assert not app.exception
    assert not [error.value for error in app.error]
    assert app.header and app.header[0].value.strip(), "no answer stands first"


def test_the_week_says_what_the_command_says(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pourstats.reporting.week_record import review

    found = review(Store(season), None)
    app = shown(season, "week.py", monkeypatch)
    unescaped = app.header[0].value.replace("\\", "")
    assert unescaped == found["headline"]["sentence"]
    told = [line.value.replace("\\", "") for line in app.markdown]
    for item in found["stands_out"]:
        assert any(item["sentence"] in line for line in told)
    assert len(app.get("vega_lite_chart")) == 2
    # Monday's answer whole: what to change and why, and whether the crew is getting better.
    assert found["changes"]
    for change in found["changes"]:
        # Where a command is named, the page that does the same stands.
        do = change["do"].replace("`pourstats plan`", "the page “Plan the day”")
        assert any(do in line for line in told)
    assert any(found["trend"]["sentence"] in line for line in told)
    # Par is another number than the usual that the bars show: what it is stands beside it.
    captions = [each.value.replace("\\", "") for each in app.caption]
    assert any("at par" in each for each in captions)
    assert any(each.startswith("Par is what this crew does") for each in captions)


TEXTS = ("title", "header", "subheader", "markdown", "caption", "code", "text", "table", "warning",
         "info", "success", "error")  # fmt: skip
ASKED = ("button", "download_button", "text_input", "number_input", "selectbox", "multiselect",
         "button_group", "text_area", "time_input", "date_input", "expander",
         "data_editor", "vega_lite_chart")  # fmt: skip


def everything(app: AppTest) -> str:
    """All that a page shows as text: labels, columns, choices and charts' data in it."""
    parts = [str(part.value) for kind in TEXTS for part in app.get(kind)]
    # A protocol buffer writes what is beyond ASCII in octal.
    asked = "\n".join(str(part.proto) for kind in ASKED for part in app.get(kind))
    for written, sign in (("\\302\\262", "²"), ("\\302\\263", "³"), ("\\302\\260", "°")):
        asked = asked.replace(written, sign)
    parts += [part.value.to_string().replace("_", " ") for part in app.dataframe]
    return "\n".join([*parts, asked])


# Of the pictured signs and words none stands in metric; "8 in 10" is no length.
US_UNITS = (
    r"\bft2\b|ft²|\byd3\b|yd³|°F|\bdegF\b|\bmph\b|\bpsi\b|lb/ft|\byards?\b|\bfeet\b|\[in\]|\[ft\]"
    r"|\d ?(?:in|ft)\b(?! 10\b| order\b)(?! \(\d[\d.]*(?: to \d[\d.]*)? m{1,2}\))|\binch"
)
"""A size that is given both ways, as 1/4 in (6 mm), may stay."""


@pytest.mark.parametrize(
    ("page", "query", "label"),
    [
        ("week.py", {}, None), ("log_pour.py", {"pour": "B300"}, None),
        ("log_pour.py", {"pour": "B297", "form": "1"}, None), ("record.py", {}, None),
        ("record.py", {"pour": "B297"}, None), ("finishing.py", {}, "Work it out"),
        ("plan.py", {}, "Plan it"), ("trucks.py", {}, "Work it out"), ("price.py", {}, None),
        ("callbacks.py", {}, None),
    ],
)  # fmt: skip
def test_no_us_unit_is_left_in_metric(
    page: str, query: dict[str, str], label: str | None, season: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    import ahead

    sky = ROOT / "sample_logs" / "forecast" / "tomorrow.csv"
    monkeypatch.setattr(ahead, "weather", lambda *_, **__: sky)
    monkeypatch.setattr(import_module("pourstats.planning.day.plan"), "RUNS", 40)
    told = {}
    for units in ("metric", "us"):
        app = shown(season, page, monkeypatch, units=units, **query)
        if page == "plan.py":
            for name in ("B294", "B295"):
                app.multiselect[0].unselect(name).run()
        if label is not None:
            next(b for b in app.button if b.label == label).click().run()
        assert not app.exception
        told[units] = everything(app)
    assert not re.findall(US_UNITS, told["metric"])
    # The same page in US units has some, so that the pattern looks where they stand.
    assert re.findall(US_UNITS, told["us"])


def test_one_pour_whole(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(season, "record.py", monkeypatch, pour="B297")
    assert "B297" in app.header[0].value
    assert any("07:21" in block.value for block in app.code)


def test_a_pour_that_is_not_there_is_said_plainly(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(season, "record.py", monkeypatch, pour="nope")
    assert not app.exception
    assert any("nope" in error.value for error in app.error)
    assert app.header[0].value.replace("\\", "") == "nope isn't in the record."
    # And the way back is there.
    next(b for b in app.button if b.label == "‹ Every pour").click().run()
    assert not app.error and "pours" in app.header[0].value


def test_deleted_and_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "pours.csv").write_text(SHORT.format(rows=THREE))
    store = Store(tmp_path / "s.duckdb")
    load(store, [tmp_path / "pours.csv"])
    app = shown(store.path, "record.py", monkeypatch, pour="T3")
    next(b for b in app.button if b.label == "Delete").click().run()
    assert not app.exception
    assert "2 pours" in app.header[0].value
    next(b for b in app.button if "Take back" in b.label).click().run()
    assert "3 pours" in app.header[0].value


def test_a_call_is_logged_where_callbacks_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pourstats.logs.defects import DEFECTS
    from pourstats.store.reading import frame

    (tmp_path / "pours.csv").write_text(SHORT.format(rows=THREE))
    store = Store(tmp_path / "s.duckdb")
    load(store, [tmp_path / "pours.csv"])
    app = shown(store.path, "callbacks.py", monkeypatch)
    next(b for b in app.button if b.label == "Save").click().run()
    assert any("needs it" in each.value for each in app.error), "no pour, no defect"
    app.selectbox(key="call-0-pour_id").select("T3").run()
    app.selectbox(key="call-0-defect").select("dusting").run()
    assert any(DEFECTS["dusting"].looks in each.value.replace("\\", "") for each in app.caption)
    app.number_input(key="call-0-hours").set_value(2.5).run()
    next(b for b in app.button if b.label == "Save").click().run()
    assert not app.exception and not app.error
    assert any("T3" in each.value for each in app.success)
    with store.read() as connection:
        (row,) = frame(connection, "callbacks").to_dict("records")
    assert (row["pour_id"], row["defect"], row["hours"]) == ("T3", "dusting", 2.5)
    # The fields are blank again for the next call.
    assert app.selectbox(key="call-1-defect").value is None


@pytest.mark.parametrize(("page", "says"), [("plan.py", "weather"), ("trucks.py", None)])
def test_a_dead_button_says_what_is_missing(
    page: str, says: str | None, season: Path, stores: dict[str, Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    told = [each.value for each in shown(stores["empty"], page, monkeypatch).caption]
    assert any("Choose a job above first" in line for line in told)
    told = [each.value for each in shown(season, page, monkeypatch).caption]
    assert any("weather to come is needed" in line for line in told) == (says == "weather")


def test_an_answer_to_other_jobs_is_shown_no_more(
    season: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(season, "trucks.py", monkeypatch)
    next(b for b in app.button if b.label == "Work it out").click().run()
    assert any("B294" in block.value for block in app.code)
    # When to order each load stands on the page itself, also where no spacing is to be chosen.
    heading = next(each.value for each in app.subheader if each.value.startswith("B294"))
    assert "11.5 yd³, 2 loads, the last as a balance load" in heading.replace("\\", "")
    sizes = [each.replace("\\", "") for each in app.table[0].value["size"]]
    assert sizes == ["10 yd³", "1.5 yd³"]
    assert "call about" in app.table[0].value["due"].iloc[1]
    app.multiselect[0].unselect("B294").run()
    assert not app.exception
    assert not any("B294" in block.value for block in app.code)
    assert any("work it out again" in each.value for each in app.info)


SPY: Callable[[Any], str] = lambda app: " ".join(  # noqa: E731
    str(part.value) for kind in (app.markdown, app.caption, app.header, app.text) for part in kind
)


def test_names_and_notes_are_shown_to_the_letter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = 'T2,2031-06-02,"<b>Oak</b> **x** :red[y] [a](http://b)",garage,600,4,4,,,,,,,'
    (tmp_path / "pours.csv").write_text(SHORT.format(rows=rows))
    store = Store(tmp_path / "s.duckdb")
    load(store, [tmp_path / "pours.csv"])
    app = shown(store.path, "record.py", monkeypatch, pour="T2")
    assert not app.exception
    for mark in ("<b>", "**x**", ":red[", "](http"):
        assert mark not in app.header[0].value
    assert "\\<b\\>Oak" in app.header[0].value


def test_every_language_has_the_strings_of_the_logging_page() -> None:
    import tomllib

    folder = ROOT / "dashboards" / "strings"
    english = tomllib.loads((folder / "en.toml").read_text(encoding="utf-8"))
    others = [path for path in folder.glob("*.toml") if path.name != "en.toml"]
    assert others
    sections = ("switch", "nav", "log", "fill", "upload", "phone", "fault", "tap", "slab_type", "finish", "placement",
                "exposure", "wind_felt", "gate")  # fmt: skip
    for path in others:
        other = tomllib.loads(path.read_text(encoding="utf-8"))
        for section in sections:
            assert set(other[section]) == set(english[section]), (path.name, section)
            for name, text in english[section].items():
                braces = sorted(part.split("}")[0] for part in text.split("{")[1:])
                theirs = sorted(p.split("}")[0] for p in other[section][name].split("{")[1:])
                assert braces == theirs, (path.name, section, name)


def test_every_choice_of_the_log_is_said_in_spanish() -> None:
    import tomllib

    from pourstats.logs.tables import EXPOSURES, FINISHES, PLACEMENTS, SLAB_TYPES, WINDS_FELT

    spanish = tomllib.loads((ROOT / "dashboards/strings/es.toml").read_text(encoding="utf-8"))
    for section, choices in (("slab_type", SLAB_TYPES), ("finish", FINISHES),
                             ("placement", PLACEMENTS), ("exposure", EXPOSURES),
                             ("wind_felt", WINDS_FELT)):  # fmt: skip
        assert set(spanish[section]) == set(choices)


def test_what_an_upload_sets_aside_is_told_in_spanish(tmp_path: Path) -> None:
    import streamlit as st
    import upload
    import words

    from pourstats.store import previewing

    store = Store(tmp_path / "s.duckdb")
    folder = ROOT / "sample_logs" / "mistakes"
    files = {path.name: path.read_bytes() for path in sorted(folder.iterdir())}
    report = previewing.preview(store, previewing.read(store, files))
    st.session_state["language"] = "es"
    try:
        assert len(report.set_aside) > 10 and report.warnings
        for fault in report.set_aside:
            assert words.reason(fault.reason) != fault.reason, fault.reason
        english = r"\b(is|are|the|was|not|did you|line|at once)\b"
        for line in report.warnings:
            assert not re.search(english, upload.odd(line)), upload.odd(line)
    finally:
        del st.session_state["language"]


def test_a_fault_of_the_form_is_told_in_spanish() -> None:
    import streamlit as st
    import words

    st.session_state["language"] = "es"
    try:
        for text, told in (
            ("is blank; every row of pours needs it", "está en blanco, y todo renglón de Colados"),
            ("'90' is above 60 in; was 9 meant?", "'90' es más de 60 in; ¿quiso decir 9?"),
            ("'0.1' is below 0.5 in; 0.5 to 60 is allowed", "se acepta de 0.5 a 60"),
            ("'-3' is below 0; check the sign", "'-3' es menos de 0; revise el signo"),
            ("'06:00' comes before place_start; check both times", "antes de «Primer concreto»"),
            ("'2031-06-07 06:00' is more than 72 h after place_start; check both dates",
             "queda más de 72 h después de «Primer concreto»"),
            ("'1.5' is not a whole number", "'1.5' no es un número entero"),
        ):  # fmt: skip
            assert told in words.reason(text), words.reason(text)
        assert words.reason("something new") == "something new", "rather English than nothing"
    finally:
        del st.session_state["language"]


def test_the_week_chosen_is_in_the_address(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(season, "week.py", monkeypatch)
    latest = app.title[0].value
    for _ in range(2):
        next(b for b in app.button if b.label.startswith("‹")).click().run()
    earlier = app.title[0].value
    week = app.query_params["week"]
    assert earlier != latest
    # A reload: another visit with the same address.
    assert shown(season, "week.py", monkeypatch, week=week).title[0].value == earlier
    for _ in range(2):
        next(b for b in app.button if b.label.endswith("›")).click().run()
    assert app.title[0].value == latest and "week" not in app.query_params
    for odd in ("soon", "0001-01-01", "9999-12-31"):
        app = shown(season, "week.py", monkeypatch, week=odd)
        assert not app.exception and app.header[0].value.strip(), odd


def test_par_and_bid_stand_beside_the_usual(season: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pourstats.reporting.week_record import review

    found = review(Store(season), None)
    told = [line.value.replace("\\", "") for line in shown(season, "week.py", monkeypatch).caption]
    known = [par for par in found["par"] if par["par_h"] is not None]
    assert known, "the sample's last week has a par"
    lines = [line for line in told if line.startswith("Par: ")]
    assert len(lines) == len(known)
    hours = {f"{par['labor_h']:,.0f} h spent, {par['par_h']:,.0f} h at par" for par in known}
    assert all(any(each in line for line in lines) for each in hours), (hours, lines)
    assert any(line.startswith("Bid: ") for line in told) == bool(found["bids"]["compared"])


def test_what_a_page_calls_a_choice_in_spanish_a_load_reads() -> None:
    import tomllib

    from pourstats.logs.cell import Reading
    from pourstats.logs.cells import read_cell
    from pourstats.logs.tables import POURS

    spanish = tomllib.loads((ROOT / "dashboards/strings/es.toml").read_text(encoding="utf-8"))
    for section in ("slab_type", "finish", "placement", "exposure", "wind_felt"):
        for choice, word in spanish[section].items():
            assert read_cell(word, POURS.column(section), Reading()).value == choice, word


def test_todays_job_comes_first_however_many_days_have_gone_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import datetime as dt

    today = dt.date.today()
    jobs = "\n".join(
        f"J{n:02},{today + dt.timedelta(days=n - 15)},Oak,garage,600,4" for n in range(40)
    )
    (tmp_path / "jobs.csv").write_text(f"pour_id,date,site,slab_type,area,thickness\n{jobs}\n")
    store = tmp_path / "s.duckdb"
    load(Store(store), [tmp_path / "jobs.csv"])
    for page, key in (("plan.py", "plan-jobs"), ("price.py", "price-jobs")):
        app = shown(store, page, monkeypatch)
        chosen = app.multiselect(key=key)
        assert chosen.value == ["J15", "J16", "J17"]
        assert chosen.options[0] == "J15 · today · Oak · garage"
        assert chosen.options[-1] == f"J00 · {today - dt.timedelta(days=15)} · Oak · garage"
    buttons = [
        each.label.replace("\\", "") for each in shown(store, "log_pour.py", monkeypatch).button
    ]
    offered = [label for label in buttons if label.startswith("J")]
    assert len(offered) == 40, "each of them can be begun"
    assert offered[0] == "J15 · Oak · garage · today"
    assert offered[1] == "J16 · Oak · garage · tomorrow"
    assert offered[25] == f"J14 · Oak · garage · {today - dt.timedelta(days=1)}"


def test_every_text_of_the_pages_is_there_in_every_language() -> None:
    import tomllib

    def texts(language: str) -> dict[str, str]:
        read = tomllib.loads((ROOT / f"dashboards/strings/{language}.toml").read_text("utf-8"))
        return {f"{s}.{name}": text for s, group in read.items() for name, text in group.items()}

    english, spanish = texts("en"), texts("es")
    assert set(english) == set(spanish)
    for name, text in english.items():
        braces = sorted(re.findall(r"\{\w+\}", text))
        assert sorted(re.findall(r"\{\w+\}", spanish[name])) == braces, name


def test_three_pours_have_no_column_of_a_usual_that_is_not_known(
    stores: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(stores["three"], "week.py", monkeypatch)
    assert list(app.table[0].value.columns) == ["figure", "this week"]
    assert not [each for each in app.caption if each.value.startswith("Par is")]
    assert not [each for each in app.caption if "eight such floors" in each.value]


def test_the_record_shows_no_programmers_nothing(
    stores: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(stores["three"], "record.py", monkeypatch)
    changes = app.dataframe[-1].value
    assert list(changes["undone_at"]) == [""]
    assert not [each for each in app.subheader if each.value.startswith("Set aside")]


def test_what_fails_on_a_page_is_a_sentence_not_a_trace(
    stores: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    import pourstats.reporting.pour as broken

    def breaks(*_: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(broken, "pour_whole", breaks)
    with pytest.raises(AssertionError, match="This page failed; nothing was changed"):
        shown(stores["three"], "record.py", monkeypatch, pour="T2")
