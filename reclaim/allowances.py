"""Options of the command line for what a user allows the files of a site."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable


def _put_in_environment(settings: dict[str, str]) -> None:
    """Set variables of the environment until the command ends; local workers inherit them."""
    before = {name: os.environ.get(name) for name in settings}

    def put(values: dict[str, str | None]) -> None:
        for name, value in values.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value

    click.get_current_context().call_on_close(lambda: put(before))
    os.environ.update(settings)


def _read_from(_context: Any, _parameter: Any, folders: tuple[str, ...]) -> None:
    from reclaim.site.reach import READ_FROM

    if folders:
        before = [name for name in os.environ.get(READ_FROM, "").split(os.pathsep) if name]
        own = [os.path.abspath(folder) for folder in folders]  # noqa: PTH100  # a link stays one
        _put_in_environment({READ_FROM: os.pathsep.join([*before, *own])})


def _limits(_context: Any, _parameter: Any, written: tuple[str, ...]) -> None:
    from reclaim.site.ceilings import ceilings

    for text in written:
        name, _, number = text.partition("=")
        found = ceilings().get(name.strip())
        if found is None:
            raise click.BadParameter(f"'{name}' is none of: {', '.join(ceilings())}.")
        try:
            found.stated(number)
        except ValueError as error:
            raise click.BadParameter(f"{name}: {error}") from None
        _put_in_environment({found.variable: number})


def remote(_context: Any, _parameter: Any, allowed: bool) -> None:
    """Let rasters named on the command line come over the network."""
    from reclaim.site.reach import REMOTE

    if allowed:
        _put_in_environment({REMOTE: "1"})


def reading(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add what a user may allow the files of a site."""
    folders = click.option(
        "--read-from",
        metavar="FOLDER",
        multiple=True,
        type=click.Path(exists=True, file_okay=False),
        expose_value=False,
        callback=_read_from,
        help="Let the site file name files in this folder too; may be given many times.",
    )
    limits = click.option(
        "--limit",
        metavar="NAME=NUMBER",
        multiple=True,
        expose_value=False,
        callback=_limits,
        help="Read larger files than by default, such as table_rows=1000000.",
    )
    return folders(limits(command))
