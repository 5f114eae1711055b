"""Commands about jobs ahead: what they will take, and when each slab is ready."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from pourstats.cli.base import command, noted, opened, printed, shown, told
from pourstats.faults import Refusal

UNITS = click.option(
    "--units", "system", type=click.Choice(["us", "metric"]), default="us", show_default=True,
    help="Units to show.",
)  # fmt: skip


def in_units(answer: Any, text: Callable[[Any], str], system: Any, as_json: bool) -> None:
    """Print an answer: for programs, or as a text in the units shown; what to note is changed to
    these units too."""
    from pourstats.reporting.amounts import in_system

    printed(answer.result) if as_json else shown(in_system(text(answer.result), system))
    answer.notes[:] = [in_system(note, system) for note in answer.notes]


@command("bid", "pourstats bid jobs.csv --confidence 0.7 --set placement=pump")
@click.argument("jobs", nargs=-1, metavar="JOBS")
@click.option("--forecast", type=click.Path(path_type=Path), metavar="WEATHER",
              help="A forecast file, for jobs within its days.")  # fmt: skip
@click.option("--confidence", type=float, help="0.7: seven in ten such jobs stay within it.")
@click.option("--set", "sets", multiple=True, metavar="NAME=VALUE", help="A what-if, beside.")
@click.option("--rates", is_flag=True, help="The rate card instead of jobs.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the rate card as csv or xlsx.")  # fmt: skip
@UNITS
def bid(
    jobs: tuple[str, ...],
    forecast: Path | None,
    confidence: float | None,
    sets: tuple[str, ...],
    rates: bool,
    out: Path | None,
    system: Any,
    store: Path | None,
    as_json: bool,
) -> int:
    """Labor hours and price for jobs ahead, with the doubt and the floors they rest on.

    JOBS is a jobs file, or pour ids of the stored jobs.
    """
    from pourstats.reporting.answers import bid_answer, rate_card_answer
    from pourstats.reporting.bid import bid_text

    if rates and (jobs or forecast or confidence is not None or sets):
        raise Refusal(
            "--rates shows the rate card of your record alone; leave jobs and the rest out"
        )
    if out is not None and not rates:
        raise Refusal("--out writes the rate card; add --rates, or leave --out out")
    if rates:
        return card(rate_card_answer(opened(store)).result, out, system, as_json)
    answer = bid_answer(opened(store), jobs, forecast, confidence, pairs(sets))
    printed(answer.result) if as_json else shown(bid_text(answer.result, system))
    noted(answer.notes)
    return answer.status


def pairs(sets: tuple[str, ...]) -> dict[str, str]:
    """``--set NAME=VALUE`` as a mapping, names as a header may write them. Refusal otherwise."""
    found: dict[str, str] = {}
    for text in sets:
        if "=" not in text:
            raise Refusal(f"--set takes NAME=VALUE, as placement=pump; got {text!r}")
        written, _, value = text.partition("=")
        name = "_".join(written.strip().lower().replace("-", " ").replace("_", " ").split())
        if name in found:
            raise Refusal(f"--set {name} is given twice; give one, and ask again for the other")
        found[name] = value
    return found


def card(found: dict[str, Any], out: Path | None, system: Any, as_json: bool) -> int:
    """Print or write the rate card."""
    from pourstats.planning.rates import card_frame
    from pourstats.reporting import tables
    from pourstats.reporting.bid import rates_text
    from pourstats.reporting.workbook_rates import card_meanings

    if out is not None:
        rows, form = card_frame(found), out.suffix[1:].lower() or "csv"
        tables.write(rows, "rates", form, system, out, meanings=card_meanings(found))
        told(f"{len(rows)} rates written to {out}")
    elif as_json:
        printed(found)
    else:
        shown(rates_text(found, system))
    return 0


@command("finishing", "pourstats finishing jobs.csv --forecast tomorrow.csv")
@click.argument("jobs", nargs=-1, required=True, metavar="JOBS")
@click.option("--forecast", type=click.Path(path_type=Path), metavar="WEATHER", required=True,
              help="A forecast file in the weather format; five rows by hand will do.")  # fmt: skip
@UNITS
def finishing(
    jobs: tuple[str, ...], forecast: Path, system: Any, store: Path | None, as_json: bool
) -> int:
    """When each slab is ready: first pass, later passes, last pass, saw window.

    JOBS is a jobs file, or pour ids of the stored jobs.
    """
    from pourstats.reporting.answers import finishing_answer
    from pourstats.reporting.finishing import finishing_text

    answer = finishing_answer(opened(store), jobs, forecast)
    in_units(answer, finishing_text, system, as_json)
    noted(answer.notes)
    return answer.status


@command("trucks", "pourstats trucks jobs.csv")
@click.argument("jobs", nargs=-1, required=True, metavar="JOBS")
@click.option("--forecast", type=click.Path(path_type=Path), metavar="WEATHER",
              help="A forecast file, for how fast the concrete ages.")  # fmt: skip
@UNITS
def trucks(
    jobs: tuple[str, ...], forecast: Path | None, system: Any, store: Path | None, as_json: bool
) -> int:
    """How many loads, how far apart, and the wait to expect.

    JOBS is a jobs file, or pour ids of the stored jobs.
    """
    from pourstats.reporting.answers import trucks_answer
    from pourstats.reporting.trucks import trucks_text

    answer = trucks_answer(opened(store), jobs, forecast)
    in_units(answer, trucks_text, system, as_json)
    noted(answer.notes)
    return answer.status


@command("plan", "pourstats plan jobs.csv --forecast tomorrow.csv --calendar day.ics")
@click.argument("jobs", nargs=-1, required=True, metavar="JOBS")
@click.option("--forecast", type=click.Path(path_type=Path), metavar="WEATHER", required=True,
              help="A forecast file in the weather format.")  # fmt: skip
@click.option("--off", multiple=True, metavar="WORKER", help="Who isn't there; again for more.")
@click.option("--now", metavar="TIME", help="Replan the rest of the day as of this time.")
@click.option("--log", type=click.Path(path_type=Path), metavar="DIR",
              help="What has happened so far, as a log folder; else the store's.")  # fmt: skip
@click.option("--calendar", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the day as an iCalendar file.")  # fmt: skip
@click.option("--pdf", type=click.Path(path_type=Path), metavar="FILE",
              help="Write the day sheet as one page to print.")  # fmt: skip
@UNITS
def plan(
    jobs: tuple[str, ...],
    forecast: Path,
    off: tuple[str, ...],
    now: str | None,
    log: Path | None,
    calendar: Path | None,
    pdf: Path | None,
    system: Any,
    store: Path | None,
    as_json: bool,
) -> int:
    """A day: who goes where, when each pour starts, trucks, finish, saw.

    JOBS is a jobs file, or pour ids of the stored jobs.
    """
    from pourstats.reporting import outfile
    from pourstats.reporting.day import plan_text
    from pourstats.reporting.planned import plan_answer, write_calendar
    from pourstats.reporting.sheet import saved
    from pourstats.reporting.sheet_day import day_pdf

    for path, format in ((calendar, "ics"), (pdf, "pdf")):
        if path is not None:
            outfile.demand(path, format)
    answer = plan_answer(opened(store), jobs, forecast, off, now, log)
    in_units(answer, plan_text, system, as_json)
    if calendar is not None and any(day["tasks"] for day in answer.result["days"]):
        answer.notes.append(write_calendar(opened(store), answer.result, calendar))
    elif calendar is not None:
        answer.notes.append("no calendar is written: nothing is planned")
    if pdf is not None:
        saved(pdf, day_pdf(answer.result, system))
        answer.notes.append(f"day sheet written to {pdf}")
    noted(answer.notes)
    return answer.status
