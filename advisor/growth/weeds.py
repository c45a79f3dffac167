"""Common weeds of lawns: life cycle, when they germinate, and when they are young and growing enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.errors import did_you_mean
from advisor.floats import as_floats
from advisor.logic import within

__all__ = ["AUTUMN_MONTHS", "WEEDS", "UnknownWeed", "Weed", "active_from", "find_weed", "is_young_and_active"]

#: Months in which a cool day still counts as growing for a perennial or a winter annual (northern
#: hemisphere).
AUTUMN_MONTHS = (9, 10, 11)
#: Daily maximum from which a weed takes a treatment up well, and the lower one of autumn [degC]: 60 and 50
#: degF.
ACTIVE_FROM = (60 - 32) / 1.8
ACTIVE_FROM_AUTUMN = 10.0


class UnknownWeed(ValueError):
    """A weed that is not in the table."""


@dataclass(frozen=True, slots=True)
class Weed:
    """One weed; the months are those of a cool-season lawn in the northern United States.

    Parameters
    ----------
    common_name, scientific_name : str
        Names.
    group : {"broadleaf", "grass", "sedge"}
        What kind of plant it is.
    life_cycle : {"perennial", "summer-annual", "winter-annual"}
        Life cycle.
    germinates : tuple of int
        Months in which seedlings (or shoots from tubers) come up, 1 to 12.
    treat : tuple of int
        Months in which a treatment of the leaves works best, 1 to 12.
    stages : tuple of str
        The stages to treat (a grass seedling has not tillered yet); the label's own stage goes first.
    source : str
        Where the months and the stage come from.
    """

    common_name: str
    scientific_name: str
    group: str
    life_cycle: str
    germinates: tuple[int, ...]
    treat: tuple[int, ...]
    stages: tuple[str, ...]
    source: str


_COMMON = "common practice, no source"
_KANSAS = "K-State extension releases: perennials mid-September to early November"
_LATE = "K-State extension releases: winter annual seedlings in late October; the rest common practice"
_FIDANZA = "emergence: Fidanza et al. (1996) Crop Sci. 36:990-996; treatment: common practice, no source"
_CLEMSON = "germination: Clemson home and garden information center; treatment: common practice, no source"

_PERENNIAL, _SUMMER, _WINTER = "perennial", "summer-annual", "winter-annual"
_BOTH, _EARLY, _FALL = (4, 5, 9, 10), (4, 5), (9, 10)
_LEAFY, _ROSETTE, _SEEDLING = ("vegetative", "regrowth"), ("rosette", "regrowth"), ("seedling",)

# common name, scientific name, group, life cycle, germinates, treat, stages, source
_TABLE = (
    ("dandelion", "Taraxacum officinale", "broadleaf", _PERENNIAL, _BOTH, (9, 10, 11), _ROSETTE, _KANSAS),
    ("white clover", "Trifolium repens", "broadleaf", _PERENNIAL, _BOTH, (5, 6, 9, 10), _LEAFY, _COMMON),
    ("broadleaf plantain", "Plantago major", "broadleaf", _PERENNIAL, _BOTH, (5, 9, 10), _ROSETTE, _COMMON),
    ("buckhorn plantain", "Plantago lanceolata", "broadleaf", _PERENNIAL, _BOTH, (5, 9), _ROSETTE, _COMMON),
    ("ground ivy", "Glechoma hederacea", "broadleaf", _PERENNIAL, _EARLY, (9, 10, 11), _LEAFY, _COMMON),
    ("wild violet", "Viola sororia", "broadleaf", _PERENNIAL, _EARLY, (9, 10), _LEAFY, _COMMON),
    ("Canada thistle", "Cirsium arvense", "broadleaf", _PERENNIAL, _EARLY, (6, 9, 10), _ROSETTE, _COMMON),
    ("curly dock", "Rumex crispus", "broadleaf", _PERENNIAL, _BOTH, (5, 9, 10), _ROSETTE, _COMMON),
    ("yellow woodsorrel", "Oxalis stricta", "broadleaf", _PERENNIAL, (4, 5), (5, 6, 7), _LEAFY, _COMMON),
    ("common chickweed", "Stellaria media", "broadleaf", _WINTER, _FALL, (10, 11, 3), _SEEDLING, _LATE),
    ("henbit", "Lamium amplexicaule", "broadleaf", _WINTER, _FALL, (10, 11, 3), _SEEDLING, _LATE),
    ("corn speedwell", "Veronica arvensis", "broadleaf", _WINTER, _FALL, (10, 11, 3), _SEEDLING, _LATE),
    ("prostrate knotweed", "Polygonum aviculare", "broadleaf", _SUMMER, (3, 4), _EARLY, _SEEDLING, _COMMON),
    ("black medic", "Medicago lupulina", "broadleaf", _SUMMER, _EARLY, (5, 6), _SEEDLING, _COMMON),
    ("prostrate spurge", "Euphorbia maculata", "broadleaf", _SUMMER, (5, 6), (6, 7), _SEEDLING, _COMMON),
    ("common purslane", "Portulaca oleracea", "broadleaf", _SUMMER, (5, 6), (6, 7), _SEEDLING, _COMMON),
    ("smooth crabgrass", "Digitaria ischaemum", "grass", _SUMMER, (4, 5, 6), (5, 6, 7), _SEEDLING, _FIDANZA),
    ("large crabgrass", "Digitaria sanguinalis", "grass", _SUMMER, (4, 5), (5, 6, 7), _SEEDLING, _COMMON),
    ("goosegrass", "Eleusine indica", "grass", _SUMMER, (5, 6, 7), (6, 7), _SEEDLING, _COMMON),
    ("annual bluegrass", "Poa annua", "grass", _WINTER, _FALL, (10, 11), _SEEDLING, _CLEMSON),
    ("dallisgrass", "Paspalum dilatatum", "grass", _PERENNIAL, (4, 5), (5, 6, 9, 10), _LEAFY, _COMMON),
    ("nimblewill", "Muhlenbergia schreberi", "grass", _PERENNIAL, (5, 6), (6, 7, 8), _LEAFY, _COMMON),
    ("yellow nutsedge", "Cyperus esculentus", "sedge", _PERENNIAL, (5, 6), (6, 7), ("vegetative",), _COMMON),
)  # fmt: skip

WEEDS: dict[str, Weed] = {row[0]: Weed(*row) for row in _TABLE}


def find_weed(name: str) -> Weed:
    """Look a weed up by its common or scientific name; case, hyphens and underscores do not matter.

    Parameters
    ----------
    name : str
        Common or scientific name.

    Returns
    -------
    Weed

    Raises
    ------
    UnknownWeed
        When neither name is in the table; the message proposes the nearest one.
    """
    wanted = " ".join(str(name).replace("-", " ").replace("_", " ").lower().split())
    for row in WEEDS.values():
        if wanted in (row.common_name.lower(), row.scientific_name.lower()):
            return row
    names = [*WEEDS, *(row.scientific_name for row in WEEDS.values())]
    hint = did_you_mean(wanted, names) or f"known: {', '.join(WEEDS)}"
    raise UnknownWeed(f"Weed {name!r} is not in the table ({hint}); treat it by its label alone.")


def active_from(life_cycle: str | None, month, southern: bool = False):
    """Least daily maximum at which a weed counts as growing, 60 degF, 50 in autumn; extension guidance.

    Parameters
    ----------
    life_cycle : str or None
        As in :class:`Weed`; None or "summer-annual" never gets the lower limit.
    month : array_like
        Month of the day, 1 to 12.
    southern : bool
        The site lies in the southern hemisphere: all months are six later.

    Returns
    -------
    numpy.ndarray or float
        Limit [degC]; NaN where the month is missing.

    Notes
    -----
    The lower limit is for weeds that live through the winter, in September to November: then perennials
    move food, and a treatment with it, to their roots.

    References
    ----------
    Virginia turf extension (vaturf.org): best above 60 degF with moisture, erratic below 50 degF. K-State
    extension: choose a day of 50 degF or more in autumn.
    """
    months = _calendar(month, southern)
    lenient = np.isin(months, AUTUMN_MONTHS) & (life_cycle not in (None, _SUMMER))
    limit = np.where(lenient, ACTIVE_FROM_AUTUMN, ACTIVE_FROM)
    return np.where(np.isnan(months), np.nan, limit).astype(months.dtype)[()]


def _calendar(month, southern: bool) -> np.ndarray:
    months = as_floats(month)
    possible = (months >= 1) & (months <= 12) & (months == np.floor(months))
    months = np.where(possible, months, np.nan)
    return np.mod(months + 5, 12) + 1 if southern else months


def is_young_and_active(weed: Weed, month, daily_maximum, southern: bool = False, stage: str | None = None):
    """Whether a weed is at a stage worth treating and growing: its months, and :func:`active_from`.

    Parameters
    ----------
    weed : Weed
        From :func:`find_weed`.
    month : array_like, shape (..., day)
        Month of the day, 1 to 12.
    daily_maximum : array_like, shape (..., day)
        Highest air temperature of the day [degC].
    southern : bool
        The site lies in the southern hemisphere: all months are six later.
    stage : str, optional
        The stage that somebody saw on the spot; it stands in for the months.

    Returns
    -------
    numpy.ndarray or float
        1.0 for yes, 0.0 for no; NaN where the month is missing, or where the temperature is missing in a
        month that would do.

    References
    ----------
    The table's own sources for the months, :func:`active_from` for the temperature.
    """
    calendar, warmest = as_floats(month, daily_maximum)
    months = _calendar(calendar, southern)
    fits = (
        np.isin(months, weed.treat) if stage is None else np.broadcast_to(stage in weed.stages, months.shape)
    )
    warm = within(warmest, at_least=active_from(weed.life_cycle, calendar, southern))
    answer = np.where(fits, np.where(warm.known, warm.holds.astype(float), np.nan), 0.0)
    return np.where(np.isnan(months), np.nan, answer).astype(calendar.dtype)[()]
