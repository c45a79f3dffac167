"""`advisor almanac`: how often windows occur, from years of past weather."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import click

from advisor.cli.options import common_options, load_household, width
from advisor.errors import UsageError, WeatherError


@click.command(
    epilog="Example: advisor almanac --history years.csv --sums before --svg almanac.svg   See also: advisor outlook"
)
@common_options
@click.option("--history", "files", multiple=True, metavar="FILE", type=click.Path(path_type=Path),
              help="A CSV file of hourly weather with units in its heading, or a stored answer of an archive; may be "
                   "given several times. Without it the kept years are used.")  # fmt: skip
@click.option("--zone", default="UTC", show_default=True, metavar="ZONE",
              help="Zone of times in the file that name none.")  # fmt: skip
@click.option("--sums", type=click.Choice(["before", "after"]),
              help="Whether a row's rain is of the hour before or after its time.")  # fmt: skip
@click.option("--fetch", type=click.IntRange(1, 60), metavar="YEARS",
              help="Ask the archive for so many years first, and keep them.")  # fmt: skip
@click.option("--treatment", metavar="ID", help="Only this treatment.")
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--svg", "picture", metavar="FILE", type=click.Path(path_type=Path),
              help="Write a picture of one treatment and area; - writes it to standard output.")  # fmt: skip
@click.option("--keep/--no-keep", default=True, show_default=True,
              help="Keep the frequencies, for the days after a forecast.")  # fmt: skip
def almanac(common, files, zone, sums, fetch, treatment, area, picture, keep):
    """Tell how often a day has a window, by week and hour, what closes days, and how long one waits."""
    from advisor import past_weather
    from advisor.almanac import count_days, make_almanac, missing_core, with_station_gusts
    from advisor.quality import control
    from advisor.rule_files import load_rules
    from advisor.variables import VARIABLES

    household = load_household(common)
    tasks = _tasks(household, treatment, area)
    if picture is not None and len(tasks) > 1:
        raise UsageError("a picture shows one treatment on one area", hint=_choose(tasks))
    if fetch is not None:
        _fetch(household, common, fetch)
    parts = past_weather.read_files(files, household, zone=zone, sums=sums) if files else (
        past_weather.kept_years(household, common.database, common.now))  # fmt: skip
    history = with_station_gusts(control(past_weather.joined(parts), common.now, math.inf))
    missing = missing_core(history)
    if missing:
        told = ", ".join(VARIABLES[name].says for name in missing)
        raise WeatherError(f"the history does not hold {told}, so no day can be judged",
                           where=", ".join(str(path) for path in files))  # fmt: skip
    rules = list(load_rules(common.home / "rules"))
    with _bar("judging seasons") as progress:
        books = count_days(household, tasks, history, rules, progress)
    made = [make_almanac(book) for book in books]
    source = _source(files, parts)
    notes = list(dict.fromkeys(flag.says for flag in history.flags))[:8]
    by_task = {book.task.id: one for book, one in zip(books, made, strict=True)}
    if keep:
        _keep(common, by_task, source)
    if picture is not None:
        _draw(picture, made[0], household.name, source)
        if picture == Path("-"):
            return
    _print(common, household, made, source, notes)


def _print(common, household, made, source, notes):
    from advisor.messages.almanac import almanac_object, almanac_text

    if common.as_json:
        told = almanac_object(household, made, source, notes, common.now)
        click.echo(json.dumps(told, ensure_ascii=False, allow_nan=False))
    else:
        click.echo(almanac_text(household, made, source, notes, width()))


def _tasks(household, treatment: str | None, area: str | None) -> list[tuple[str, str]]:
    from advisor.errors import did_you_mean

    if treatment is not None and treatment not in household.treatments:
        raise UsageError(f'there is no treatment "{treatment}"', hint=did_you_mean(treatment, household.treatments))
    if area is not None and area not in household.areas:
        raise UsageError(f'there is no area "{area}"', hint=did_you_mean(area, household.areas))
    found = [
        (name, one)
        for name, each in household.treatments.items()
        for one in each.areas
        if treatment in (None, name) and area in (None, one)
    ]
    if not found:
        raise UsageError("no treatment of the household is for that area", hint="see treatments/ in its folder")
    return found


def _choose(tasks) -> str:
    name, one = tasks[0]
    return f"add --treatment {name} --area {one}"


def _fetch(household, common, years: int):
    from advisor.past_weather import fetch_years
    from advisor.store import Store

    if common.offline:
        raise UsageError("--fetch asks a server, and --offline forbids that", hint="leave one of the two out")
    common.database.parent.mkdir(parents=True, exist_ok=True)
    with Store.open(common.database) as store, _bar("asking for years") as progress:
        fetch_years(household, store, years, common.now, progress)


class _bar:
    """A progress bar on standard error, on a terminal only."""

    def __init__(self, says: str):
        self.says, self.shown = says, None

    def __enter__(self):
        return self._step if sys.stderr.isatty() else None

    def _step(self, done: int, total: int) -> None:
        if self.shown is None:
            self.shown = click.progressbar(length=total, label=self.says, file=sys.stderr)
            self.shown.__enter__()
        self.shown.update(done - self.shown.pos)

    def __exit__(self, *error) -> None:
        if self.shown is not None:
            self.shown.__exit__(*error)


def _source(files, parts) -> str:
    named = ", ".join(path.name for path in files)
    credits = dict.fromkeys(part.provenance.attribution for part in parts if part.provenance.attribution)
    hours = sum(part.hours for part in parts)
    told = named or "kept years of the archive"
    return f"{told}, {hours:,} hours" + (f"; {', '.join(credits)}" if credits else "")


def _keep(common, by_task, source):
    from advisor.almanac import kept_object
    from advisor.errors import InvalidFile
    from advisor.past_weather import load_kept, write_kept

    data = kept_object(by_task, source, common.now)
    try:
        before = load_kept(common.home)
    except InvalidFile:
        before = None
    if before is not None:
        # what is kept of other treatments stays
        data["near_day"] = {**{name: list(row) for name, row in before.near_day.items()}, **data["near_day"]}
    try:
        path = write_kept(common.home, data)
    except OSError as error:
        click.echo(f"advisor: the frequencies were not kept: {error.strerror}", err=True)
        return
    click.echo(f"kept for the days after a forecast: {path}", err=True)


def _draw(path: Path, one, name: str, source: str):
    from advisor.messages.almanac_picture import almanac_picture

    text = almanac_picture(one, name, source)
    if path == Path("-"):
        click.echo(text)
        return
    try:
        path.write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise UsageError(f"the picture cannot be written: {error.strerror}", where=str(path)) from error
    click.echo(f"wrote {path}", err=True)
