"""Where the weather of an answer comes from, on which licence, and what a person should know of how it was come by."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.forecast import AGE_ASSUMED, Provenance
from advisor.sources import SOURCES
from advisor.spread.assumed import CARRIED_BY_MEMBERS

#: beginnings of notes that matter to whoever reads the JSON, and to nobody else
_SMALL = ("grid cell ", "model ", "measured at ", "past hours from ", AGE_ASSUMED, CARRIED_BY_MEMBERS)


def licences(attribution: str) -> tuple[str, ...]:
    """Licences of the services that a credit line names."""
    return tuple(dict.fromkeys(one.licence for one in SOURCES.values() if one.attribution in attribution))


def credit(provenance: Provenance) -> str:
    """The credit line with each service's licence: "Data from MET Norway (CC BY 4.0 / NLOD 2.0)"."""
    told = provenance.attribution
    for one in SOURCES.values():
        told = told.replace(one.attribution, f"{one.attribution} ({one.licence})")
    return told or provenance.source


def spreads(provenances: Iterable[Provenance]) -> str:
    """What chances rest on, each once: "assumed spread"; empty where nothing is drawn or counted."""
    return "; ".join(dict.fromkeys(one.spread for one in provenances if one.spread != "none"))


def weather_notes(provenance: Provenance) -> list[str]:
    """What a person should know: what stood in for what, what is not looked at, which terms hold."""
    return [note for note in dict.fromkeys(provenance.notes) if not note.startswith(_SMALL)]
