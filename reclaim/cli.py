"""The command line: parse, call, print. No calculation, and nothing heavy before it is needed."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

import reclaim

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from reclaim.site import Check

EXIT_INPUT = 2
EXIT_STOPPED = 130

_EXAMPLES = """
\b
Examples:
  reclaim demo demo                               write the demo site
  reclaim check demo/site.toml                    look for problems in the inputs
  reclaim cores demo/site.toml                    what the cores say
  reclaim estimate demo/site.toml --out results   estimate and report

\b
Exit codes: 0 done, 1 our fault, 2 your input, 130 stopped.
"""


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=_EXAMPLES,
)
@click.version_option(reclaim.__version__, prog_name="reclaim")
def cli() -> None:
    """Estimate whether an old dump is worth digging up.

    How much is in the ground, what it is made of, what a pretreatment line would make of it, what
    that is worth, how sure all this is, and what can hurt people.
    """


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def demo(folder: Path) -> None:
    """Write the files of the demo site, an invented old dump, to FOLDER.

    \b
    Example:
      reclaim demo demo
    """  # noqa: D301 - click reads the \b
    from reclaim.demo import write_demo_site

    with _input_errors():
        names = write_demo_site(folder)
    click.echo(f"Wrote {len(names)} files to {folder}: {', '.join(names)}.")
    click.echo(f"Next: reclaim estimate {folder / 'site.toml'} --out results")


@cli.command()
@click.argument("site", type=click.Path(path_type=Path))
def check(site: Path) -> None:
    """Read everything that SITE names and report what is wrong or suspect.

    \b
    Example:
      reclaim check demo/site.toml
    """  # noqa: D301
    from reclaim.report import check_text

    with _input_errors():
        from reclaim.estimate import check_site

        found, excavation, checks = check_site(site)
    _print_checks(checks)
    click.echo(check_text(found, excavation, checks))


@cli.command()
@click.argument("site", type=click.Path(path_type=Path))
def cores(site: Path) -> None:
    """Print the geologist's summary of SITE: what the cores are made of, with ranges.

    Needs only [site] and [cores] in the site file.

    \b
    Example:
      reclaim cores demo/site.toml
    """  # noqa: D301
    with _input_errors():
        from reclaim.estimate import summarise_site_cores
        from reclaim.report import cores_text

        core_site, summary = summarise_site_cores(site)
    _print_checks(core_site.checks)
    click.echo(cores_text(core_site.name, core_site.cores, summary))


@cli.command()
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the results; an earlier result there is replaced once the new one is whole.",
)
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def estimate(site: Path, out: Path, quiet: bool) -> None:
    """Run the whole estimate of SITE and write report, tables, maps and figures.

    \b
    Example:
      reclaim estimate demo/site.toml --out results
    """  # noqa: D301
    with _input_errors(), _progress(quiet) as step:
        from reclaim.report import refuse_target

        refuse_target(out.resolve(), str(out))
        step("reading the site")
        found = reclaim.read_site(site)
        result = reclaim.estimate(found, progress=step)
        step("writing the report")
        reclaim.write_results(result, out)
    if quiet:
        return
    from reclaim.report import summary_text

    _print_checks(check for check in result.checks if check.level != "note")
    click.echo(summary_text(result))
    click.echo(f"\nReport: {out / 'report.html'}")


def main() -> None:
    """Run the command line and leave with the exit code that fits."""
    try:
        code = cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(EXIT_STOPPED)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _input_errors() -> Iterator[None]:
    """Turn errors in the user's input into messages and exit code 2."""
    from reclaim.site.problems import SiteError

    try:
        yield
    except SiteError as error:
        _print_checks(error.checks)
        count = len(error.checks)
        click.echo(f"{count} error{'s' if count > 1 else ''}; nothing was written.", err=True)
        raise click.exceptions.Exit(EXIT_INPUT) from None


def _print_checks(checks: Iterable[Check]) -> None:
    colours = {"error": "red", "warning": "yellow", "note": None}
    for found in checks:
        level = click.style(found.level, fg=colours[found.level], bold=found.level == "error")
        click.echo(f"{level}: {found.where}: {found.what}", err=True)
        if found.what_to_do:
            click.echo(f"    {found.what_to_do}", err=True)


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show a bar of stages on a terminal, and nothing elsewhere."""
    stages = (
        "reading the site",
        "measuring the ground",
        "summarising the cores",
        "best estimate",
        "drawing the range",
        "cautions",
        "writing the report",
    )
    if quiet or not sys.stderr.isatty():
        yield lambda _stage: None
        return
    with click.progressbar(
        length=len(stages),
        file=sys.stderr,
        item_show_func=lambda stage: stage or "",
    ) as bar:

        def step(stage: str) -> None:
            bar.update(stages.index(stage) - bar.pos, stage)

        yield step
        bar.update(len(stages) - bar.pos, None)
