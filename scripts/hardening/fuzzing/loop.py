"""Feed readers with changed inputs in a process of their own, which is ended where it stands still.

Input number n of a reader follows from the seed, the reader's name and n, so any of them can be made again.
"""

from __future__ import annotations

import contextlib
import logging
import multiprocessing
import time
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from random import Random

from hardening.fuzzing import odd, scratch
from hardening.fuzzing.oracle import Fault, Target, bounded_memory, judge

#: real time in which one input must be done before its process is ended [s]
STANDSTILL = 30.0
#: tries to make an input smaller
_TRIES = 400


@dataclass(frozen=True)
class Found:
    """One fault of a reader: how often it was met, the first input that met it, and the smallest known."""

    target: str
    fault: Fault
    number: int
    times: int
    smallest: bytes

    def told(self, seed: int) -> str:
        """How to repeat it, in one line."""
        shown = repr(self.smallest)
        if len(shown) > 240:
            shown = f"{shown[:120]} ... {shown[-80:]} ({len(self.smallest):,} bytes)"
        return (
            f"{self.target}, input {self.number} of seed {seed}, met {self.times} times: {self.fault.kind}, "
            f"{self.fault.place}; {self.fault.says}; smallest: {shown}"
        )


@dataclass
class Result:
    """What came of one reader."""

    target: str
    cases: int = 0
    seconds: float = 0.0
    found: dict[tuple[str, str], Found] = field(default_factory=dict)

    def add(self, one: Found) -> None:
        key = (one.fault.kind, one.fault.place)
        known = self.found.get(key)
        self.found[key] = one if known is None else replace(known, times=known.times + one.times)


def made(target: Target, seeds: list[bytes], seed: int, number: int) -> bytes:
    """Input number n: the first ones are the valid seeds themselves."""
    if number < len(seeds):
        return seeds[number]
    chance = Random(f"{seed}/{target.name}/{number}")
    data = chance.choice(seeds)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        # mostly by the grammar, now and then by bytes
        data = target.change(chance, data, seeds) if chance.random() < 0.75 else odd.changed(chance, data)
    return data


def feed(target: Target, seed: int, count: int) -> Result:
    """Feed one reader with `count` inputs; a process that dies or stands still is a fault of its input."""
    result, first = Result(target.name), 0
    with scratch.held():
        while first < count:
            first = _one_process(target, seed, first, count, result)
    result.cases = count
    return result


def _one_process(target: Target, seed: int, first: int, count: int, result: Result) -> int:
    """Feed from `first` on in a process of its own; where it ended."""
    fork = multiprocessing.get_context("fork")
    number, began = fork.RawValue("q", first), fork.RawValue("d", time.monotonic())
    ours, theirs = fork.Pipe(duplex=False)
    child = fork.Process(target=_work, args=(target, seed, first, count, number, began, theirs), daemon=True)
    child.start()
    theirs.close()
    ended = _listen(ours, child, began, result)
    child.join(1.0)
    if ended:
        return count
    code = child.exitcode
    if child.is_alive():
        child.kill()
        child.join()
    what = f"stood still for {STANDSTILL:g} s" if code is None else f"ended with {code}"
    data = made(target, target.seeds(), seed, number.value)
    result.add(Found(target.name, Fault("process", what, what), number.value, 1, data))
    return number.value + 1


def _listen(ours, child, began, result: Result) -> bool:
    """Take what the child finds until it says that it is done; False where it died or stands still."""
    while True:
        try:
            if ours.poll(1.0):
                said = ours.recv()
                if isinstance(said, float):
                    result.seconds += said
                    return True
                result.add(said)
            elif not child.is_alive() or time.monotonic() - began.value > STANDSTILL:
                return False
        except EOFError:
            return False


def _work(target: Target, seed: int, first: int, count: int, number, began, theirs) -> None:
    quiet()
    seeds = target.seeds()
    warm(target, seeds)
    before = time.process_time()
    known: set[tuple[str, str]] = set()
    with bounded_memory():
        for at in range(first, count):
            number.value, began.value = at, time.monotonic()
            data = made(target, seeds, seed, at)
            fault = judge(target, data)
            if fault is None:
                continue
            if (fault.kind, fault.place) not in known:
                known.add((fault.kind, fault.place))
                data = smaller(target, data, fault, began)
            theirs.send(Found(target.name, fault, at, 1, data))
    theirs.send(time.process_time() - before)


def quiet() -> None:
    """Warnings and the log of what was refused are not what is looked for here."""
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")


def warm(target: Target, seeds: Iterable[bytes]) -> None:
    """Load what is loaded late, before memory is bounded."""
    for one in seeds:
        with contextlib.suppress(Exception):
            target.read(one)


def smaller(target: Target, data: bytes, fault: Fault, began=None, tries: int = _TRIES) -> bytes:
    """The smallest input found that ends in the same fault, by leaving out ever shorter parts."""
    if fault.kind in ("hang", "process"):
        tries = min(tries, 12)
    step = max(len(data) // 2, 1)
    while step and tries > 0:
        at = 0
        while at < len(data) and tries > 0:
            less = data[:at] + data[at + step :]
            tries -= 1
            if began is not None:
                began.value = time.monotonic()
            again = judge(target, less)
            if again is not None and (again.kind, again.place) == (fault.kind, fault.place):
                data = less
            else:
                at += step
        step //= 2
    return data
