"""How a command ends: messages and exit codes for what went wrong, and for being stopped."""

from __future__ import annotations

import json
import os
import signal
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from reclaim.site import Check

EXIT_INPUT = 2
EXIT_SOME_LEFT_OUT = 3
EXIT_INTERRUPTED = 130
EXIT_OF_SIGNAL = 128
"""A run stopped by a signal ends with this plus the signal's number, as shells have it."""


def run(command: click.Command) -> NoReturn:
    """Run the command line and leave with the exit code that fits."""
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        # What `nohup` has told us to ignore stays ignored.
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _stop)
    try:
        code = command.main(prog_name="reclaim", standalone_mode=False)
        sys.stdout.flush()
    except (click.exceptions.Abort, KeyboardInterrupt):
        click.echo("Stopped; nothing half-done was left.", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except BrokenPipeError:
        # Whoever read our words has gone, as `head` does; keep Python from trying again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_OF_SIGNAL + 13)
    sys.exit(code if isinstance(code, int) else 0)


def _stop(number: int, _frame: object) -> NoReturn:
    """Leave through every clean-up on the way; a second signal must not break that off."""
    signal.signal(number, signal.SIG_IGN)
    click.echo("Stopped; nothing half-done was left.", err=True)
    sys.exit(EXIT_OF_SIGNAL + number)


@contextmanager
def input_errors(as_json: bool = False) -> Iterator[None]:
    """Turn errors in the user's input into messages and exit code 2."""
    from reclaim.site.problems import SiteError

    try:
        yield
    except SiteError as error:
        if as_json:
            from dataclasses import asdict

            print_json({"checks": [asdict(found) for found in error.checks]})
        else:
            print_checks(error.checks)
            count = len(error.checks)
            click.echo(f"{count} error{'s' if count > 1 else ''}; nothing was written.", err=True)
        raise click.exceptions.Exit(EXIT_INPUT) from None


def print_json(document: Any) -> None:
    """Print a document for other programs."""
    click.echo(json.dumps(document, indent=2, sort_keys=True, ensure_ascii=False))


def print_checks(checks: Iterable[Check]) -> None:
    """Print what was found about the inputs on standard error."""
    from reclaim.report.wording import plain

    colours = {"error": "red", "warning": "yellow", "note": None}
    for found in checks:
        level: str = found.level
        if not os.environ.get("NO_COLOR"):
            level = click.style(level, fg=colours[found.level], bold=level == "error")
        click.echo(f"{level}: {plain(found.where)}: {plain(found.what)}", err=True)
        if found.what_to_do:
            click.echo(f"    {plain(found.what_to_do)}", err=True)
