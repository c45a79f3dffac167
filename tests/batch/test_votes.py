"""Answers in bits against the same answers in boolean arrays and numbers, hour by hour and member by member."""

import numpy as np
import pytest

from advisor.atmosphere.leaves import leaf_wet, wet_by_air, wet_by_rain
from advisor.atmosphere.stability import turner_class, turner_class_bounds
from advisor.atmosphere.stable_air import stable_air
from advisor.logic import Kleene, all_of, any_of, inclusive_edge, within
from advisor.rulebook.judging import judge_at_start, judge_nights, judge_offsets
from advisor.rulebook.spans import judge, reduce_at_start, reduce_nights, reduce_offsets
from advisor.series import Constant, Daily, Guarded, Series, Total, YesNo
from advisor.votes import Votes, any_member

TASKS, HOURS = 3, 40
MEMBERS = pytest.mark.parametrize("members", [1, 2, 7, 8, 9, 31, 51, 64, 300])


def random(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def answers(draw: np.random.Generator, members: int, tasks: int = TASKS) -> Kleene:
    known = draw.random((tasks, members, HOURS)) < 0.7
    return Kleene(known & (draw.random(known.shape) < 0.5), known)


def numbers(draw: np.random.Generator, members: int, gaps: float, kind=np.float32) -> np.ndarray:
    """Halves, so that many equal a limit; a few are not known."""
    values = (draw.integers(-8, 9, (TASKS, members, HOURS)) / 2.0).astype(kind)
    values[draw.random(values.shape) < gaps] = np.nan
    return values


def limits(draw: np.random.Generator) -> list[np.ndarray | None]:
    one = draw.integers(-8, 9, TASKS) / 2.0
    unstated = np.where(draw.random(TASKS) < 0.4, np.nan, draw.integers(-8, 9, TASKS) / 2.0)
    return [(one, None), (None, one), (one, one + 1.0), (unstated, None), (None, unstated)]


def column(limit: np.ndarray | None) -> np.ndarray | None:
    return None if limit is None else limit[:, None, None]


def same(votes: Votes, wanted: Kleene, note: object = "") -> None:
    shape = np.broadcast_shapes(votes.holds.shape, np.shape(wanted.holds))
    for found, truth in (
        (votes.holds, wanted.holds),
        (votes.known, wanted.known),
        (votes.fails, wanted.fails),
    ):
        assert np.array_equal(np.broadcast_to(found, shape), np.broadcast_to(truth, shape)), note


@MEMBERS
def test_bits_say_what_booleans_say(members):
    draw = random(members)
    one, other, shared = answers(draw, members), answers(draw, members), answers(draw, 1)
    votes, others, together = (Votes.of(*part) for part in (one, other, shared))
    same(votes, one)
    same(~votes, Kleene(one.fails, one.known))
    for a, b, x, y in (
        (votes, others, one, other),
        (votes, together, one, shared),
        (together, votes, shared, one),
    ):
        same(a & b, all_of(x, y))
        same(a | b, any_of(x, y))
    held, perhaps = votes.counts()
    assert np.array_equal(held, one.holds.sum(axis=1)) and np.array_equal(perhaps, (~one.fails).sum(axis=1))
    assert np.array_equal(any_member(~votes.decided, members), (~one.known).any(axis=1))
    hidden = draw.random((TASKS, 1, HOURS)) < 0.5
    same(votes.only_known(Votes.of(hidden).surely), Kleene(one.holds & hidden, one.known & hidden))
    next_hour = votes.following()
    assert (
        np.array_equal(next_hour.holds[..., :-1], one.holds[..., 1:]) and not next_hour.known[..., -1].any()
    )


@MEMBERS
@pytest.mark.parametrize("gaps", [0.0, 0.15])
@pytest.mark.parametrize("instant", [False, True])
def test_spans_of_bits_judge_as_the_numbers_do(members, gaps, instant):
    """Extremes, sums, means and the last value over spans before, at and after the start."""
    draw = random(members + 1000)
    for kind in (np.float32, np.float64):
        series = Series(numbers(draw, members, gaps, kind), instant)
        for first, stop in ((0, 1), (0, 3), (-2, 0), (1, 7), (2, 26), (-30, 5), (0, 60), (45, 50)):
            for take in ("min", "max", "any", "all", "sum", "mean", "last"):
                for pair in limits(draw):
                    found = judge_offsets(series, first, stop, take, *pair)
                    wanted = judge(reduce_offsets(series, first, stop, take), take, *map(column, pair))
                    same(found, wanted, (kind, first, stop, take, pair))


@MEMBERS
def test_starts_and_nights_of_bits_judge_as_the_numbers_do(members):
    draw = random(members + 2000)
    for gaps in (0.0, 0.1):
        for instant in (False, True):
            series = Series(numbers(draw, members, gaps), instant)
            begins = np.array([[-9, 5, 17, 33], [-2, 8, 16, 38], [1, 11, 25, 52]])
            ends = begins + draw.integers(1, 7, begins.shape)
            night_of = (begins[:, None, :] < np.arange(HOURS)[None, :, None]).sum(axis=-1)
            for pair in limits(draw):
                wanted = judge(reduce_at_start(series), "last", *map(column, pair))
                same(judge_at_start(series, *pair), wanted, pair)
                for take in ("min", "max"):
                    for count in (1, 2, 3):
                        found = judge_nights(series, begins, ends, night_of, count, take, *pair)
                        reduced = reduce_nights(series, begins, ends, night_of, count, take)
                        same(found, judge(reduced, take, *map(column, pair)), (take, count, pair))


@pytest.mark.parametrize("gaps", [0.0, 0.2])
def test_sums_in_parts_and_of_some_tasks(gaps):
    draw = random(5)
    rain, water = numbers(draw, 9, gaps), numbers(draw, 1, gaps, np.float64)
    total = Total(Series(rain), Series(water))
    assert np.array_equal(total.values, rain + water, equal_nan=True)
    rows = np.array([0, 2])
    for first, stop in ((0, 1), (-24, 0), (1, 25), (3, 51)):
        for lower in (True, False):
            edge = np.full(TASKS, 2.5)
            pair = (edge, None) if lower else (None, edge)
            found = judge_offsets(total, first, stop, "sum", *pair)
            same(found, judge(reduce_offsets(total, first, stop, "sum"), "sum", *map(column, pair)))
            some = judge_offsets(
                total.rows(rows), first, stop, "sum", *(x if x is None else x[rows] for x in pair)
            )
            same(some, Kleene(found.holds[rows], found.known[rows]))


def test_sums_by_doubling_are_the_sums():
    """No cancellation: a sum of non-negative hours never comes out below any of them, nor below zero."""
    draw = random(6)
    values = draw.gamma(0.3, 4.0, (2, 5, 200)) * (draw.random((2, 5, 200)) < 0.3)
    exact, short = Series(values), Series(values.astype(np.float32))
    for first, stop in ((0, 24), (3, 27), (-24, 0), (0, 48), (2, 3), (5, 77)):
        wanted = np.stack(
            [values[..., max(at + first, 0) : max(at + stop, 0)].sum(axis=-1) for at in range(200)], axis=-1
        )
        np.testing.assert_allclose(exact.sums(first, stop), wanted, rtol=1e-14, atol=1e-14)
        np.testing.assert_allclose(short.sums(first, stop), wanted, rtol=1e-6, atol=1e-6)
        assert (short.sums(first, stop)[wanted == 0.0] == 0.0).all()


def test_series_that_make_their_numbers_late_compare_as_these_do():
    draw = random(7)
    whole = numbers(draw, 5, 0.2)
    known = Votes.of(~np.isnan(whole))
    day_of = np.repeat(np.arange(8), 5)[None].repeat(TASKS, axis=0)
    day_of[1] = np.minimum(day_of[1] + 1, 7)
    made = [
        Guarded(np.nan_to_num(whole), known), Daily(whole[..., :8], day_of), Constant(whole[..., :1], HOURS),
        YesNo(Votes.of(*answers(draw, 5))),
    ]  # fmt: skip
    for series in made:
        assert series.values.shape == (TASKS, 5, HOURS)
        for pair in limits(draw):
            votes = judge_at_start(series, *pair)
            same(votes, within(series.values, *map(column, pair)), type(series).__name__)
            rows = np.array([2, 0])
            some = judge_at_start(series.rows(rows), *(x if x is None else x[rows] for x in pair))
            same(some, Kleene(votes.holds[rows], votes.known[rows]))


@pytest.mark.parametrize("lower", [True, False])
def test_the_last_float32_inside_a_limit_holds_and_the_next_does_not(lower):
    """Every float32 about the edge compares as it does, widened, with the edge in float64; NaN is not known."""
    for limit in (0.0, 1e-3, 0.1, 0.3, 1.0, 2.54, 4.4704, 6.35, 25.4, 29.4, -3.3, -0.1):
        edge = inclusive_edge(np.array([limit]), lower, np.dtype(float))
        near = [np.float32(edge[0])]
        for way in (np.float32(np.inf), np.float32(-np.inf)):
            step = near[0]
            for _ in range(5):
                step = np.nextafter(step, way)
                near.append(step)
        values = np.array([*near, np.nan, np.inf, -np.inf], dtype=np.float32)[None, None]
        wide, known = values.astype(float), ~np.isnan(values)
        found = Series(values).against(np.array([limit]), lower)
        same(found, Kleene((wide >= edge) if lower else (wide <= edge), known), limit)
        assert found.holds[..., :11].any() and found.fails[..., :11].any()


def weather(draw: np.random.Generator, members: int, lost: float) -> list[np.ndarray]:
    """Humidity, depression, rain, cloud and wind, with values at the edges of classes and some that are lost."""
    shape = (4, members, 200)
    humidity = draw.choice([-1.0, 0.0, 50.0, 86.9, 87.0, 100.0], shape)
    depression = draw.choice([0.0, 3.8, 3.9, 12.0], shape)
    rain = draw.choice([-0.1, 0.0, 0.0, 0.0, 0.3], shape)
    cloud = draw.choice([0.0, 44.9, 45.0, 80.0, 99.4, 99.5, 100.0], shape)
    wind = draw.uniform(-0.5, 8.0, shape)
    made = [part.astype(np.float32) for part in (humidity, depression, rain, cloud, wind)]
    for part in made:
        part[draw.random(shape) < lost] = np.nan
    return made


@pytest.mark.parametrize("lost", [0.0, 0.1])
def test_wet_leaves_and_stable_air_in_bits_are_those_of_the_formulas(lost):
    """Sentelhas et al. (2008) and EPA-454/R-99-005 as `leaf_wet` and `turner_class` have them, hour by hour."""
    draw = random(8)
    humidity, depression, rain, cloud, wind = weather(draw, 9, lost)
    air = wet_by_air(humidity, depression)
    wanted = leaf_wet(humidity, depression, rain)
    same(air | wet_by_rain(rain), Kleene(wanted == 1.0, ~np.isnan(wanted)))
    height = draw.uniform(-60, 70, (4, 1, 200)).astype(np.float32)
    height[0, 0, :5] = np.nan
    night = height < 3.0
    exact = turner_class(height, night, cloud, wind)
    _, worst = turner_class_bounds(height, night, wind)
    unknown = np.isnan(exact)
    found = stable_air(height, night, cloud, wind)
    same(found, Kleene(exact >= 5.0, ~unknown | (worst < 5.0)))
    assert found.holds.any() and found.fails.any() and not found.known.all()
