"""Reasons: what each rule found at a start, in numbers and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from advisor import units, warnings_in_force
from advisor.area_conditions import AreaConditions
from advisor.clock import local_text
from advisor.explain.cells import median, medians, members_at, number_at, or_none
from advisor.explain.unknowns import why_unknown
from advisor.logic import within
from advisor.rulebook.evaluate import Finding, measured, nights_of_tasks, span_offsets
from advisor.rulebook.quantities import QUANTITIES, Quantity
from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS, Verdicts, promised

#: what is told first
_ORDER = {NO_GO: 0, UNKNOWN: 1, GO: 2}
#: dimensions whose distance to a limit has no spread to be measured by
_NO_HEADROOM = ("truth", "count", "time", "application_rate")
#: where values one standard spread below and above the middle lie among normal ones
_ONE_SPREAD = (0.1587, 0.8413)
#: counted as just enough under a heating sun: a distance of 0 to its limit then says yes, and no more than that
_COUNTED_AS_ENOUGH = "mixing_wind"


@dataclass(frozen=True, slots=True)
class RuleReason:
    """What one rule says of one start, in SI; `text` is for people.

    `value` is the median over members, `headroom` the margin that decides at the rule's floor, `at` the hour of the
    value that decides. None where it is not known or has no meaning.
    """

    rule: str
    title: str
    kind: str
    verdict: str
    at: np.datetime64 | None
    value: float | None
    limit: float | None
    dimension: str
    headroom: float | None
    #: headroom in multiples of the spread, for ranking
    standing: float
    chance: float
    chance_upper: float
    text: str
    anyway: str
    source: str
    estimated: bool
    neighbour: str = ""
    #: what is missing, in a few words, where the verdict is unknown
    missing: str = ""


def difference(dimension: str) -> str:
    """The dimension of a distance between two values: degrees of difference for temperatures."""
    return "temperature_difference" if dimension == "temperature" else dimension


class Explainer:
    """Explains the starts of one evaluated outlook; a bundle of what explanations need."""

    def __init__(self, findings: Sequence[Finding], verdicts: Verdicts, area: AreaConditions, lead_hours: np.ndarray,
                 floors: Mapping[str, float], horizon_hours: float, system: str):  # fmt: skip
        self.findings, self.verdicts, self.area = findings, verdicts, area
        self.lead_hours, self.floors, self.horizon_hours, self.system = (
            lead_hours,
            floors,
            horizon_hours,
            system,
        )
        self.nominal = area.conditions.forecast.nominal_members
        self._codes: dict[int, np.ndarray] = {}
        self._spreads: dict[str, np.ndarray] = {}

    # one start --------------------------------------------------------------------------------------------------

    def reasons(self, task: int, hour: int, *codes: int) -> list[RuleReason]:
        """What every applying rule says of one start: what blocks first, then the tightest.

        `codes` asks only for the rules with these verdicts.
        """
        wanted = codes or tuple(_ORDER)
        found = [
            self.reason(at, task, hour) for at in self._applying(task) if self.code(at, task, hour) in wanted
        ]
        order = {VERDICT_WORDS[code]: place for code, place in _ORDER.items()}
        return sorted(found, key=lambda reason: (order[reason.verdict], reason.standing, reason.rule))

    def tightest(self, task: int, hour: int) -> RuleReason | None:
        """The first of the reasons."""
        codes = {at: self.code(at, task, hour) for at in self._applying(task)}
        worst = min(codes.values(), key=_ORDER.__getitem__, default=GO)

        def place(at: int) -> tuple[float, str]:
            return self._assess(at, task, hour)[3], self.findings[at].rule.id

        first = min((at for at, code in codes.items() if code == worst), key=place, default=None)
        return None if first is None else self.reason(first, task, hour)

    def nearest(self, task: int, hours: np.ndarray) -> int:
        """The start that is most likely, then the one with the fewest failing rules, then with most headroom."""
        lower = self.verdicts.everything.lower[task, hours]
        hours = hours[lower == lower.max()]
        codes = self.codes(task)[self._applying(task)]
        for code in (NO_GO, UNKNOWN):
            count = (codes[:, hours] == code).sum(axis=0)
            hours = hours[count == count.min()]
        if len(hours) == 1:
            return int(hours[0])
        return int(max(hours, key=lambda hour: (self._least_standing(task, hour), -hour)))

    def _least_standing(self, task: int, hour: int) -> float:
        """Of the rules that are not kept, since one that is stands better than any of them; of all where all are."""
        rules = self._applying(task)
        open_ones = [at for at in rules if self.code(at, task, hour) != GO]
        return min((self._assess(at, task, hour)[3] for at in open_ones or rules), default=0.0)

    def _applying(self, task: int) -> list[int]:
        return [at for at, finding in enumerate(self.findings) if finding.applies[task]]

    def _assess(self, at: int, task: int, hour: int) -> tuple[int, float, float | None, float]:
        """(verdict, median value, headroom, headroom in multiples of the spread) of one rule at one start."""
        finding = self.findings[at]
        quantity = QUANTITIES[finding.rule.measure.quantity]
        floor = self.verdicts.floors[at, task]
        code = self.code(at, task, hour)
        values = members_at(finding.value, task, hour)
        headroom = self._headroom(finding, task, hour, floor)
        summed = finding.rule.measure.take == "sum"
        spread = self._spread(quantity, values, hour, summed)
        # dates, answers of yes or no, and sums without spread have no headroom and rank by their chance
        counted = quantity.name == _COUNTED_AS_ENOUGH and headroom is not None and abs(headroom) < 1e-9
        if counted or quantity.dimension in _NO_HEADROOM or (summed and not spread > 0):
            headroom = None
        if headroom is not None and spread > 0:
            return code, median(values), headroom, headroom / spread
        chance = number_at(self.verdicts.rules[at].lower, task, hour)
        return (
            code,
            median(values),
            headroom,
            _standing(chance, floor or self.verdicts.everything_floor, code),
        )

    def reason(self, at: int, task: int, hour: int) -> RuleReason:
        finding = self.findings[at]
        rule, quantity = finding.rule, QUANTITIES[finding.rule.measure.quantity]
        chance = self.verdicts.rules[at]
        code, value, headroom, standing = self._assess(at, task, hour)
        verdict = VERDICT_WORDS[code]
        reason = RuleReason(
            rule=rule.id, title=rule.title, kind=finding.kind(task), verdict=verdict,
            at=self._deciding_hour(finding, quantity, task, hour), value=or_none(value),
            limit=or_none(self._limit(finding, task, value)), dimension=self.dimension(quantity, task),
            headroom=or_none(headroom), standing=standing, chance=number_at(chance.lower, task, hour),
            chance_upper=number_at(chance.upper, task, hour), text="", anyway=rule.words["anyway"],
            source=self._source(finding, task), estimated=bool(members_at(finding.estimated, task, hour).any()),
            neighbour=self._neighbour(finding, task, hour),
        )  # fmt: skip
        if verdict == "unknown":
            span = self.span_hours(finding, task, hour)
            all_known = abs(reason.chance_upper - reason.chance) < 1e-9
            missing, text = why_unknown(self.area, finding, task, span, all_known)
            return replace(reason, missing=missing, text=text)
        return replace(reason, text=self._text(finding, reason, task, hour))

    def code(self, at: int, task: int, hour: int) -> int:
        """GO, NO_GO or UNKNOWN of one rule at one start, by its floor."""
        return int(self.codes(task)[at, hour])

    def codes(self, task: int) -> np.ndarray:
        """GO, NO_GO or UNKNOWN of every rule at every start of a task (finding, hour), by its floor."""
        if task not in self._codes:
            shape = (len(self.findings), len(self.lead_hours))
            lower, upper = np.empty(shape), np.empty(shape)
            for at, chance in enumerate(self.verdicts.rules):
                row = task if len(chance.lower) > 1 else 0
                lower[at], upper[at] = chance.lower[row], chance.upper[row]
            floors = self.verdicts.floors[:, task]
            wanted = np.where(floors == 0.0, self.verdicts.everything_floor, floors)[:, None] - 1e-9
            self._codes[task] = np.where(lower >= wanted, GO, np.where(upper < wanted, NO_GO, UNKNOWN))
        return self._codes[task]

    def _headroom(self, finding: Finding, task: int, hour: int, floor: float) -> float | None:
        """The margin that at least `floor` of the nominal members keep; None where too few are known."""
        margins = finding.margin_at(task, hour)
        complete = members_at(finding.outcome.known, task, hour)
        margins = np.where(complete & ~np.isnan(margins), margins, -np.inf)
        members = int(promised(complete.sum(), self.nominal[hour])) if len(margins) > 1 else 1
        floor = floor or self.verdicts.everything_floor
        wanted = max(int(np.ceil(floor * members - 1e-9)), 1)
        if wanted > len(margins):
            return None
        decisive = np.sort(margins)[::-1][wanted - 1]
        return float(decisive) if np.isfinite(decisive) else None

    def _spread(self, quantity: Quantity, values: np.ndarray, hour: int, summed: bool) -> float:
        """The larger of the members' and the assumed one; a sum of rain has none where five members in six agree."""
        assumed = float(self._assumed_spread(quantity)[hour])
        known = values[np.isfinite(values)]
        if len(known) < 2:
            return assumed
        if summed:
            low, high = np.quantile(known, _ONE_SPREAD)
            return max(float(high - low) / 2.0, assumed)
        return max(float(known.std()), assumed)

    def _assumed_spread(self, quantity: Quantity) -> np.ndarray:
        """At every start (hour,), 0 where a quantity has none."""
        if quantity.name not in self._spreads:
            spread = np.nan_to_num(quantity.assumed_spread(self.lead_hours))
            self._spreads[quantity.name] = np.broadcast_to(spread, self.lead_hours.shape)
        return self._spreads[quantity.name]

    def _limit(self, finding: Finding, task: int, value: float) -> float:
        """The limit that is nearer to the value."""
        limits = [float(side[task]) for side in (finding.at_least, finding.at_most) if side is not None]
        return min(limits, key=lambda limit: abs(value - limit)) if np.isfinite(value) else limits[0]

    def span_hours(self, finding: Finding, task: int, hour: int) -> range:
        """Positions on the axis that the rule looks at for this start; they may lie outside it."""
        measure = finding.rule.measure
        if measure.span == "at-start" or not QUANTITIES[measure.quantity].hourly:
            return range(hour, hour + 1)
        if measure.span == "nights-after":
            first, stop, night_of = nights_of_tasks(self.area)
            night = int(night_of[task, hour])
            last = min(night + measure.count, first.shape[1]) - 1
            if night > last:
                return range(hour, hour + 1)
            return range(int(first[task, night]), int(stop[task, last]))
        offsets = span_offsets(finding.rule, self.area, finding.length)[task]
        return range(hour + int(offsets[0]), hour + int(offsets[1]))

    def _deciding_hour(
        self, finding: Finding, quantity: Quantity, task: int, hour: int
    ) -> np.datetime64 | None:
        take = finding.rule.measure.take
        axis = self.area.conditions.axis
        span = self.span_hours(finding, task, hour)
        if not quantity.hourly or quantity.scope == "task" and finding.rule.measure.span == "at-start":
            return axis[hour]
        series, _ = measured(finding.rule, quantity, self.area)
        values = series.values
        if quantity.scope == "neighbour":
            slot = int(number_at(finding.slot[:, 0], task, hour))
            if slot < 0:
                return None
            values = values[slot]
        stop = span.stop + (1 if series.instant else 0)
        low, high = max(span.start, 0), min(stop, values.shape[-1])
        if low >= high:
            return None
        row = values[task if values.shape[0] > 1 else 0, :, low:high]
        middle = row[0] if len(row) == 1 else medians(row)
        if np.isnan(middle).all():
            return None
        if take == "sum":
            wet = np.flatnonzero(np.nan_to_num(middle) > 0)
            return axis[low + int(wet[0])] if len(wet) else axis[low]
        pick = np.nanargmin(middle) if take in ("min", "all") else np.nanargmax(middle)
        return axis[low + int(pick)]

    def _neighbour(self, finding: Finding, task: int, hour: int) -> str:
        if finding.slot is None:
            return ""
        slot = int(finding.slot[task if finding.slot.shape[0] > 1 else 0, 0, hour])
        return self.area.table.neighbour_names[task][slot] if slot >= 0 else ""

    def dimension(self, quantity: Quantity, task: int) -> str:
        if quantity.dimension != "application_rate":
            return quantity.dimension
        tasks = self.area.table.tasks
        weighed = bool(tasks) and tasks[task].label.formulation != "liquid"
        return "mass_rate" if weighed else "volume_rate"

    def _source(self, finding: Finding, task: int) -> str:
        """Where the limit comes from; where the label gives the time alone, that and where the limit comes from."""
        rule, stated = finding.rule, self.area.table.label
        limits = [one.label for one in (rule.at_most, rule.at_least) if one is not None and one.label]
        span = (
            [rule.measure.length.label]
            if rule.measure.length is not None and rule.measure.length.label
            else []
        )
        from_label = [name for name in limits if not np.isnan(stated[name][task])]
        time_from_label = [name for name in span if not np.isnan(stated[name][task])]
        tasks = self.area.table.tasks
        file = f" ({tasks[task].label.source_file})" if tasks and tasks[task].label.source_file else ""
        if from_label:
            return f"label: {', '.join([*from_label, *time_from_label])}{file}"
        others = [
            one.text if one.kind == "common practice" else f"{one.kind}: {one.text}" for one in rule.sources
        ]
        if time_from_label:
            others.insert(0, f"label, for the time: {', '.join(time_from_label)}{file}")
        return "; ".join(others)

    # words ------------------------------------------------------------------------------------------------------

    def _text(self, finding: Finding, reason: RuleReason, task: int, hour: int) -> str:
        words = finding.rule.words["passes" if reason.verdict == "go" else "fails"]
        show = lambda value: units.show(value, reason.dimension, self.system)  # noqa: E731
        value, change, aside = reason.value, reason.headroom, ""
        if reason.verdict == "no-go" and value is not None and self._inside(finding, task, value):
            # The median keeps the limit and too many members do not: the sentence is about what those reach.
            change = change if change is not None else self._shortfall(finding, task, hour)
            value = reason.limit + (abs(change) if finding.at_most is not None else -abs(change))
            aside = f" Half of the members have {show(reason.value)} or better."
        elif value is not None and reason.limit is not None:
            # the sentence names the median, so the distance that it names is the median's
            change = value - reason.limit
        change = None if change is None else abs(change)
        text = words.format(
            value="no limit" if value is None else show(value),
            limit=show(reason.limit),
            at=self.local(reason.at, task) if reason.at is not None else "then",
            change=units.show(change, difference(reason.dimension), self.system),
            neighbour=_with_article(reason.neighbour or "neighbour"),
            warning=self.warnings(finding, task, hour) if "{warning}" in words else "",
        )
        text = text[:1].upper() + text[1:]
        return text + aside + (" (estimated, the source does not give it)" if reason.estimated else "")

    def warnings(self, finding: Finding, task: int, hour: int) -> str:
        """The official warnings that a start meets, in words."""
        span = self.span_hours(finding, task, hour)
        forecast = self.area.conditions.forecast
        return warnings_in_force.in_words(forecast, span.start, span.stop, self.area.table.zone[task])

    def _inside(self, finding: Finding, task: int, value: float) -> bool:
        low = None if finding.at_least is None else finding.at_least[task]
        high = None if finding.at_most is None else finding.at_most[task]
        return bool(within(value, low, high).holds)

    def _shortfall(self, finding: Finding, task: int, hour: int) -> float:
        """Median distance to the limit among the members that are known to break it."""
        fails = members_at(finding.outcome.fails, task, hour)
        return median(np.broadcast_to(finding.margin_at(task, hour), fails.shape)[fails])

    def local(self, hour: np.datetime64, task: int) -> str:
        """A UTC hour as the person's clock shows it: "Thu 24 Sep 06:00"."""
        return local_text(hour, self.area.table.zone[task])


def _standing(chance: float, floor: float, code: int) -> float:
    """How far a chance lies from its floor, in multiples of a normal spread; without end where it is certain."""
    if not 0.0 < chance < 1.0 or not 0.0 < floor < 1.0:
        return np.inf if code == GO else -np.inf
    return NormalDist().inv_cdf(chance) - NormalDist().inv_cdf(floor)


def _with_article(name: str) -> str:
    """A neighbour's name inside a sentence: "the vegetable bed", but a proper name stays alone."""
    return name if name[:1].isupper() or name.startswith(("the ", "a ", "an ")) else f"the {name}"
