"""What an attack is, and what becomes of it: a row of the table."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Attack:
    """One attack.

    Attributes
    ----------
    group : str
        What kind of attack it is; the line of the campaign's table.
    name : str
        What is sent.
    expected : str
        What must become of it, in a few words.
    run : callable
        Does it to a world; gives whether what became of it is what must, and what it was.
    """

    group: str
    name: str
    expected: str
    run: Callable[[object], tuple[bool, str]]


@dataclass(frozen=True)
class Outcome:
    """An attack and what became of it."""

    attack: Attack
    refused: bool
    actual: str

    @property
    def row(self) -> str:
        mark = "" if self.refused else "  <- it got through"
        return f"{self.attack.group} | {self.attack.name} | {self.attack.expected} | {self.actual}{mark}"


def carried_out(attacks: Iterable[Attack], world) -> list[Outcome]:
    """Every attack, one after the other; one that ends in an exception of ours counts as got through."""
    out = []
    for attack in attacks:
        try:
            refused, actual = attack.run(world)
        except Exception as error:  # whatever it is, it is not what was expected
            refused, actual = False, f"{type(error).__name__}: {error}"
        out.append(Outcome(attack, refused, " ".join(actual.split())[:160]))
    return out
