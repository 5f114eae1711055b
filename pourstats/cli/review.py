"""Commands that look back: the week, and what the record says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pourstats.cli.base import command, day, opened, printed, shown, told


@command("week", "pourstats week --ending 2031-06-08")
@click.option("--ending", metavar="DATE", help="A day of the week wanted; else the latest pour's.")
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to show.")  # fmt: skip
@click.option("--pdf", type=click.Path(path_type=Path), metavar="FILE",
              help="Write it as one page to print.")  # fmt: skip
@click.option("--html", type=click.Path(path_type=Path), metavar="FILE",
              help="Write it as one file for a browser.")  # fmt: skip
@click.option("--xlsx", type=click.Path(path_type=Path), metavar="FILE",
              help="Write it as a workbook, money included.")  # fmt: skip
def week(
    ending: str | None, system: Any, pdf: Path | None, html: Path | None, xlsx: Path | None,
    store: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """The weekly review: what got done, what it took against usual, and what stood out."""
    from pourstats.reporting.week import week_text
    from pourstats.reporting.week_record import review

    found = review(opened(store), day(ending))
    written = write_week(found, system, pdf, html, xlsx)
    if as_json:
        printed(found)
    elif not written:
        shown(week_text(found, units=system))
    if found["state"] == "no_pours":
        told("no pours are stored yet; `pourstats load FOLDER` brings them in")
        return 1
    return 0


def write_week(
    found: Any, system: Any, pdf: Path | None, html: Path | None, xlsx: Path | None
) -> bool:
    """Write the week to those of the files that are named; whether there was one."""
    from pourstats.reporting.page_html import week_html
    from pourstats.reporting.sheet import saved
    from pourstats.reporting.sheet_week import week_pdf

    for file, page in ((pdf, week_pdf), (html, week_html)):
        if file is not None:
            saved(file, page(found, system))
            told(f"the week's page written to {file}")
    if xlsx is not None:
        from pourstats.reporting.workbook_week import write_week as write_workbook

        write_workbook(found, xlsx, system)
        told(f"the week's workbook written to {xlsx}")
    return any(file is not None for file in (pdf, html, xlsx))


@command("pour", "pourstats pour B214")
@click.argument("pour_id", metavar="ID")
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to show.")  # fmt: skip
@click.option("--pdf", type=click.Path(path_type=Path), metavar="FILE",
              help="Write it as a page to print, without pay or prices.")  # fmt: skip
def pour(pour_id: str, system: Any, pdf: Path | None, store: Path | None, as_json: bool) -> int:
    """One pour, whole: the day, hours, loads, passes, air, callbacks."""
    from pourstats.reporting.pour import pour_text, pour_whole

    found = pour_whole(opened(store), pour_id)
    if pdf is not None:
        from pourstats.reporting.sheet import saved
        from pourstats.reporting.sheet_pour import pour_pdf

        saved(pdf, pour_pdf(found, system))
        told(f"the pour's page written to {pdf}")
    if as_json:
        printed(found)
    elif pdf is None:
        shown(pour_text(found, system))
    return 0


@command("score", "pourstats score")
def score(store: Path | None, as_json: bool) -> int:
    """How past forecasts and bids did against what was then logged."""
    from pourstats.reporting.score import score as scored
    from pourstats.reporting.score import score_text

    found = scored(opened(store))
    printed(found) if as_json else shown(score_text(found))
    return 0


@command("callbacks", "pourstats callbacks --by cure")
@click.option("--by", metavar="GROUPING",
              help="Every group of one: slab_type, finish, base, cure, lead, month,"
              " evaporation_class, first_pass_timing, saw_delay, mix, water_added, truck_age,"
              " fault.")  # fmt: skip
def callbacks(by: str | None, store: Path | None, as_json: bool) -> int:
    """Which floors come back, what they cost, and what goes with it."""
    from pourstats.reporting.answers import callbacks_answer
    from pourstats.reporting.callbacks import callbacks_text, grouping, groups_text

    found = callbacks_answer(opened(store)).result
    if as_json:
        printed(found if by is None else {"by": by, "groups": grouping(found, by)})
    else:
        shown(callbacks_text(found) if by is None else groups_text(found, by))
    if found["state"] == "no_pours":
        told("no pours are stored yet; `pourstats load FOLDER` brings them in")
        return 1
    return 0


@command("patterns", "pourstats patterns")
def patterns(store: Path | None, as_json: bool) -> int:
    """What the weather does to the first pass and the gaps, from the crew's own log."""
    from pourstats.reporting.answers import patterns_answer
    from pourstats.reporting.patterns import patterns_text

    found = patterns_answer(opened(store)).result
    printed(found) if as_json else shown(patterns_text(found))
    if not found["pours"]:
        told("no pours with their times are stored yet; `pourstats load FOLDER` brings them in")
        return 1
    return 0


@command("check", "pourstats check")
@click.option("--all", "whole", is_flag=True, help="List every finding, not the first of a kind.")
def check(whole: bool, store: Path | None, as_json: bool) -> int:
    """Look the whole store over and say what to mend: which row, which cell, which command.

    It changes nothing, and ends with 0 whatever it finds.
    """
    from pourstats.reporting.check import check_text, checked

    found = checked(opened(store))
    printed(found) if as_json else shown(check_text(found, whole))
    if found["state"] == "no_rows":
        told("nothing is stored yet; `pourstats load FOLDER` brings logs in")
        return 1
    return 0
