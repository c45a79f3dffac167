"""Bad input for every reader: no traceback, no standstill, bounded memory, and words that a person can use.

Quick: inputs changed by grammar and by bytes. Long: more of them, inputs led by what they reach, and requests made from
the pages' own description; what needs a library that is not there says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from hardening.lines import Line

#: inputs of a reader of share 1, quick and long
QUICK, LONG = 600, 8_000
#: processor time for which each reader is led in the long form [s]
LED_SECONDS = 20
#: requests to each operation of the description
DESCRIBED = 150


def run(quick: bool, seed: int) -> Iterator[Line]:
    """One line a group of readers; in the long form also one each for the two libraries."""
    yield from changed(QUICK if quick else LONG, seed)
    if not quick:
        yield led(LED_SECONDS, seed)
        yield described(DESCRIBED, seed)


def changed(each: int, seed: int) -> Iterator[Line]:
    """Changed inputs for every reader."""
    # loaded late: what is led by coverage must be the first to load the program
    from hardening.fuzzing.loop import feed
    from hardening.fuzzing.targets import targets

    for group, readers in groupby(targets().values(), key=lambda one: one.group):
        results = [feed(one, seed, round(each * one.share)) for one in readers]
        found = [one for result in results for one in result.found.values()]
        note = ", ".join(f"{one.target} {one.cases:,}" for one in results)
        told = tuple(one.told(seed) for one in found[:8])
        cases, seconds = sum(one.cases for one in results), sum(one.seconds for one in results)
        yield Line("fuzzing", group, cases, len(found), f"{seconds:.0f} s; {note}", told)


def led(seconds: int, seed: int) -> Line:
    """Inputs led by what they reach."""
    from hardening.fuzzing import guided
    from hardening.fuzzing.targets import targets

    what = "every reader, led by the lines that it runs"
    if guided.missing():
        return Line("fuzzing", what, 0, 0, guided.missing())
    runs, told = {}, []
    for name in targets():
        count, found, broken = guided.lead(name, seconds, seed)
        runs[name] = count
        told += [
            f"{name}: {one['kind']}, {one['place']}; {one['says']}; smallest: {one['smallest']}"
            for one in found
        ]
        told += [f"{name}: {broken}"] if broken else []
    note = ", ".join(f"{name} {count:,}" for name, count in runs.items())
    return Line("fuzzing", what, sum(runs.values()), len(told), f"{seconds} s each; {note}", tuple(told[:12]))


def described(each: int, seed: int) -> Line:
    """Requests from the pages' own description."""
    from hardening.fuzzing import by_description

    what = "page JSON and forms, from /openapi.json"
    if by_description.missing():
        return Line("fuzzing", what, 0, 0, by_description.missing())
    from hardening.fuzzing.page_targets import Pages

    asked = list(by_description.ask(Pages(), each, seed))
    faults = tuple(fault for one in asked for fault in one.faults)
    note = ", ".join(f"{one.operation} {one.cases}" for one in asked)
    return Line("fuzzing", what, sum(one.cases for one in asked), len(faults), note, faults[:12])
