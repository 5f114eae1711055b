"""Rows that can be stored but hardly mean what they say are warned of, once, when they come."""

from __future__ import annotations

from pathlib import Path

from pourstats.store.database import Store
from pourstats.store.loading import load

POURS = (
    "pour_id,date,site,slab_type,area,thickness,hands,place_start,place_end,crew_out\n"
    "A1,2031-06-03,Mill,garage,600,4,3,7:00,8:30,13:00\n"
)


def loaded(store: Store, folder: Path, **files: str) -> list[str]:
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text)
    return load(store, [folder]).warnings


def test_each_oddity_is_named_and_not_told_again(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    told = loaded(
        store, tmp_path / "log", pours=POURS,
        trucks="pour_id,ticket,volume,arrived,pour_start\nA1,7,9,8:30,8:20\n",
        callbacks="callback_id,pour_id,reported,defect\nC1,A1,2031-05-01,dusting\n",
        passes="pour_id,pass_no,start,end\nA1,1,6:00,6:20\n",
        crew_time="pour_id,worker,task,start,end\nA1,Bo,place,7:30,9:30\n",
    )  # fmt: skip
    for words in (
        "load 7 of A1 began unloading before it arrived",
        "C1 was reported before A1 was poured",
        "pass 1 of A1 begins more than 18 h after",
        "A1 had 3 hands, but the crew time of only 1 is logged",
    ):
        assert any(words in line for line in told), words
    assert loaded(store, tmp_path / "log") == []


def test_one_callback_under_two_ids_is_told_whichever_came_first(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    head = "callback_id,pour_id,reported,defect,hours,cost\n"
    first = loaded(
        store,
        tmp_path / "log",
        pours=POURS + POURS.splitlines()[1].replace("A1", "A2"),
        callbacks=head + "C1,A1,2031-09-01,dusting,4,\n"
        "C2,A1,2031-09-01,crazing,4,\nC3,A2,2031-09-01,dusting,4,\n"
        "C4,A1,2031-10-01,dusting,4,\nC5,A1,2031-09-03,dusting,5,\n",
    )
    # Another defect, another floor, a month later, other hours.
    assert not any("one call" in line for line in first)
    (one,) = loaded(store, tmp_path / "again", callbacks=head + "n7,A1,2031-09-03,dusting,,90\n"
                    )[:1]  # fmt: skip
    assert one == (
        "callbacks: C1 and n7 of A1: both dusting, reported 2031-09-01 and 2031-09-03; if it was"
        " one call, delete one (`pourstats check` has the command)"
    )
    assert loaded(store, tmp_path / "again") == []


def test_a_whole_and_orderly_log_is_not_warned_of(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    rows = "".join(f"A1,{who},place,7:00,8:30\n" for who in ("Bo", "Cy", "Di"))
    told = loaded(
        store, tmp_path / "log", pours=POURS,
        trucks="pour_id,ticket,volume,arrived,pour_start\nA1,7,9,8:20,8:20\n",
        passes="pour_id,pass_no,start,end\nA1,1,10:00,10:20\n",
        crew_time="pour_id,worker,task,start,end\n" + rows,
    )  # fmt: skip
    assert told == []


def test_a_row_that_waits_for_a_pour_of_another_case_is_told(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    loaded(store, tmp_path / "log", pours=POURS)
    told = loaded(
        store, tmp_path / "log",
        callbacks="callback_id,pour_id,reported,defect\nC1,a1,2031-09-01,dusting\n",
    )  # fmt: skip
    assert any("'A1' and 'a1' look alike" in line for line in told)


STAMPS = (
    "stamp_id,pour_id,event,subject,at\n"
    "a,B1,describe,site=Oak;slab_type=garage;area=600;thickness=4,2031-06-03 06:00\n"
    "b,B1,load_in,load-1,2031-06-03 06:50\n"
)


def test_taps_that_make_no_row_yet_say_what_they_wait_for(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    told = loaded(store, tmp_path / "phone", stamps=STAMPS)
    assert told == [
        "stamps: B1 stays open, in no figure yet; still to come: gone",
        "stamps: B1: load-1 waits for its volume",
    ]
    gone = STAMPS + "c,B1,gone,,2031-06-03 15:00\nd,B1,load_in,load-1;volume=9,2031-06-03 06:51\n"
    assert loaded(store, tmp_path / "phone", stamps=gone) == []


def test_taps_of_a_pour_that_somebody_logged_otherwise_say_so(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    told = loaded(store, tmp_path / "log", pours=POURS, stamps=STAMPS.replace("B1", "A1"))
    assert told == ["stamps: A1 is logged in pours.csv, which goes before its taps"]
