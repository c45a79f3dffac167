"""What a rule is: one measurable condition with a limit. Frozen values; the text form is in `parse`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from advisor.model import NeighbourKind
from advisor.rulebook.spans import Take
from advisor.toml_lines import Lines

Kind = Literal["safety", "label", "effect"]
Span = Literal["before", "work", "after", "work+after", "nights-after", "at-start"]
Verdict = Literal["go", "no-go", "unknown"]

KINDS = ("safety", "label", "effect")
MODES = ("foliar", "soil", "both")
SPANS = ("before", "work", "after", "work+after", "nights-after", "at-start")
TAKES = ("min", "max", "sum", "mean", "any", "all", "last")
FOR_EACH = ("neighbour",)
MISSING_LABEL = ("default", "block", "not-applicable")
SOURCE_KINDS = ("label", "publication", "standard", "regulation", "common practice")

_YES_OR_NO = ("yes", "no")
#: fact -> what a guard may compare it with
GUARD_VALUES: dict[str, tuple[str, ...]] = {
    "treatment.method": ("broadcast", "spot"),
    "treatment.mode": MODES,
    "target.life_cycle": ("perennial", "biennial", "winter-annual", "summer-annual"),
    "season": ("spring", "summer", "autumn", "winter"),
    "target.hardy_in_autumn": _YES_OR_NO,
    "label.volatile": _YES_OR_NO,
    "label.root_active": _YES_OR_NO,
    "label.restricted_use": _YES_OR_NO,
    "household.for_hire": _YES_OR_NO,
    "household.warnings": _YES_OR_NO,
    "area.slope": ("flat", "gentle", "steep"),
    "area.turf_season": ("cool-season", "warm-season"),
    "area.newly_seeded": _YES_OR_NO,
    "area.seeding_planned": _YES_OR_NO,
    "label.ingredient_maximum": _YES_OR_NO,
    "season.autumn": _YES_OR_NO,
    "label.names_stages": _YES_OR_NO,
    "area.green_stated": _YES_OR_NO,
    "area.flowers_stated": _YES_OR_NO,
    "area.sensitive_near": _YES_OR_NO,
    "neighbour.kind": get_args(NeighbourKind),
    "neighbour.sensitivity": ("ordinary", "high"),
    "neighbour.drift": _YES_OR_NO,
}


@dataclass(frozen=True, slots=True)
class Setting:
    """A number in the canonical unit, that a label field may replace.

    `default` None means that only the label can say it. `cap` is where a label's loosening ends.
    """

    default: float | None
    label: str | None = None
    cap: float | None = None


@dataclass(frozen=True, slots=True)
class Measure:
    quantity: str
    span: Span
    take: Take
    for_each: str | None = None
    #: [h]
    length: Setting | None = None
    count: int = 1


@dataclass(frozen=True, slots=True)
class Source:
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Example:
    """Given what the measured quantity does around the start, the expected outcome.

    `given` holds (first hour, stop hour, value) relative to the start, later entries over earlier ones; a value of
    None is unknown. `label` and `work` are canonical.
    """

    says: str
    given: tuple[tuple[int, int, float | None], ...]
    expect: Verdict
    label: Mapping[str, float] = field(default_factory=dict)
    work: float = 1.0
    #: the lines of its file, and its own path there
    place: tuple[Lines, tuple] = field(default=(Lines(), ()), compare=False)

    @property
    def line(self) -> int:
        lines, path = self.place
        return lines.of(path)


@dataclass(frozen=True, slots=True)
class Rule:
    id: str
    title: str
    kind: Kind
    modes: tuple[str, ...]
    applies: Mapping[str, str]
    measure: Measure
    at_least: Setting | None
    at_most: Setting | None
    #: what happens when the label does not state a field this rule may take from it
    missing_label: Literal["default", "block", "not-applicable"]
    #: quantity that stands in where the weather is missing; None leaves it unknown
    estimate: str | None
    words: Mapping[str, str]
    sources: tuple[Source, ...]
    examples: tuple[Example, ...]
    #: the rule's own chance floor; None takes the floor of its kind
    floor: float | None = None
    #: where it was read: "rules/nights.toml"
    path: str = ""

    @property
    def label_fields(self) -> tuple[str, ...]:
        settings = (self.at_most, self.at_least, self.measure.length)
        return tuple(setting.label for setting in settings if setting is not None and setting.label)
