"""`advisor batch`: many sites at once."""

from __future__ import annotations

import contextlib
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from advisor.cli.options import find_home, instant
from advisor.errors import InvalidFile, UsageError, WeatherError


@click.command(
    epilog="Example: advisor batch sites.csv --home my-lawn --weather answers/ --out days.csv   "
    "See also: advisor outlook"
)
@click.argument("sites", type=click.Path(path_type=Path), metavar="SITES.csv")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME",
              help="The household folder with the areas, sprayers, labels and treatments.")  # fmt: skip
@click.option("--weather", metavar="PATH", type=click.Path(path_type=Path),
              help="A folder of stored answers, one stored answer, or arrays in an .npz file. "
              "Without it the household's sources are asked, once a grid cell.")  # fmt: skip
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path),
              help="Where the results go: .csv, .jsonl or .parquet; else they are printed as JSON lines.")  # fmt: skip
@click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
@click.option("--days", type=click.IntRange(1, 16), default=8, show_default=True, help="How many days, today included.")
@click.option("--threads", type=click.IntRange(1, 64), default=2, show_default=True,
              help="Chunks of sites scored at the same time.")  # fmt: skip
@click.option("--chunk", type=click.IntRange(1, 100_000), help="Sites of a chunk; found by the size of the weather.")
@click.option("--engine", type=click.Choice(["local", "dask"]), default="local", show_default=True,
              help="Where chunks are scored: in this process, or by workers of dask.")  # fmt: skip
@click.option("--scheduler", metavar="ADDRESS", help="Of a running dask scheduler; else two workers are started.")
@click.option("--offline", is_flag=True, help="Ask no server: only what is stored.")
def batch(sites, home, weather, out, now, days, threads, chunk, engine, scheduler, offline):
    """Tell for many sites and each coming day: go, no-go or unknown, and the best start.

    \b
    The table has a row a site, with the columns site, latitude and longitude, and if wanted
    elevation, time_zone, soil, hollow, use, local_ban, treatment, area, label, pass, weather.
    A faulty row is told of and left out. A run that was broken off goes on where it stopped
    when it is started again with the same files and the same --now.
    """
    from advisor.batch.journal import FORMATS, Journal, lines_of
    from advisor.batch.run import Choices, run
    from advisor.batch.sites_file import read_sites
    from advisor.household import load
    from advisor.rule_files import load_rules

    if scheduler and engine != "dask":
        raise UsageError("--scheduler needs --engine dask")
    kind = "jsonl" if out is None else out.suffix.lstrip(".")
    if kind not in FORMATS:
        hint = "name a file that ends in .csv, .jsonl or .parquet"
        raise UsageError(f'results are not written as "{out.name}"', hint=hint)
    home = find_home(home)
    at = instant(now, "--now") or datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    household, rules = load(home), load_rules(home / "rules")
    rows, faults = read_sites(sites, household)
    cells = _weather(rows, weather, household, home / "advisor.db", at, offline)
    for problem in (*faults, *cells.faults):
        click.echo(f"advisor: left out: {problem}", err=True)
    if not any(cell >= 0 for cell in cells.of_site):
        raise (InvalidFile if faults and not rows else WeatherError)("no site can be scored", where=str(sites))
    order = {row.name: place for place, row in enumerate(rows)}
    with contextlib.ExitStack() as stack:
        results = out
        if results is None:
            import tempfile

            results = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "results.jsonl"
        journal = Journal(results, _about(sites, home, weather, rules.version, at, days, household))
        if journal.done:
            click.echo(f"advisor: {len(journal.done):,} sites were done before and are kept", err=True)
        pool = stack.enter_context(_cluster(scheduler)) if engine == "dask" else None
        choices = Choices(days, chunk, threads, pool)
        left = sum(cell >= 0 and rows[site].name not in journal.done for site, cell in enumerate(cells.of_site))
        with _progress(left) as tell:
            run(rows, cells, household, list(rules), at, journal, choices, tell)
        if out is None:
            for line in lines_of(journal.rows(order)):
                click.echo(line)
        else:
            journal.finish(kind, order)
    scored, told = sum(cell >= 0 for cell in cells.of_site), len(faults) + len(cells.faults)
    click.echo(
        f"advisor: {scored:,} sites scored, {told:,} left out, {cells.read:,} answers of weather"
        + (f"; {out}" if out is not None else ""),
        err=True,
    )


def _weather(rows, weather, household, database, now, offline):
    from advisor.batch.cells import from_arrays, from_folder, from_sources

    wanted = [(row.site, row.weather) for row in rows]
    if weather is None:
        from advisor.weather import obtain

        return from_sources(wanted, household, now, lambda one: obtain(one, database, now, offline=offline).forecast)
    if not weather.exists():
        hint = "name a folder, a stored answer or an .npz file"
        raise WeatherError("there is no weather", where=str(weather), hint=hint)
    if weather.suffix == ".npz":
        return from_arrays(weather, wanted, now)
    return from_folder(weather, wanted, now, household)


def _about(sites, home, weather, version, now, days, household) -> str:
    """Everything that the answers follow from; files by their bytes, those of the weather by name, size and time."""
    from advisor.batch.run import digest

    stored = [] if weather is None else sorted(weather.glob("*.json")) if weather.is_dir() else [weather]
    seen = json.dumps([(file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in stored])
    return digest(sites.read_bytes(), version, now.isoformat(), str(days), seen, repr(household))


@contextlib.contextmanager
def _progress(sites: int):
    """Tells of sites done, on a terminal only."""
    if not sys.stderr.isatty():
        yield lambda more: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = TextColumn("sites"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True)) as progress:
        bar = progress.add_task("sites", total=sites)
        yield lambda more: progress.advance(bar, more)


@contextlib.contextmanager
def _cluster(scheduler: str | None):
    """The executor of a dask cluster, as one more place where chunks are scored."""
    try:
        from distributed import Client, LocalCluster
    except ImportError as error:
        raise UsageError('--engine dask needs the extra "dask"',
                         hint='pip install "application-window-advisor[dask]", or leave it out') from error  # fmt: skip
    with contextlib.ExitStack() as stack:
        if scheduler is None:
            cluster = stack.enter_context(
                LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1")
            )
            client = stack.enter_context(Client(cluster))
        else:
            client = stack.enter_context(Client(scheduler))
        yield client.get_executor(pure=False)
