"""(b) Removals: values, hours, variables that an answer had and has no longer, or that can no longer be read."""

from __future__ import annotations

import numpy as np

from .cells import Answer, interval_of, stamp
from .change import Change, a_variable, clock, now_hour, some_hours, within
from .scenes import Scene

#: what is no number
UNREADABLE = (None, None, None, "3.4", True, [], {}, "NaN")


def hours_gone(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Some hours of one variable null, unreadable or not there."""
    name = a_variable(random, answer)
    first, stop = some_hours(random, scene)
    cells = within(answer.cells(name), first, stop)
    span = f"{name} from {clock(first)} for {stop - first} h"
    if cells and cells[0].drop is not None and random.random() < 0.5:
        for cell in cells:
            cell.drop()
        return Change("b", "delete", span, answer.bytes)
    with_what = UNREADABLE[random.integers(len(UNREADABLE))]
    for cell in cells:
        cell.put(with_what)
    return Change("b", "null", f"{span}: {with_what!r}", answer.bytes)


def thinned(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Single values gone here and there, of one variable or of all."""
    names = list(answer.names) if random.random() < 0.3 else [a_variable(random, answer)]
    share = float(random.choice([0.02, 0.1, 0.5]))
    for name in names:
        for cell in answer.cells(name):
            if random.random() < share:
                cell.put(None)
    return Change(
        "b", "null", f"{share:.0%} of {', '.join(names) if len(names) < 3 else 'everything'}", answer.bytes
    )


def variable_gone(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """One or two variables altogether."""
    names = [
        str(name) for name in random.choice(list(answer.names), int(random.integers(1, 3)), replace=False)
    ]
    way = str(random.choice(["null", "delete", "delete with unit"]))
    for name in names:
        if way == "null":
            for cell in answer.cells(name):
                cell.put(None)
        elif scene.provider == "open-meteo":
            answer.take_away("hourly", answer.names[name])
            if way == "delete with unit":
                answer.take_away("hourly_units", answer.names[name])
        elif scene.provider == "nws":
            if way == "delete":
                answer.layer(name)["values"] = []
            else:
                answer.take_away("properties", answer.names[name])
        else:
            for cell in answer.cells(name):
                cell.drop()
            if name == "precipitation":  # the longer periods of the hourly part too
                for entry in answer.entries:
                    entry["data"].pop("next_6_hours", None)
            if way == "delete with unit":
                answer.take_away("properties", "meta", "units", answer.names[name])
    return Change("b", way.split()[0], f"{' and '.join(names)}: {way}", answer.bytes)


def steps_gone(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """All of some hours: an answer that begins late, ends early, or has a hole."""
    way = str(random.choice(["end", "end", "beginning", "hole"]))
    now = now_hour(scene)
    if way == "end":
        first, stop = now + int(random.integers(1, 72)), now + 10_000
    elif way == "beginning":
        first, stop = now - 10_000, now - int(random.integers(-6, 30))
    else:
        first, stop = some_hours(random, scene, 12)
    if scene.provider == "open-meteo":
        hourly = answer.data["hourly"]
        keep = [
            at for at, time in enumerate(hourly["time"]) if not stamp(first)[:16] <= time < stamp(stop)[:16]
        ]
        if way == "hole":  # its labels must stay an hour apart
            for name in answer.names:
                for cell in within(answer.cells(name), first, stop):
                    cell.put(None)
        else:
            answer.data["hourly"] = {key: [values[at] for at in keep] for key, values in hourly.items()}
    elif scene.provider == "nws":
        for name in answer.names:
            values = answer.layer(name)["values"]
            values[:] = [one for one in values if not first <= interval_of(one["validTime"])[0] < stop]
    else:
        answer.entries[:] = [
            one for one in answer.entries if not stamp(first) <= one["time"][:19] < stamp(stop)
        ]
    kind = "truncate" if way != "hole" else "delete"
    return Change("b", kind, f"{way}: from {clock(first)} to {clock(stop)}", answer.bytes)


REMOVALS = (hours_gone, hours_gone, hours_gone, thinned, variable_gone, variable_gone, steps_gone, steps_gone)
