"""The chunked path against the whole in one array, and against the same rules written out in three other ways."""

import sys
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions
from advisor.forecast import Field
from advisor.model import DEFAULT_FLOORS
from advisor.rule_files import load_rules
from advisor.scoring import at_sites, chunk_size, score, score_chunks
from advisor.task_table import build

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))
from bench_parts import baselines, scene  # noqa: E402

SITES, MEMBERS, HOURS, HORIZON = 23, 5, 168, 48.0
#: stated error of float32 against float64, relative to the larger of 1 and the value
FLOAT32 = 2e-4


@pytest.fixture(scope="module")
def rules():
    return list(load_rules())


@pytest.fixture(scope="module")
def table():
    return scene.task_table(SITES)


@pytest.fixture(scope="module", params=[False, True], ids=["whole", "gaps"])
def forecast(request):
    return scene.weather(slice(0, SITES), MEMBERS, HOURS, gaps=request.param)


def whole(forecast, table, rules):
    sites = scene.sites_table(SITES)
    return score(forecast, sites, table, rules, scene.NOW, DEFAULT_FLOORS, HORIZON)


def chunks(forecast, table, rules, **options):
    return list(
        score_chunks(
            lambda part: at_sites(forecast, part), scene.sites_table(SITES), table, rules, scene.NOW, DEFAULT_FLOORS,
            HORIZON, **options,
        )
    )  # fmt: skip


@pytest.mark.parametrize(("chunk", "threads"), [(1, 1), (4, 1), (7, 2), (100, 2)])
def test_chunks_and_threads_change_nothing(forecast, table, rules, chunk, threads):
    """To the bit: values, outcomes, chances and verdicts of every rule at every start of every member."""
    findings, verdicts = whole(forecast, table, rules)
    by_rule = {finding.rule.id: finding for finding in findings}
    done = 0
    for scored in chunks(forecast, table, rules, chunk=chunk, threads=threads, keep_findings=True):
        here = scored.tasks
        assert here.start == done
        done = here.stop
        for name in ("verdict", "too_early"):
            assert np.array_equal(getattr(scored.verdicts, name), getattr(verdicts, name)[here]), name
        for name in ("everything", "safety_and_label"):
            for side in ("lower", "upper"):
                found, wanted = (getattr(getattr(one, name), side) for one in (scored.verdicts, verdicts))
                assert np.array_equal(found, wanted[here]), (name, side)
        shape = (here.stop - here.start, MEMBERS, HOURS)
        # a rule that applies to no task of a chunk is not found there
        wanted = {rule for rule, finding in by_rule.items() if finding.applies[here].any()}
        assert {finding.rule.id for finding in scored.findings} == wanted
        for finding in scored.findings:
            other = by_rule[finding.rule.id]
            for found, wanted in (
                (finding.value, other.value), (finding.outcome.holds, other.outcome.holds),
                (finding.outcome.known, other.outcome.known), (finding.complete, other.complete),
                (finding.estimated, other.estimated),
            ):  # fmt: skip
                wanted = np.broadcast_to(wanted, (SITES, MEMBERS, HOURS))[here]
                assert np.array_equal(np.broadcast_to(found, shape), wanted, equal_nan=found.dtype.kind == "f"), (
                    finding.rule.id
                )
    assert done == SITES


@pytest.mark.parametrize("other", ["whole_array_verdicts", "pandas_verdicts", "engine_verdicts"])
def test_the_same_rules_written_out_another_way(rules, other):
    """Verdicts and joint chances of every start; each other way reduces and compares by itself."""
    if other == "engine_verdicts":
        pytest.importorskip("rule_engine")
    sites, members = (SITES, MEMBERS) if other.startswith("whole") else (2, 3)
    table, places = scene.task_table(sites), scene.sites_table(sites)
    for gaps in (False, True):
        forecast = scene.weather(slice(0, sites), members, 96, gaps=gaps)
        _, verdicts = score(forecast, places, table, rules, scene.NOW, DEFAULT_FLOORS, HORIZON)
        area = AreaConditions(Conditions(forecast, places), table)
        prepared = baselines.prepare(rules, area, DEFAULT_FLOORS)
        lead = (forecast.axis - np.datetime64("2026-09-21T12", "h")) / np.timedelta64(1, "h")
        found = getattr(baselines, other)(prepared, forecast.nominal_members, lead, DEFAULT_FLOORS, HORIZON)
        chance = verdicts.everything
        assert found.equals(baselines.Answer(verdicts.verdict, chance.lower, chance.upper))


def test_the_scene_holds_all_three_verdicts(table, rules):
    """Else the comparisons above would prove little."""
    _, verdicts = whole(scene.weather(slice(0, SITES), MEMBERS, HOURS), table, rules)
    counts = {code: int((verdicts.verdict == code).sum()) for code in (1, 0, -1)}
    assert min(counts.values()) > 5, counts


def test_float32_stays_within_its_stated_error_of_float64(forecast, table, rules):
    findings, _ = whole(forecast, table, rules)
    exact_fields = {
        name: Field(one.values.astype(np.float64), one.reason) for name, one in forecast.fields.items()
    }
    exact, _ = whole(replace(forecast, fields=exact_fields), table, rules)
    for short, long in zip(findings, exact, strict=True):
        assert short.rule is long.rule
        assert np.array_equal(np.isnan(short.value), np.isnan(long.value)), short.rule.id
        finite = np.isfinite(long.value)
        error = np.abs(np.where(finite, short.value, 0) - np.where(finite, long.value, 0))
        # a class of stability is a step: a wind within float32 of the step may fall on its other side
        off = error > FLOAT32 * np.maximum(1.0, np.abs(np.where(finite, long.value, 0)))
        assert off.mean() < (1e-4 if short.rule.id in ("wind-calm", "inversion") else 1e-12), (
            short.rule.id, error.max(),
        )  # fmt: skip


def test_weather_is_asked_for_a_chunk_at_a_time(forecast, table, rules):
    """Never more than one chunk ahead of the threads, so that memory is bounded."""
    asked, handed = [], []

    def weather(part):
        asked.append(part)
        assert len(asked) - len(handed) <= 4
        return at_sites(forecast, part)

    for scored in score_chunks(
        weather, scene.sites_table(SITES), table, rules, scene.NOW, DEFAULT_FLOORS, HORIZON, chunk=2, threads=2
    ):
        handed.append(scored.sites)
    assert asked == handed and len(asked) == 12


def test_sites_without_and_with_several_tasks(forecast, rules):
    made = scene.tasks(SITES)
    wanted = [0, 3, 3, 3, 20]
    table = build([made[site] for site in wanted], (), scene.NOW, site_index=wanted)
    _, verdicts = whole(forecast, table, rules)
    found = np.concatenate([one.verdicts.verdict for one in chunks(forecast, table, rules, chunk=4)])
    assert np.array_equal(found, verdicts.verdict)
    mixed = replace(table, **{one.name: getattr(table, one.name) for one in fields(table)} | {"site": table.site[::-1]})
    with pytest.raises(ValueError, match="order of their sites"):
        chunks(forecast, mixed, rules, chunk=4)


@pytest.mark.parametrize("members", [1, MEMBERS])
def test_several_tasks_of_one_site_are_judged_as_each_alone(rules, members):
    """What differs by task alone, such as the soil, meets weather that all tasks share."""
    made = scene.tasks(4)
    forecast, places = scene.weather(slice(0, 1), members, HOURS), scene.sites_table(1)
    asked = rules, scene.NOW, DEFAULT_FLOORS, HORIZON
    _, together = score(forecast, places, build(made, (), scene.NOW, site_index=[0] * 4), *asked)
    for at, task in enumerate(made):
        _, alone = score(forecast, places, build([task], (), scene.NOW, site_index=[0]), *asked)
        assert np.array_equal(together.verdict[at], alone.verdict[0])
        assert np.array_equal(together.everything.lower[at], alone.everything.lower[0])


def test_the_best_start_is_the_likeliest_coming_go(forecast, table, rules):
    for scored in chunks(forecast, table, rules, chunk=5):
        for task, best in enumerate(scored.best):
            go = np.flatnonzero((scored.verdicts.verdict[task] == 1) & scored.candidates[task])
            assert not scored.candidates[task, :6].any(), "these hours are past"
            if best < 0:
                assert not len(go)
                continue
            assert best in go
            chance = scored.verdicts.everything.lower[task]
            assert chance[best] == chance[go].max() and best == go[chance[go] == chance[go].max()][0]


def test_chunks_shrink_with_members_and_hours():
    assert chunk_size(31, 168) == 128
    assert chunk_size(31, 168) > chunk_size(51, 168) > chunk_size(51, 240) >= 1
    assert chunk_size(1, 168) == 1024 and chunk_size(10_000, 1_000) == 1
