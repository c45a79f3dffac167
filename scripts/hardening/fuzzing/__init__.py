"""Bad input for every reader: no traceback, no standstill, bounded memory, and words that a person can use."""

from __future__ import annotations

from collections.abc import Iterator

from hardening.lines import Line

#: inputs of a reader of share 1, quick and long
QUICK, LONG = 650, 12_000


def run(quick: bool, seed: int) -> Iterator[Line]:
    """One line a reader."""
    # loaded late: what is led by coverage must be the first to load the program
    from hardening.fuzzing.loop import feed
    from hardening.fuzzing.targets import targets

    each = QUICK if quick else LONG
    for target in targets().values():
        result = feed(target, seed, round(each * target.share))
        told = tuple(found.told(seed) for found in list(result.found.values())[:5])
        yield Line("fuzzing", target.name, result.cases, len(result.found), f"{result.seconds:.1f} s", told)
