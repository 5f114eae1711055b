"""The commands: each parses its call, asks one layer below, and prints."""

from __future__ import annotations

import io
import os
import sys

import click

# The models solve many small systems: a second thread only gets in the way of the first.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from pourstats.cli import ahead, exchange, record, review, serve
from pourstats.cli.base import cli, told
from pourstats.faults import Refusal

__all__ = ["ahead", "cli", "exchange", "main", "record", "review", "serve"]


STOPPED = (
    "stopped; the file under way is not in the store, those before it are. The same command again"
    " goes on; `pourstats undo` takes back what is in"
)


def main() -> None:
    """Run the command line; nobody sees a traceback."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        # What a terminal has no letter for is shown by its number, as on standard error.
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        status = cli.main(standalone_mode=False)
        if sys.stdout is not None:  # closed by who called
            sys.stdout.flush()
    except Refusal as error:
        told(str(error))
        status = error.status
    except click.ClickException as error:
        error.show()
        status = 2
    except (click.Abort, KeyboardInterrupt):
        told(_stopped())
        status = 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    except Exception as error:
        stopped = "interrupt" in str(error).lower()
        told(_stopped() if stopped else _unforeseen(error))
        status = 130 if stopped else 2
    sys.exit(status if isinstance(status, int) else 0)


def _stopped() -> str:
    loading = sys.argv[1:2] in (["load"], ["demo"])
    return STOPPED if loading else "stopped; the store keeps what it had"


def _unforeseen(error: Exception) -> str:
    if isinstance(error, UnicodeEncodeError) or "cannot encode str as UTF-8" in str(error):
        return (
            "a name or a value of this call isn't written in UTF-8: rename that file or folder, or"
            " type the value anew"
        )
    if isinstance(error, MemoryError):
        return "out of memory; load fewer files at once"
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename or 'a file'}: {error.strerror}"
    if os.environ.get("POURSTATS_TRACE"):
        import traceback

        traceback.print_exc()
    kept = f"{type(error).__name__}: {error}".splitlines()[0][:300]
    return (
        f"something went wrong that pourstats did not foresee ({kept}). Your store keeps what it"
        " had. POURSTATS_TRACE=1 shows where it happened, for a report"
    )
