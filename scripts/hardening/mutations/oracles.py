"""What may become of a changed answer, and whether it did.

Everything is judged start hour by start hour and task by task, against the untouched answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS

from .cells import NAMES, Answer
from .change import Change, now_hour
from .scenes import OTHER, Judged, Scene, judge
from .values import hourly

_EPS = 1e-9
#: standard error assumed of a forecast a day ahead, and its growth a day, as the program states it
ASSUMED_SPREAD = (
    ("air_temperature", 1.75, 0.35), ("dew_point", 1.75, 0.35), ("relative_humidity", 8.0, 1.5),
    ("wind_gust", 2.0, 0.2), ("cloud_cover", 20.0, 2.0),
)  # fmt: skip
#: what a second source is not asked about, and why
NOT_COMPARED = {
    "precipitation_probability": "the chance of an hour and that of a block of six hours say different things",
    "soil_temperature_5cm": "only one source has it",
    "shortwave_radiation": "only one source has it",
}
#: rules that go by the worst where something is not known, so that what is missing may fail them: the one known way to
#: a no-go by loss. Without these rules the oracle must hold all the same.
ASSUME_THE_WORST = {
    "drift-deposit": "wind from an unknown direction counts as blowing towards the neighbour (design, section 5)",
    "drift-deposit-sensitive": "the same",
    "moisture-stress": "a day of unknown weather is taken to use 8 mm, one that nobody saw 5 mm (common practice)",
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a case ended: in a word, and where it must not have ended so, what is wrong."""

    word: str
    wrong: str = ""


def same_or_unknown(scene: Scene, after: Judged, change: Change) -> Outcome:
    """(a) Every start has its verdict still, or is unknown; a no-go by a rule that assumes the worst is told apart."""
    before, verdict = scene.plain.verdict, after.verdict
    wrong = (verdict != before) & (verdict != UNKNOWN)
    if wrong.any():
        if (verdict[wrong] == NO_GO).all():
            without = tuple(ASSUME_THE_WORST)
            untouched = judge(scene, scene.body, without=without).verdict
            changed = judge(
                scene, change.body, asked_hours_ago=change.asked_hours_ago, without=without
            ).verdict
            if ((changed == untouched) | (changed == UNKNOWN)).all():
                return Outcome("no-go by a rule that assumes the worst")
        return Outcome("another verdict", _first(scene, wrong, before, verdict))
    return Outcome("identical" if (verdict == before).all() else "unknown")


def never_gained(scene: Scene, after: Judged) -> Outcome:
    """(b) A start that is a go now was one before, without exception."""
    before, verdict = scene.plain.verdict, after.verdict
    wrong = (verdict == GO) & (before != GO)
    if wrong.any():
        return Outcome("a go gained", _first(scene, wrong, before, verdict))
    return _cautious(before, verdict)


def never_eased(scene: Scene, after: Judged, rules: tuple[str, ...]) -> Outcome:
    """(c) A rule that is kept now, in as many members, was kept before."""
    for rule in rules:
        if rule not in after.kept or rule not in scene.plain.kept:
            continue
        before, now = scene.plain.kept[rule], after.kept[rule]
        eased = now > before + _EPS
        if eased.any():
            task, hour = np.argwhere(eased)[0]
            says = f"{rule} kept at {scene.hours[hour]} with {now[task, hour]:.2f}, before {before[task, hour]:.2f}"
            return Outcome("a rule eased", says)
    return _cautious(scene.plain.verdict, after.verdict)


def unseen(scene: Scene, after: Judged) -> Outcome:
    """(d) With one source: nothing is wrong, and nothing can be."""
    gained = (after.verdict == GO) & (scene.plain.verdict != GO)
    return Outcome("cannot be seen") if gained.any() else _cautious(scene.plain.verdict, after.verdict)


def told_by_another(scene: Scene, change: Change) -> Outcome:
    """(d) With a second source: every hour in which the two disagree is unknown, and so is what rests on it."""
    both = judge(scene, change.body, second=scene.other)
    off = disagreement(scene, change.body)
    now = now_hour(scene)
    for name, hours in off.items():
        field = both.forecast.fields.get(name)
        if field is None:
            continue
        start = int(both.forecast.start.astype("int64"))
        known = [
            hour
            for hour in hours
            if 0 <= hour - start < both.forecast.hours and field.known[0, 0, hour - start]
        ]
        if known:
            return Outcome(
                "not flagged", f"{name} counts at {np.datetime64(known[0], 'h')} though the second differs"
            )
    resting = off.get("air_temperature", set()) | off.get("wind_speed_10m", set())
    gained = (both.verdict == GO) & (scene.plain.verdict != GO)
    for _, hour in np.argwhere(gained):
        if now + int(hour) in resting:
            return Outcome(
                "not flagged", f"a go at {scene.hours[hour]} in an hour that the second contradicts"
            )
    if any(off.values()):
        return Outcome("flagged")
    if not gained.any():
        return Outcome("nothing gained")
    if change.variable in NOT_COMPARED:
        return Outcome("a go gained by what cannot be compared")
    if change.variable and change.variable not in NAMES[OTHER[scene.provider]]:
        return Outcome("a go gained by what the second does not say")
    return Outcome("a go gained within what forecasts err")


def disagreement(scene: Scene, body: bytes) -> dict[str, set[int]]:
    """Hours, by variable, in which two sources surely disagree, read from the two answers by other means.

    The distance is the one that the program states: twice the assumed spread of the difference, which is sqrt(2) times
    that of one forecast; 5 % and half a day of lead are left to the program. Rain: 2.5 mm in six hours beside nothing
    measurable (0.254 mm) from three hours before them to three after.
    """
    ours, theirs = Answer(scene.provider, body), Answer(OTHER[scene.provider], scene.other)
    now = now_hour(scene)

    def of(answer: Answer, name: str) -> dict[int, float]:
        return hourly(answer.cells(name), name == "precipitation") if name in answer.names else {}

    def beyond(first: float, growth: float, hour: int) -> float:
        lead = max((hour - now + 14) / 24.0, 1.0)
        return 2.0 * 1.05 * math.sqrt(2.0) * (first + growth * (lead - 1.0))

    found: dict[str, set[int]] = {}
    wind = of(ours, "wind_speed_10m"), of(theirs, "wind_speed_10m")
    for name, first, growth in ASSUMED_SPREAD:
        one, two = of(ours, name), of(theirs, name)
        if name == "wind_gust":  # one below the mean wind counts as the mean wind
            one = _no_less(one, wind[0], ours.provider != "nws")
            two = _no_less(two, wind[1], theirs.provider != "nws")
        found[name] = {
            hour for hour in one.keys() & two.keys()
            if hour >= now and abs(one[hour] - two[hour]) > beyond(first, growth, hour)
        }  # fmt: skip
    # of the square root, at 4 m/s
    found["wind_speed_10m"] = {
        hour for hour in wind[0].keys() & wind[1].keys()
        if hour >= now
        and abs(math.sqrt(max(wind[0][hour], 0.0)) - math.sqrt(wind[1][hour])) > beyond(1.4 / 4.0, 0.12 / 4.0, hour)
    }  # fmt: skip
    one, two = of(ours, "wind_from_direction"), of(theirs, "wind_from_direction")
    found["wind_from_direction"] = set()
    for hour in one.keys() & two.keys() & wind[0].keys() & wind[1].keys():
        apart = abs((one[hour] - two[hour] + 180.0) % 360.0 - 180.0)
        light = min(max(4.0 / max(min(wind[0][hour], wind[1][hour]), 0.1), 1.0), 3.0)
        if hour >= now and apart > light * beyond(20.0, 5.0, hour):
            found["wind_from_direction"].add(hour)
    found["precipitation"] = _rain_apart(of(ours, "precipitation"), of(theirs, "precipitation"), now)
    return found


def _no_less(gust: dict[int, float], wind: dict[int, float], at_both_ends: bool) -> dict[int, float]:
    """Gusts no lower than the mean wind of their hour; instants of wind bound the hour on both sides."""
    return {
        hour: max(value, wind.get(hour, 0.0), wind.get(hour + 1, 0.0) if at_both_ends else 0.0)
        for hour, value in gust.items()
    }


def _rain_apart(one: dict[int, float], two: dict[int, float], now: int) -> set[int]:
    found: set[int] = set()
    for first in range(now // 6 * 6, now + 120, 6):
        block, around = range(first, first + 6), range(first - 3, first + 9)
        for wet, dry in ((one, two), (two, one)):
            if all(hour in wet for hour in block) and all(hour in dry for hour in around):
                much, little = sum(wet[hour] for hour in block), sum(dry[hour] for hour in around)
                if much >= 2.5 + 1e-6 and little < 0.254 - 1e-6:
                    found |= {hour for hour in block if hour >= now}
    return found


def _cautious(before: np.ndarray, after: np.ndarray) -> Outcome:
    if (before == after).all():
        return Outcome("identical")
    if ((before == GO) & (after != GO)).any():
        return Outcome("more cautious")
    return Outcome("unknown" if ((after == UNKNOWN) & (before != UNKNOWN)).any() else "known, no go gained")


def _first(scene: Scene, wrong: np.ndarray, before: np.ndarray, after: np.ndarray) -> str:
    task, hour = np.argwhere(wrong)[0]
    treatment = scene.ground.tasks[task].treatment.id
    words = VERDICT_WORDS[int(before[task, hour])], VERDICT_WORDS[int(after[task, hour])]
    return (
        f"{treatment} at {scene.hours[hour]}: {words[0]} before, {words[1]} after ({int(wrong.sum())} starts)"
    )
