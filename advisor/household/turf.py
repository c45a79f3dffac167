"""Turf species by common and scientific name, with their season of growth.

Names and seasons: common practice, no source; scientific names from memory. The first name is the one that
areas and labels carry inside the program: "Poa pratensis" on a label covers "smooth meadow-grass" on an area.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class TurfSpecies:
    """A turf grass; `covers` names the species that a group stands for."""

    name: str
    scientific: str
    season: Literal["cool-season", "warm-season"]
    also: tuple[str, ...] = ()
    covers: tuple[str, ...] = ()


_COOL, _WARM = "cool-season", "warm-season"

SPECIES: tuple[TurfSpecies, ...] = (
    TurfSpecies(
        "Kentucky bluegrass",
        "Poa pratensis",
        _COOL,
        ("smooth meadow-grass", "smooth-stalked meadow-grass", "KBG"),
    ),
    TurfSpecies(
        "rough bluegrass", "Poa trivialis", _COOL, ("rough meadow-grass", "rough-stalked meadow-grass")
    ),
    TurfSpecies(
        "annual bluegrass", "Poa annua", _COOL, ("annual meadow-grass", "wintergrass", "winter grass")
    ),
    TurfSpecies(
        "perennial ryegrass", "Lolium perenne", _COOL, ("English ryegrass", "perennial rye", "ryegrass")
    ),
    TurfSpecies("annual ryegrass", "Lolium multiflorum", _COOL, ("Italian ryegrass",)),
    TurfSpecies(
        "tall fescue",
        "Lolium arundinaceum",
        _COOL,
        ("Festuca arundinacea", "Schedonorus arundinaceus", "turf-type tall fescue"),
    ),
    TurfSpecies(
        "fine fescue",
        "Festuca spp.",
        _COOL,
        ("fine fescues", "fine-leaf fescue", "fine-leaved fescue"),
        (
            "creeping red fescue",
            "slender creeping red fescue",
            "Chewings fescue",
            "hard fescue",
            "sheep fescue",
        ),
    ),
    TurfSpecies("creeping red fescue", "Festuca rubra", _COOL, ("red fescue", "strong creeping red fescue")),
    TurfSpecies("slender creeping red fescue", "Festuca rubra ssp. litoralis", _COOL),
    TurfSpecies("Chewings fescue", "Festuca rubra ssp. commutata", _COOL, ("chewing's fescue",)),
    TurfSpecies("hard fescue", "Festuca brevipila", _COOL, ("Festuca trachyphylla",)),
    TurfSpecies("sheep fescue", "Festuca ovina", _COOL, ("sheep's fescue",)),
    TurfSpecies("creeping bentgrass", "Agrostis stolonifera", _COOL, ("creeping bent",)),
    TurfSpecies(
        "colonial bentgrass", "Agrostis capillaris", _COOL, ("common bent", "browntop", "browntop bent")
    ),
    TurfSpecies(
        "bermudagrass",
        "Cynodon dactylon",
        _WARM,
        ("bermuda grass", "couch", "couch grass", "green couch", "kweek"),
    ),
    TurfSpecies(
        "hybrid bermudagrass",
        "Cynodon dactylon x C. transvaalensis",
        _WARM,
        ("hybrid couch", "hybrid bermuda"),
    ),
    TurfSpecies("zoysiagrass", "Zoysia spp.", _WARM, ("zoysia",), ("Japanese lawngrass", "manilagrass")),
    TurfSpecies("Japanese lawngrass", "Zoysia japonica", _WARM, ("Japanese lawn grass",)),
    TurfSpecies("manilagrass", "Zoysia matrella", _WARM, ("Manila grass",)),
    TurfSpecies(
        "St. Augustinegrass",
        "Stenotaphrum secundatum",
        _WARM,
        (
            "St Augustinegrass",
            "St. Augustine grass",
            "St Augustine",
            "buffalo grass (soft-leaf)",
            "soft-leaf buffalo",
        ),
    ),
    TurfSpecies(
        "buffalograss", "Bouteloua dactyloides", _WARM, ("Buchloe dactyloides", "American buffalograss")
    ),
    TurfSpecies("blue grama", "Bouteloua gracilis", _WARM),
    TurfSpecies("centipedegrass", "Eremochloa ophiuroides", _WARM, ("centipede grass",)),
    TurfSpecies("bahiagrass", "Paspalum notatum", _WARM, ("bahia grass",)),
    TurfSpecies("seashore paspalum", "Paspalum vaginatum", _WARM, ("saltwater couch",)),
    TurfSpecies(
        "kikuyugrass", "Cenchrus clandestinus", _WARM, ("kikuyu", "kikuyu grass", "Pennisetum clandestinum")
    ),
    TurfSpecies(
        "carpetgrass", "Axonopus fissifolius", _WARM, ("narrow-leaf carpetgrass", "Axonopus affinis")
    ),
    TurfSpecies("Queensland blue couch", "Digitaria didactyla", _WARM, ("blue couch", "serangoon grass")),
)

BY_NAME: dict[str, TurfSpecies] = {species.name: species for species in SPECIES}

_KNOWN: dict[str, str] = {
    spelling.casefold(): species.name
    for species in SPECIES
    for spelling in (
        species.name,
        *species.also,
        *(() if "spp." in species.scientific else (species.scientific,)),
    )
}

_AMBIGUOUS = {
    "buffalo grass": 'two grasses: write "buffalograss" (American) or "St. Augustinegrass" (soft-leaf)',
    "bluegrass": 'write "Kentucky bluegrass", or another by its full name',
    "fescue": 'write "tall fescue" or "fine fescue"',
}


def canonical_name(text: str) -> str | None:
    """The first name of a species given by any of its names, or None."""
    return _KNOWN.get(" ".join(text.split()).casefold())


def suggestion(text: str) -> str:
    """'did you mean "x"?' for a turf name that is not known; names the common ones where nothing is near."""
    wanted = " ".join(text.split()).casefold()
    if wanted in _AMBIGUOUS:
        return _AMBIGUOUS[wanted]
    near = difflib.get_close_matches(wanted, _KNOWN, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{_KNOWN[near[0]]}"?'
    return "known: " + ", ".join(species.name for species in SPECIES)


def expand(names: tuple[str, ...]) -> tuple[str, ...]:
    """Canonical names with the species that groups cover, each once, in order."""
    seen: dict[str, None] = {}
    for name in names:
        for one in (name, *BY_NAME[name].covers):
            seen.setdefault(one)
    return tuple(seen)


def season(names: tuple[str, ...]) -> str | None:
    """The season that all the species share, or None when they differ."""
    seasons = {BY_NAME[name].season for name in names}
    return seasons.pop() if len(seasons) == 1 else None
