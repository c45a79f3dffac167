"""What a record must hold by 7 CFR 110.3, and what states commonly ask for besides. No legal advice: check your state.

The federal list binds certified applicators of restricted-use products; states enforce it, and many ask the same of
every pass made for hire. Here every pass for hire is held against it, and a householder's is told what is missing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from advisor.mix.conversions import ACRE_M2
from advisor.model import Record
from advisor.recording.details import Details

FEDERAL, STATE = "7 CFR 110.3", "commonly asked for by states"
#: place of the certified applicator in the list of 7 CFR 110.3
CERTIFIED = 5
CHECK_YOUR_STATE = "The label and your state's rules come first: check your state."
#: the short list of a spot application holds below this area in one day [m²]: 1/10 acre (7 CFR 110.3)
SPOT_BELOW = ACRE_M2 / 10.0


@dataclass(frozen=True, slots=True)
class Element:
    """One thing that a record must hold. `number` is its place in the list of 7 CFR 110.3."""

    name: str
    says: str
    present: Callable[[Record, Details], bool]
    source: str = FEDERAL
    number: int = 0
    #: whether the short list of a spot application asks for it too
    spot: bool = True
    #: asked for only where somebody works for hire
    hire_only: bool = False


ELEMENTS: tuple[Element, ...] = (
    Element("product", "the product's name", lambda r, d: bool(r.product.strip()), number=1),
    Element("registration_number", "its EPA registration number", lambda r, d: bool(d.registration_number), number=1),
    Element("amount", "the total amount of product, not of mix", lambda r, d: r.amount is not None, number=2),
    Element("location", "where it was applied", lambda r, d: bool(d.location), number=3),
    Element("size", "the size of the area treated", lambda r, d: r.size is not None, number=3, spot=False),
    Element("site", "the crop, commodity or kind of site", lambda r, d: bool(d.site_use or d.turf), number=3,
            spot=False),
    Element("date", "month, day and year", lambda r, d: r.started_at is not None, number=4),
    Element("certified_name", "the certified applicator's name", lambda r, d: bool(d.certified_name), number=CERTIFIED,
            spot=False),
    Element("certified_number", "the certified applicator's number", lambda r, d: bool(d.certified_number),
            number=CERTIFIED, spot=False),
    Element("start_and_end", "the times of start and end", lambda r, d: r.ended_at is not None, STATE),
    Element("wind_speed", "the wind's speed at the start", lambda r, d: d.weather.has_wind_speed, STATE),
    Element("wind_direction", "the wind's direction at the start",
            lambda r, d: d.weather.wind_from_direction is not None, STATE),
    Element("air_temperature", "the air's temperature", lambda r, d: d.weather.air_temperature is not None, STATE),
    Element("target", "the weeds", lambda r, d: bool(d.target), STATE),
    Element("active_ingredients", "the active ingredients", lambda r, d: bool(r.active_ingredients), STATE),
    Element("method", "how it was applied", lambda r, d: bool(d.method), STATE),
    Element("equipment", "with what", lambda r, d: bool(d.equipment), STATE),
    Element("mix_volume", "the volume of finished spray", lambda r, d: d.mix_volume is not None, STATE),
    Element("who", "who applied it", lambda r, d: bool(r.who.strip()), STATE),
    Element("re_entry", "when people may go back", lambda r, d: bool(d.re_entry), STATE),
    Element("licence_number", "the licence of who applied it", lambda r, d: bool(d.licence_number), STATE,
            hire_only=True),
    Element("customer", "the customer's name", lambda r, d: bool(d.customer), STATE, hire_only=True),
    Element("customer_address", "the customer's address", lambda r, d: bool(d.customer_address), STATE,
            hire_only=True),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Completeness:
    """What is missing in a record. `binding` says that the federal list binds it: restricted, or for hire."""

    binding: bool
    spot: bool
    federal: tuple[Element, ...]
    state: tuple[Element, ...]

    @property
    def complete(self) -> bool:
        """Whether the record may stand as it is where the federal list binds."""
        return not (self.binding and self.federal)


def completeness(
    record: Record, details: Details, same_day: Sequence[Record] = (), zone: ZoneInfo | None = None
) -> Completeness:
    """Hold a record against both lists.

    Parameters
    ----------
    same_day : sequence of Record
        Other records; those of the same local day and product count towards the tenth of an acre of a spot list.

    References
    ----------
    7 CFR 110.3 (five elements; a shorter list for spot applications of less than 1/10 acre in a day). What the short
    list leaves out is from memory.
    """
    spot = details.method == "spot" and _sprayed_that_day(record, same_day, zone) < SPOT_BELOW * (1.0 - 1e-9)
    wanted = [one for one in ELEMENTS if (one.spot or not spot) and (details.for_hire or not one.hire_only)]
    # the certified applicator is asked for where a product is restricted; for hire the licence may stand for it
    missing = [
        one for one in wanted if not one.present(record, details) and not _stands_for(one, record, details)
    ]
    return Completeness(
        details.restricted_use or details.for_hire,
        spot,
        tuple(one for one in missing if one.source == FEDERAL),
        tuple(one for one in missing if one.source == STATE),
    )


def _sprayed_that_day(record: Record, others: Sequence[Record], zone: ZoneInfo | None) -> float:
    """[m²] of the record and of the others with its product on its local day; infinite where a size is not stated."""
    day = record.started_at.astimezone(zone).date()
    product = record.product.strip().casefold()
    total = record.size if record.size is not None else float("inf")
    for other in others:
        same = other.id != record.id and other.product.strip().casefold() == product
        if same and other.started_at.astimezone(zone).date() == day:
            total += other.size if other.size is not None else float("inf")
    return total


def _stands_for(element: Element, record: Record, details: Details) -> bool:
    """Only a restricted product needs a certified applicator; an ordinary one is applied by whom the licence names."""
    if details.restricted_use or element.number != CERTIFIED:
        return False
    if not details.for_hire:
        return True
    return bool(record.who.strip() if element.name == "certified_name" else details.licence_number)
