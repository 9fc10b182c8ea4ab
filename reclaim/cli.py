"""The command line: parse, call, print. No calculation, and nothing heavy before it is needed."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import reclaim
from reclaim.allowances import reading, remote
from reclaim.ending import (
    EXIT_SOME_LEFT_OUT,
    input_errors,
    print_checks,
    print_json,
    run,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from click.shell_completion import CompletionItem

# The stages of an estimate and the share of its time that each takes on the demo site [-]; the
# time left is worked out from them.
_STAGES = {
    "reading the site": 0.12,
    "measuring the ground": 0.17,
    "summarising the cores": 0.02,
    "best estimate": 0.03,
    "drawing the range": 0.07,
    "what drives it, and what to find out next": 0.05,
    "cautions": 0.02,
    "figures": 0.35,
    "report": 0.10,
    "tables": 0.02,
    "maps": 0.05,
}

_MEASURES = ["npv", "npv_per_t", "beside_leaving", "best_course", "airspace_m3"]

_EXAMPLES = """
\b
Examples:
  reclaim demo demo                               write the demo site
  reclaim estimate demo/site.toml --out results   estimate and report
  reclaim new mysite                              begin a site of your own
  reclaim explain waste.moisture                  what a key means
  reclaim compare results before                  what changed, and why
  reclaim portfolio sites.gpkg --survey dtm.vrt --out ranked    rank many sites

\b
Exit codes: 0 done, 1 our fault, 2 your input, 3 done but for some sites, 130 stopped
(143 by the system).
"""

_SITE = click.argument("site", type=click.Path(path_type=Path))
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON for other programs.")
_PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper that the report prints on.",
)
_PDF = click.option("--pdf", is_flag=True, help="Write report.pdf too; needs a browser here.")
_EXCEL = click.option(
    "--excel", is_flag=True, help="Write tables.xlsx too; needs the extra 'reclaim[excel]'."
)


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

    with input_errors():
        names = write_demo_site(folder)
    click.echo(f"Wrote {len(names)} files to {folder}: {', '.join(names)}.")
    click.echo(f"Next: reclaim estimate {folder / 'site.toml'} --out results")


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def new(folder: Path) -> None:
    """Write a commented site file and empty core tables to FOLDER, ready to fill.

    \b
    Example:
      reclaim new mysite
    """  # noqa: D301
    from reclaim.demo import write_blank_site

    with input_errors():
        names = write_blank_site(folder)
    click.echo(f"Wrote {', '.join(names)} to {folder}.")
    click.echo("Add the footprint, the survey and the base, and fill the tables.")
    click.echo(f"Next: reclaim check {folder / 'site.toml'}")


@cli.command()
@_SITE
@reading
@_JSON
def check(site: Path, as_json: bool) -> None:
    """Read everything that SITE names and report what is wrong or suspect.

    \b
    Example:
      reclaim check demo/site.toml
    """  # noqa: D301
    with input_errors(as_json):
        from reclaim.estimate import check_site
        from reclaim.report import check_text

        found, excavation, checks = check_site(site)
    if as_json:
        from dataclasses import asdict

        print_json(
            {
                "site": found.name,
                "checks": [asdict(item) for item in checks],
                "inputs": [asdict(file) for file in found.inputs],
                "area_m2": float(excavation.area_m2.sum()),
                "waste_m3": float(excavation.waste_m3.sum()),
                "cover_m3": float(excavation.cover_m3.sum()),
            }
        )
        return
    print_checks(checks)
    click.echo(check_text(found, excavation, checks))


@cli.command()
@_SITE
@reading
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for a short report with tables and a figure.",
)
@_PAPER
@_PDF
@_EXCEL
@_JSON
def cores(site: Path, out: Path | None, paper: str, pdf: bool, excel: bool, as_json: bool) -> None:
    """Print the geologist's summary of SITE: what the cores are made of, with ranges.

    Needs only [site] and [cores] in the site file.

    \b
    Example:
      reclaim cores demo/site.toml
      reclaim cores demo/site.toml --out cores
    """  # noqa: D301
    if out is None and (pdf or excel):
        raise click.UsageError("--pdf and --excel need --out.")
    with input_errors(as_json):
        from reclaim.estimate import summarise_site_cores
        from reclaim.report import cores_text
        from reclaim.report.corereport import core_document
        from reclaim.report.writing import Outputs, write_core_results

        core_site, summary = summarise_site_cores(site)
        if out is not None:
            outputs = Outputs("geologist", paper, pdf, excel)
            write_core_results(core_site, summary, out, outputs=outputs)
    if as_json:
        print_json(core_document(core_site, summary))
        return
    print_checks(core_site.checks)
    click.echo(cores_text(core_site.name, core_site.cores, summary))
    if out is not None:
        click.echo(f"\nReport: {out / 'report.html'}")


@cli.command()
@_SITE
@reading
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the results; an earlier result there is replaced once the new one is whole.",
)
@click.option(
    "--layout",
    type=click.Choice(["consultant", "municipality", "geologist"]),
    default="consultant",
    show_default=True,
    help="Who reads the report: everything, two pages, or the cores only.",
)
@_PAPER
@_PDF
@_EXCEL
@_JSON
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def estimate(
    site: Path,
    out: Path,
    layout: str,
    paper: str,
    pdf: bool,
    excel: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Run the whole estimate of SITE and write report, tables, maps and figures.

    \b
    Example:
      reclaim estimate demo/site.toml --out results
      reclaim estimate demo/site.toml --out council --layout municipality --pdf
    """  # noqa: D301
    with input_errors(as_json), _progress(quiet or as_json) as step:
        from reclaim.report.place import claimed
        from reclaim.report.writing import Outputs, refuse_target

        outputs = Outputs(layout, paper, pdf, excel)
        outputs.refuse_missing()
        refuse_target(out.resolve(), str(out))
        with claimed(out.resolve(), str(out)):
            step("reading the site")
            found = reclaim.read_site(site)
            result = reclaim.estimate(found, progress=step)
            reclaim.write_results(result, out, outputs=outputs, progress=step)
    if as_json:
        click.echo((out / "estimate.json").read_text(encoding="utf-8"), nl=False)
        return
    if quiet:
        return
    from reclaim.report import summary_text

    print_checks(found_check for found_check in result.checks if found_check.level != "note")
    click.echo(summary_text(result))
    click.echo(f"\nReport: {out / 'report.html'}")


def _complete_key(_context: Any, _parameter: Any, begun: str) -> list[CompletionItem]:
    from click.shell_completion import CompletionItem

    from reclaim.report.explanation import explanations

    return [
        CompletionItem(key, help=item.label)
        for key, item in explanations().items()
        if key.startswith(begun)
    ]


@cli.command()
@click.argument("key", required=False, shell_complete=_complete_key)
@_JSON
def explain(key: str | None, as_json: bool) -> None:
    """Say what a KEY of the site file means: default, range, unit, source, status.

    A section's name lists its keys; without a key all are listed.

    \b
    Example:
      reclaim explain waste.moisture
      reclaim explain money
    """  # noqa: D301
    with input_errors(as_json):
        from reclaim.report.explanation import (
            as_documents,
            explanation_text,
            explanations,
        )
        from reclaim.report.explanation import explain as explained

        items = list(explanations().values()) if key is None else explained(key)
    if as_json:
        print_json(as_documents(items))
    else:
        click.echo(explanation_text(items))


@cli.command()
@click.argument("first", type=click.Path(path_type=Path))
@click.argument("second", type=click.Path(path_type=Path))
@_JSON
def compare(first: Path, second: Path, as_json: bool) -> None:
    """Show what changed between the results FIRST and SECOND, and why.

    Each is a results folder or its estimate.json.

    \b
    Example:
      reclaim compare results-before results
    """  # noqa: D301
    with input_errors(as_json):
        from reclaim.report.comparison import compare as compared
        from reclaim.report.comparison import comparison_text, read_document

        documents = read_document(first), read_document(second)
    if as_json:
        print_json(compared(*documents))
    else:
        click.echo(comparison_text(*documents))


@cli.command()
@click.argument("sites", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the results; a run goes on from what is there.",
)
@click.option("--survey", metavar="RASTER", help="Terrain shared by the rows of a layer.")
@click.option("--base", metavar="RASTER", help="Base shared by the rows of a layer.")
@click.option(
    "--shared",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Site file with the assumptions of all rows; may map columns under [columns].",
)
@click.option(
    "--map",
    "mapped",
    metavar="KEY=COLUMN",
    multiple=True,
    help="Take a key of the site file from a column of the layer; may be given many times.",
)
@click.option("--id", "id_column", metavar="COLUMN", help="Column that tells the rows apart.")
@click.option(
    "--rank-by",
    type=click.Choice(_MEASURES),
    default="npv",
    show_default=True,
    help="What is to be high.",
)
@click.option("--best", type=click.IntRange(1), help="Sites that count as the best.  [default: 10]")
@click.option("--reports", metavar="N", default="0", help="Full reports: of the N best, or all.")
@click.option("--draws", type=click.IntRange(16, 2048), help="Draws of each site.  [default: 256]")
@click.option("--seed", type=click.IntRange(0, 4294967295), help="Seed of the draws.  [default: 1]")
@click.option("--workers", type=click.IntRange(1, 1024), help="Processes.  [default: one per core]")
@click.option("--scheduler", metavar="ADDRESS", help="Running Dask scheduler, tcp://host:8786.")
@click.option(
    "--remote",
    is_flag=True,
    expose_value=False,
    callback=remote,
    help="Let --survey and --base be addresses, or mosaics of addresses.",
)
@reading
@_EXCEL
@_JSON
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def portfolio(
    sites: tuple[Path, ...],
    out: Path,
    survey: str | None,
    base: str | None,
    shared: Path | None,
    mapped: tuple[str, ...],
    id_column: str | None,
    rank_by: str,
    best: int | None,
    reports: str,
    draws: int | None,
    seed: int | None,
    workers: int | None,
    scheduler: str | None,
    excel: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Screen and rank many SITES: site files, folders of them, or a layer with a row per site.

    What a site does not state is taken from defaults of its region, with wider spread. What was
    done before and has not changed is kept. Needs the extra 'reclaim[portfolio]'.

    \b
    Example:
      reclaim portfolio county/*/site.toml --out ranked
      reclaim portfolio sites.gpkg --survey dtm.vrt --shared county.toml --out ranked
    """  # noqa: D301
    if reports != "all" and not reports.isdecimal():
        raise click.UsageError("--reports takes a number or 'all'.")
    options = {"--base": base, "--shared": shared, "--map": mapped, "--id": id_column}
    with input_errors(as_json), _bar(quiet or as_json) as step:
        from reclaim.portfolio import (
            Wanted,
            portfolio_of_files,
            portfolio_of_layer,
            screen_portfolio,
        )

        wanted = Wanted(rank_by, best, reports, draws, seed, workers, scheduler, excel)
        wanted.refuse_missing()
        if survey is None:
            given = [name for name, value in options.items() if value]
            if given:
                raise click.UsageError(f"{given[0]} belongs to a layer, which needs --survey.")
            jobs, findings = portfolio_of_files(sites)
        else:
            if len(sites) != 1:
                raise click.UsageError("With --survey, give one layer with a row per site.")
            keys = _pairs(mapped)
            jobs, findings = portfolio_of_layer(sites[0], survey, base, shared, keys, id_column)
        ranked, document = screen_portfolio(jobs, findings, out, wanted, progress=step)
    if as_json:
        print_json(document)
    elif not quiet:
        from reclaim.portfolio import portfolio_text

        click.echo(portfolio_text(ranked))
        click.echo(f"\nOverview: {out / 'overview.html'}")
    if ranked.failed:
        count = len(ranked.failed)
        click.echo(
            f"{count} site{'s' if count > 1 else ''} left out; see {out / 'problems.csv'}.",
            err=True,
        )
        raise click.exceptions.Exit(EXIT_SOME_LEFT_OUT)


def _pairs(written: tuple[str, ...]) -> dict[str, str]:
    pairs = {}
    for text in written:
        key, sign, column = text.partition("=")
        if not (key and sign and column):
            raise click.UsageError(f"--map takes KEY=COLUMN, got '{text}'.")
        pairs[key.strip()] = column.strip()
    return pairs


def main() -> None:
    """Run the command line and leave with the exit code that fits."""
    run(cli)


@contextmanager
def _bar(quiet: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Show on a terminal how many of how many are done, with the time left."""
    if quiet or not sys.stderr.isatty():
        yield lambda _what, _done, _of: None
        return
    bars: dict[str, Any] = {}

    def step(what: str, done: int, of: int) -> None:
        if what not in bars:
            for bar in bars.values():
                bar.render_finish()
            bars[what] = click.progressbar(length=of, label=what, file=sys.stderr, show_pos=True)
        bars[what].update(done - bars[what].pos)

    try:
        yield step
    finally:
        for bar in bars.values():
            bar.render_finish()


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str], None]]:
    """Show a bar of stages with the time left on a terminal, and nothing elsewhere."""
    if quiet or not sys.stderr.isatty():
        yield lambda _stage: None
        return
    done, before = {}, 0.0
    for stage, share in _STAGES.items():
        done[stage] = round(1000 * before)
        before += share
    with click.progressbar(
        length=1000,
        file=sys.stderr,
        show_percent=False,
        item_show_func=lambda stage: stage or "",
    ) as bar:

        def step(stage: str) -> None:
            if stage in done:
                bar.update(done[stage] - bar.pos, stage)
            elif stage.startswith("drawing the range: "):
                bar.update(0, stage)

        yield step
        bar.update(1000 - bar.pos, None)
