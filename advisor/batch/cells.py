"""The weather of many sites: one forecast a cell of the provider's grid, whoever else lies in it.

Cells whose forecasts carry the same variables on the same hours are scored together; others by themselves, since what
a source carries decides how a rule is judged.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from advisor.errors import AdvisorError, Problem, WeatherError
from advisor.forecast import Field, Forecast, Provenance
from advisor.model import Household, Site
from advisor.scoring import at_sites
from advisor.sources import distance_km, read_answer
from advisor.spread import with_assumed_members
from advisor.variables import VARIABLES

#: width of a cell within which sites share one question to a provider [degrees], about 10 km
CELL = 0.1
#: farthest that a cell of an array may lie from a site [km]
FARTHEST = 25.0


@dataclass
class Cells:
    """Forecasts by cell.

    Attributes
    ----------
    of_site : list of int
        Position in `forecasts` of each site's forecast, -1 where it has none.
    forecasts : list of (Forecast, int)
        A forecast, and which of its sites the cell is.
    faults : list of Problem
        Why sites have none.
    read : int
        How many answers were read or asked for.
    """

    of_site: list[int] = field(default_factory=list)
    forecasts: list[tuple[Forecast, int]] = field(default_factory=list)
    faults: list[Problem] = field(default_factory=list)
    read: int = 0
    #: makes members of a single forecast when its turn comes, from a forecast and the place it was first wanted for
    members: Callable[[Forecast, Site], Forecast] = lambda forecast, site: forecast
    #: that place, by cell
    place: dict[int, Site] = field(default_factory=dict)

    def groups(self) -> list[list[int]]:
        """Sites (positions) that can be scored in one array, in their order."""
        found: dict[object, list[int]] = {}
        for site, cell in enumerate(self.of_site):
            if cell >= 0:
                found.setdefault(_likeness(self.forecasts[cell][0]), []).append(site)
        return list(found.values())

    def weather(self, sites: Sequence[int]) -> Forecast:
        """The forecast of some sites of one group, along the site axis."""
        ready: dict[int, Forecast] = {}
        for site in sites:
            cell = self.of_site[site]
            if cell not in ready:
                forecast = self.forecasts[cell][0]
                ready[cell] = self.members(forecast, self.place[cell]) if cell in self.place else forecast
        cells = [(ready[self.of_site[site]], self.forecasts[self.of_site[site]][1]) for site in sites]
        if all(forecast is cells[0][0] for forecast, _ in cells):
            return at_sites(cells[0][0], np.array([at for _, at in cells]))
        first = cells[0][0]
        fields = {}
        for name in first.fields:
            each = [(forecast.fields[name], at) for forecast, at in cells]
            blocked = each[0][0].block_first is not None
            fields[name] = Field(
                _stack([(one.values, at) for one, at in each]), _stack([(one.reason, at) for one, at in each]),
                _stack([(one.block_first, at) for one, at in each]) if blocked else None,
                _stack([(one.block_last, at) for one, at in each]) if blocked else None,
            )  # fmt: skip
        return replace(first, fields=fields)


def _stack(parts: Sequence[tuple[np.ndarray, int]]) -> np.ndarray:
    return np.stack([values[at if values.shape[0] > 1 else 0] for values, at in parts])


def _likeness(forecast: Forecast) -> object:
    shapes = tuple(
        (name, one.values.shape[1], one.values.dtype.str, one.block_first is not None)
        for name, one in sorted(forecast.fields.items())
    )
    spread, first = forecast.provenance.spread, str(forecast.provenance.no_past_before)
    return str(forecast.start), forecast.hours, shapes, forecast.nominal_members.tobytes(), spread, first


def from_folder(
    folder: Path, wanted: Sequence[tuple[Site, str]], now: datetime, household: Household
) -> Cells:
    """Stored answers in a folder, or one file: by the file name that a site states, else the nearest.

    An answer may be as far off as its source's grid allows.

    Each file is read once, whatever the number of its sites; quality control and members are those of a household.
    """
    from advisor.quality import control
    from advisor.weather import of_file

    cells, known = Cells(members=drawn(household, now)), {}

    def read(path: Path) -> int | str:
        if path not in known:
            cells.read += 1
            try:
                body = path.read_bytes()
                forecast = read_answer(body)
                if forecast.provenance.issued_at is None and forecast.provenance.fetched_at is None:
                    forecast = read_answer(body, fetched_at=now)
                cells.forecasts.append((of_file(household, control(forecast, now), now), 0))
                known[path] = len(cells.forecasts) - 1
            except (OSError, AdvisorError) as error:
                known[path] = f"the stored answer {path.name} cannot be used: {error}"
        return known[path]

    alone = folder.is_file()
    nearest = None
    for site, name in wanted:
        found: int | str = "no stored answer is of this place"
        if name:
            # a name, never a path out of the folder
            found = read((folder.parent if alone else folder) / Path(name).name)
        else:
            if nearest is None:
                files = [folder] if alone else sorted(folder.glob("*.json"))
                answers = [answer for answer in map(read, files) if isinstance(answer, int)]
                nearest = _Nearest([_place(cells.forecasts[at][0]) for at in answers])
            found = answers[nearest.to(site)] if answers else found
        if isinstance(found, int):
            problem = _too_far(cells.forecasts[found][0], site)
            found = problem or found
        _give(cells, site, found)
    return cells


class _Nearest:
    """Which of some places (latitude, longitude) lies nearest; one that is not known (NaN) is nearest to nothing."""

    def __init__(self, places: Sequence[tuple[float, float]]):
        self._at = self._directions(*np.array(places, dtype=float).reshape(-1, 2).T)

    def to(self, site: Site) -> int:
        """Position of the nearest place, by the chord; the first of equals."""
        away = np.square(self._at - self._directions(site.latitude, site.longitude)).sum(axis=-1)
        return int(np.where(np.isnan(away), np.inf, away).argmin())

    @staticmethod
    def _directions(latitude, longitude) -> np.ndarray:
        phi, theta = np.radians(latitude), np.radians(longitude)
        return np.stack([np.cos(phi) * np.cos(theta), np.cos(phi) * np.sin(theta), np.sin(phi)], axis=-1)


def _place(forecast: Forecast) -> tuple[float, float]:
    where = forecast.provenance
    known = where.latitude is not None and where.longitude is not None
    return (where.latitude, where.longitude) if known else (np.nan, np.nan)


def _too_far(forecast: Forecast, site: Site) -> str:
    from advisor.sources import check_place

    try:
        check_place(forecast, site.latitude, site.longitude)
    except WeatherError as error:
        return error.what
    return ""


def _give(cells: Cells, site: Site, found: int | str) -> None:
    if isinstance(found, str):
        cells.faults.append(Problem(found, f'site "{site.name}"'))
    cells.of_site.append(found if isinstance(found, int) else -1)
    if isinstance(found, int):
        cells.place.setdefault(found, site)


def drawn(household: Household, now: datetime) -> Callable[[Forecast, Site], Forecast]:
    """Members of a forecast without any, from the stated errors, as the outlook of a household there has them."""
    count = household.settings.assumed_members

    def members(forecast: Forecast, site: Site) -> Forecast:
        return with_assumed_members(forecast, now, count, site.key) if count else forecast

    return members


def from_arrays(path: Path, wanted: Sequence[tuple[Site, str]], now: datetime) -> Cells:
    """An .npz file: `latitude`, `longitude` (cell,), `start` and `issued_at` (ISO text, UTC), and the variables.

    These by name (cell or 1, member or 1, hour), canonical units; `nominal_members` (hour,) where members were lost.

    Quality control is applied to all cells at once; members are taken as they are.
    """
    from advisor.clock import parse_instant, to_numpy
    from advisor.quality import control

    held = _read_arrays(path)
    missing = [name for name in ("latitude", "longitude", "start", "issued_at") if name not in held]
    series = {name: values for name, values in held.items() if name in VARIABLES}
    strange = sorted({values.shape[-1:] for values in series.values()} | set()) if series else []
    if missing or len(strange) != 1 or any(values.ndim != 3 for values in series.values()):
        what = f"lack {', '.join(missing)}" if missing else "hold no variables of one length, (cell, member, hour)"
        raise WeatherError(f"the arrays {what}", where=str(path), hint="known: " + ", ".join(VARIABLES))
    _refuse_odd(path, held, series, strange[0][0])
    hours = strange[0][0]
    start = to_numpy(parse_instant(str(held["start"]), "start"), "h")
    issued = parse_instant(str(held["issued_at"]), "issued_at")
    members = max(values.shape[1] for values in series.values())
    fields = {}
    for name, values in series.items():
        values = values if values.dtype.kind == "f" else values.astype(np.float64)
        lost = np.isnan(values).all(axis=1, keepdims=True)
        fields[name] = Field(values, np.where(lost, 2, 0).astype(np.uint8))
    nominal = np.broadcast_to(held.get("nominal_members", members), (hours,)).astype(int)
    provenance = Provenance("arrays", fetched_at=issued, issued_at=issued, spread="ensemble" if members > 1 else "none")
    forecast = control(Forecast(start, hours, fields, provenance, nominal), now)
    cells = Cells([], [(forecast, at) for at in range(len(held["latitude"]))], read=1)
    places = np.stack([held["latitude"], held["longitude"]], axis=-1).astype(float)
    places = np.where(np.isfinite(places), places, np.nan).tolist()
    nearest = _Nearest(places)
    for site, _ in wanted:
        at = nearest.to(site)
        away = distance_km(site.latitude, site.longitude, *places[at])
        found = at if away <= FARTHEST else f"the nearest cell of the arrays is {away:,.0f} km away"
        _give(cells, site, found)
    return cells


def _read_arrays(path: Path) -> dict[str, np.ndarray]:
    try:
        with np.load(path, allow_pickle=False) as arrays:
            held = {name: np.asarray(arrays[name]) for name in arrays.files}
    except OSError as error:
        raise WeatherError(f"the arrays cannot be read: {error.strerror or error}", where=str(path)) from error
    except Exception as error:  # what a damaged zip makes its readers raise has no common kind
        what = "the arrays cannot be read: the file is damaged, or is no .npz file of numbers"
        raise WeatherError(what, where=str(path), hint="write it with numpy.savez") from error
    return held


def _refuse_odd(path: Path, held: dict[str, np.ndarray], series: dict[str, np.ndarray], hours: int) -> None:
    """Numbers throughout, of all cells or one, of all members or one; members of two counts would be mixed up."""
    cells, members = held["latitude"].size, max(values.shape[1] for values in series.values())
    odd = [name for name, values in series.items()
           if values.shape[0] not in (1, cells) or values.shape[1] not in (1, members)]  # fmt: skip
    odd += [name for name in ("latitude", "longitude") if held[name].shape != (cells,)]
    if held.get("nominal_members", np.array(members)).shape not in ((), (1,), (hours,)):
        odd.append("nominal_members")
    odd += [name for name in (*series, "latitude", "longitude", "nominal_members")
            if name in held and held[name].dtype.kind not in "fiu"]  # fmt: skip
    if odd or 0 in (cells, members, hours):
        what = f"the arrays are not numbers of {cells} cells, {members} members and {hours} hours"
        raise WeatherError(
            f"{what}: {', '.join(sorted(set(odd)))}" if odd else what, where=str(path),
            hint="give places as (cell,), nominal_members as (hour,), variables as (cell or 1, member or 1, hour)",
        )  # fmt: skip


def from_sources(
    wanted: Sequence[tuple[Site, str]], household: Household, now: datetime, ask: Callable[[Household], Forecast]
) -> Cells:
    """Asked of the household's sources, one question for all sites of a cell, at the place of the first of them."""
    cells, known = Cells(members=drawn(household, now)), {}
    for site, _ in wanted:
        cell = (int(np.floor(site.latitude / CELL)), int(np.floor(site.longitude / CELL)))
        if cell not in known:
            cells.read += 1
            try:
                cells.forecasts.append((ask(replace(household, site=site)), 0))
                known[cell] = len(cells.forecasts) - 1
            except WeatherError as error:
                known[cell] = str(error)
        _give(cells, site, known[cell])
    return cells
