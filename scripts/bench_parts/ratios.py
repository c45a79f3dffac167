"""The advisor beside other ways to judge by the same rules, and beside the floor: ratios of CPU time of one run."""

from __future__ import annotations

import statistics
from collections.abc import Iterator

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions
from advisor.model import DEFAULT_FLOORS
from advisor.rulebook.quantities import QUANTITIES
from advisor.scoring import chunk_size, score
from bench_parts import baselines, scene
from bench_parts.floor import floor_seconds
from bench_parts.measure import HORIZON, RULES, throughput, timed

#: of which the median counts
RUNS = 3
#: (name, function, sites, members in the quick form, members, target)
OTHERS = (
    ("general rule engine (rule-engine)", baselines.engine_verdicts, 1, 1, 31, 1000),
    ("row-wise pandas", baselines.pandas_verdicts, 1, 1, 31, 200),
    ("whole-array numpy", baselines.whole_array_verdicts, 1000, 31, 31, 3),
)


def floor(ours: dict) -> dict[str, float]:
    sites, members, hours = ours["sites"], ours["members"], ours["hours"]
    seconds = statistics.median(
        floor_seconds(sites, members, hours, min(chunk_size(members, hours), sites)) for _ in range(5)
    )
    return {"floor_cpu_ms_per_site": 1e3 * seconds / sites, "times_the_floor": ours["cpu"] / seconds}


def ratios(quick: bool, ours: dict) -> Iterator[dict[str, object]]:
    """CPU time a site of 31 members of each other way over that of the advisor, once the answers are equal.

    The others get the derived series ready-made; the advisor's time includes making them. `ours` is the advisor's row
    of the throughput table on one thread, taken in the same run.
    """
    for name, function, sites, few, many, target in OTHERS:
        members = few if quick else many
        forecast, table, places = (
            scene.weather(slice(0, sites), members, 168),
            scene.task_table(sites),
            scene.sites_table(sites),
        )
        _, verdicts = score(forecast, places, table, RULES, scene.NOW, DEFAULT_FLOORS, HORIZON)
        wanted = baselines.Answer(verdicts.verdict, verdicts.everything.lower, verdicts.everything.upper)
        prepared = baselines.prepare(
            RULES, AreaConditions(Conditions(forecast, places), table), DEFAULT_FLOORS
        )
        now = np.datetime64(scene.NOW.replace(tzinfo=None), "s")
        lead = (forecast.axis.astype("datetime64[s]") - now) / np.timedelta64(3600, "s")
        answers: list[baselines.Answer] = []

        def answer(
            function=function, asked=(prepared, forecast.nominal_members, lead), answers=answers
        ) -> None:
            answers[:] = [function(*asked, DEFAULT_FLOORS, HORIZON)]

        try:
            # the last run that is timed is the one that is compared
            took = timed(answer, RUNS)
        except ImportError as missing:
            yield {"name": name, "missing": str(missing)}
            continue
        if not answers[-1].equals(wanted):
            raise SystemExit(f"bench: {name} gives other verdicts than the advisor: nothing is told")
        theirs = 1e3 * took["cpu"] / sites * 31 / members
        row = {
            "name": name, "sites": sites, "members": members, "their_cpu_ms_per_site": theirs, "target": target,
            "our_cpu_ms_per_site": ours["cpu_ms_per_site"], "ratio": theirs / ours["cpu_ms_per_site"],
        }  # fmt: skip
        if function is baselines.whole_array_verdicts:
            del prepared, answer
            row.update(_with_formulas(forecast, table, places, theirs, ours))
        yield row


def _with_formulas(forecast, table, places, theirs: float, ours: dict) -> dict[str, float]:
    """The whole-array way when it makes the derived series too, by the same formulas in one array of all sites."""

    def derive() -> None:
        area = AreaConditions(Conditions(forecast, places), table)
        for rule in RULES:
            # the numbers, which the advisor itself makes only of what somebody looks at
            _ = QUANTITIES[rule.measure.quantity].series(area).values

    whole = theirs + 1e3 * timed(derive, RUNS)["cpu"] / len(table)
    return {"with_formulas_ms_per_site": whole, "ratio_with_formulas": whole / ours["cpu_ms_per_site"]}


def our_row() -> dict[str, object]:
    """The advisor on one thread, what everything is compared with."""
    return throughput(1000, 31, 168, 1, 3)
