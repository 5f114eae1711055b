"""What every command shares: the group, its options, and how it prints."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

from pourstats.faults import Refusal

Command = TypeVar("Command", bound=Callable[..., Any])

NEXT = """pourstats counts what your floors took.

  pourstats demo              a sample season, loaded and reviewed
  pourstats template DIR      blank logs to fill in
  pourstats load DIR          your logs into the store
  pourstats week              the weekly review
  pourstats --help            all commands
"""


class Plain(click.Command):
    """A command whose help shows an example, and keeps its lines."""

    def __init__(self, *args: Any, example: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.example = example

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Writes the example below the options."""
        if self.example:
            with formatter.section("Example"):
                for line in self.example.splitlines():
                    formatter.write_text(line)


class Commands(click.Group):
    """The group; an unknown name is answered with the nearest one."""

    command_class = Plain

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """click's own, but with a hint."""
        from difflib import get_close_matches

        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            near = get_close_matches(args[0], self.commands, n=1)
            if not near:
                raise
            raise click.UsageError(f"{error.message} Did you mean {near[0]}?", ctx) from None


@click.group(cls=Commands, invoke_without_command=True)
@click.version_option(package_name="pourstats", prog_name="pourstats")
@click.pass_context
def cli(context: click.Context) -> None:
    """What each concrete floor really took, what it says about the next bid and about tomorrow."""
    if context.invoked_subcommand is None:
        click.echo(NEXT, nl=False)


def command(name: str, example: str, minus: bool = False) -> Callable[[Command], Command]:
    """A command with ``--store`` and ``--json``, and an example in its help.

    ``minus`` lets an argument begin with a minus, as a longitude does.
    """
    context = {"ignore_unknown_options": True} if minus else {}

    def wrapped(function: Command) -> Command:
        function = click.option("--json", "as_json", is_flag=True, help="Print for programs.")(
            function
        )
        function = click.option(
            "--store", "store", metavar="FILE", type=click.Path(path_type=Path), default=None,
            help="The store's file; else POURSTATS_STORE, else the user's data folder.",
        )(function)  # fmt: skip
        cli.command(name, example=example, context_settings=context)(function)
        return function

    return wrapped


def opened(path: Path | None) -> Any:
    """The store at that path, or at the usual place."""
    from pourstats.store.database import Store

    return Store(path)


def printed(value: Any) -> None:
    """JSON on standard output."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))


def shown(text: str) -> None:
    """A text for people on standard output. What somebody wrote into a log moves no cursor."""
    from pourstats.reporting.listing import quiet

    click.echo(quiet(text, but="\n"), nl=False)


def exact(text: str) -> None:
    """A table on standard output, letter by letter or not at all. Refusal for letters that it
    can't carry, as on an older Windows."""
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError as error:
        raise Refusal(
            f"{text[error.start]!a} can't be printed here, where text is {error.encoding}; name a"
            " file with --out"
        ) from None
    click.echo(text, nl=False)


def told(line: str) -> None:
    """A message on standard error."""
    from pourstats.reporting.listing import quiet

    click.echo(quiet(line, but="\n"), err=True)


def progress(quiet: bool) -> Callable[[str], None]:
    """Where a long task says what it is at: a terminal, unless for programs."""
    if quiet or not sys.stderr.isatty():
        return lambda line: None
    return lambda line: click.echo(f"\r\x1b[K{line}", nl=False, err=True)


def day(text: str | None) -> date | None:
    """A day on the command line. Refusal if it is none."""
    if text is None:
        return None
    try:
        found = date.fromisoformat(text)
        if not 1970 <= found.year <= 2199:
            raise ValueError
        return found
    except ValueError:
        raise Refusal(f"'{text}' is not a date; write it as {date.today().isoformat()}") from None


def noted(lines: list[str]) -> None:
    """Messages on standard error, a line each."""
    for line in lines:
        told(line)
