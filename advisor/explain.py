"""Reasons: what each rule found at a start, what blocks a day, and what would have to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from advisor import units
from advisor.area_conditions import AreaConditions
from advisor.clock import from_numpy
from advisor.forecast import REASON_TEXT, Reason
from advisor.logic import Kleene
from advisor.model import LABEL_QUANTITIES, REQUIRED_LABEL_FIELDS
from advisor.rulebook.evaluate import Finding, measured, nights_of_tasks, span_offsets
from advisor.rulebook.quantities import QUANTITIES, Quantity
from advisor.variables import VARIABLES
from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS, Verdicts, judge_starts


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


@dataclass(frozen=True, slots=True)
class Blocker:
    """A rule that alone keeps a day from being a go, with the least change of its value that would open it."""

    rule: str
    title: str
    change: float | None
    dimension: str
    #: the start that would open
    start: np.datetime64
    text: str


class Explainer:
    """Explains the starts of one evaluated outlook. Holds no state of its own; a bundle of what explanations need."""

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

    # one start --------------------------------------------------------------------------------------------------

    def reasons(self, task: int, hour: int) -> list[RuleReason]:
        """Every applying rule at one start: what blocks first, then the tightest."""
        found = [
            self.reason(at, task, hour) for at, finding in enumerate(self.findings) if finding.applies[task]
        ]
        order = {"no-go": 0, "unknown": 1, "go": 2}
        return sorted(found, key=lambda reason: (order[reason.verdict], reason.standing, reason.rule))

    def rank(self, task: int, hour: int) -> tuple[int, int, float]:
        """(rules that fail, rules that are unknown, least standing) at one start."""
        assessed = [
            self._assess(at, task, hour) for at, finding in enumerate(self.findings) if finding.applies[task]
        ]
        codes = [code for code, _, _, _ in assessed]
        return codes.count(NO_GO), codes.count(UNKNOWN), min((row[3] for row in assessed), default=0.0)

    def _assess(self, at: int, task: int, hour: int) -> tuple[int, float, float | None, float]:
        """(verdict, median value, headroom, headroom in multiples of the spread) of one rule at one start."""
        finding = self.findings[at]
        quantity = QUANTITIES[finding.rule.measure.quantity]
        chance, floor = self.verdicts.rules[at], self.verdicts.floors[at, task]
        code = self._rule_verdict(_cell2(chance.lower, task, hour), _cell2(chance.upper, task, hour), floor)
        values = _cell(finding.value, task, hour)
        headroom = self._headroom(finding, task, hour, floor)
        spread = self._spread(quantity, values, hour)
        if headroom is not None and spread > 0:
            return code, _median(values), headroom, headroom / spread
        if quantity.dimension in ("truth", "count"):
            headroom = None
        return code, _median(values), headroom, np.inf if code == GO else -np.inf

    def reason(self, at: int, task: int, hour: int) -> RuleReason:
        finding = self.findings[at]
        rule, quantity = finding.rule, QUANTITIES[finding.rule.measure.quantity]
        chance = self.verdicts.rules[at]
        code, value, headroom, standing = self._assess(at, task, hour)
        verdict = VERDICT_WORDS[code]
        reason = RuleReason(
            rule=rule.id, title=rule.title, kind=finding.kind(task), verdict=verdict,
            at=self._deciding_hour(finding, quantity, task, hour), value=_or_none(value),
            limit=_or_none(self._limit(finding, task, value)), dimension=self._dimension(quantity, task),
            headroom=_or_none(headroom), standing=standing, chance=_cell2(chance.lower, task, hour),
            chance_upper=_cell2(chance.upper, task, hour), text="", anyway=rule.words["anyway"],
            source=self._source(finding, task), estimated=bool(_cell(finding.estimated, task, hour).any()),
            neighbour=self._neighbour(finding, task, hour),
        )  # fmt: skip
        if verdict == "unknown":
            missing, text = self.unknown(finding, task, hour)
            return replace(reason, missing=missing, text=text)
        return replace(reason, text=self._text(finding, reason, task, hour))

    def _rule_verdict(self, lower: float, upper: float, floor: float) -> int:
        wanted = max(floor, self.verdicts.everything_floor) if floor == 0.0 else floor
        if lower >= wanted - 1e-9:
            return GO
        return NO_GO if upper < wanted - 1e-9 else UNKNOWN

    def _headroom(self, finding: Finding, task: int, hour: int, floor: float) -> float | None:
        """The margin that at least `floor` of the nominal members keep; None where too few are known."""
        margins = finding.margin_at(task, hour)
        complete = _cell(finding.outcome.known, task, hour)
        margins = np.where(complete & ~np.isnan(margins), margins, -np.inf)
        promised = max(int(self.nominal[hour]), len(margins)) if len(margins) > 1 else 1
        floor = floor or self.verdicts.everything_floor
        wanted = max(int(np.ceil(floor * promised - 1e-9)), 1)
        if wanted > len(margins):
            return None
        decisive = np.sort(margins)[::-1][wanted - 1]
        return float(decisive) if np.isfinite(decisive) else None

    def _spread(self, quantity: Quantity, values: np.ndarray, hour: int) -> float:
        assumed = float(np.nan_to_num(quantity.assumed_spread(self.lead_hours[hour])))
        known = values[np.isfinite(values)]
        return max(float(known.std()) if len(known) > 1 else 0.0, assumed)

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
            slot = int(_cell2(finding.slot[:, 0], task, hour))
            if slot < 0:
                return None
            values = values[slot]
        stop = span.stop + (1 if series.instant else 0)
        low, high = max(span.start, 0), min(stop, values.shape[-1])
        if low >= high:
            return None
        row = values[task if values.shape[0] > 1 else 0, :, low:high]
        middle = row[0] if len(row) == 1 else _medians(row)
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

    def _dimension(self, quantity: Quantity, task: int) -> str:
        if quantity.dimension != "application_rate":
            return quantity.dimension
        tasks = self.area.table.tasks
        weighed = bool(tasks) and tasks[task].label.formulation != "liquid"
        return "mass_rate" if weighed else "volume_rate"

    def _source(self, finding: Finding, task: int) -> str:
        if finding.from_label[task]:
            fields = [
                name for name in finding.rule.label_fields if not np.isnan(self.area.table.label[name][task])
            ]
            where = ", ".join(fields)
            tasks = self.area.table.tasks
            return f"label: {where}" + (
                f" ({tasks[task].label.source_file})" if tasks and tasks[task].label.source_file else ""
            )
        return "; ".join(f"{source.kind}: {source.text}" for source in finding.rule.sources)

    # words ------------------------------------------------------------------------------------------------------

    def _text(self, finding: Finding, reason: RuleReason, task: int, hour: int) -> str:
        words = finding.rule.words["passes" if reason.verdict == "go" else "fails"]
        show = lambda value: units.show(value, reason.dimension, self.system)  # noqa: E731
        change = None if reason.headroom is None else abs(reason.headroom)
        difference = "temperature_difference" if reason.dimension == "temperature" else reason.dimension
        text = words.format(
            value="no limit" if reason.value is None else show(reason.value),
            limit=show(reason.limit),
            at=self.local(reason.at, task) if reason.at is not None else "then",
            change=units.show(change, difference, self.system),
            neighbour=reason.neighbour or "the neighbour",
        )
        return text + (" (estimated, the source does not give it)" if reason.estimated else "")

    def local(self, hour: np.datetime64, task: int) -> str:
        """A UTC hour as the person's clock shows it: "Thu 24 Sep 06:00"."""
        return from_numpy(hour).astimezone(self.area.table.zone[task]).strftime("%a %-d %b %H:%M")

    def unknown(self, finding: Finding, task: int, hour: int) -> tuple[str, str]:
        """(what is missing in a few words, why): a blank label, missing weather, an unstated fact, or too early."""
        rule = finding.rule
        table = self.area.table
        if finding.blank[task]:
            blank = [name for name in rule.label_fields if np.isnan(table.label[name][task])]
            names = " and ".join(f'"{name}"' for name in blank)
            return f"label field {names}", (
                f"The label file leaves {names} blank ({_what(blank[0])}): copy it from the product's label.")  # fmt: skip
        name, missing = self.missing_weather(finding, task, hour)
        if missing:
            return name, f"Not known: {missing}."
        note = table.notes.get((rule.measure.quantity, task))
        if note:
            return rule.title.lower(), f"Not known: {note}."
        return rule.title.lower(), f"Too close to call this far ahead: {rule.words['asks']}"

    def missing_weather(self, finding: Finding, task: int, hour: int) -> tuple[str, str]:
        """(variable, from when and why it is missing over the span); empty when none is."""
        forecast, axis = self.area.conditions.forecast, self.area.conditions.axis
        quantity = QUANTITIES[finding.rule.measure.quantity]
        span = self.span_hours(finding, task, hour)
        site = int(table_site) if (table_site := self.area.table.site[task]) < forecast.sites else 0
        told = []
        for name in quantity.inputs:
            if name not in forecast.fields:
                # an input that the quantity can do without is no reason
                if name in ("dew_point", "relative_humidity") and {"dew_point", "relative_humidity"} & set(
                    forecast.fields
                ):
                    continue
                told.append(
                    (0, VARIABLES[name].says, f"{VARIABLES[name].says}: {REASON_TEXT[Reason.NOT_CARRIED]}")
                )
                continue
            reasons = forecast.reason(name)
            row = reasons[site if reasons.shape[0] > 1 else 0, 0]
            stop = span.stop + (1 if VARIABLES[name].kind == "instant" else 0)
            low, high = max(span.start, 0), min(stop, len(row))
            unknown = np.flatnonzero(row[low:high])
            if len(unknown):
                first = low + int(unknown[0])
                told.append(
                    (
                        2,
                        VARIABLES[name].says,
                        f"{VARIABLES[name].says} from {self.local(axis[first], task)}: {REASON_TEXT[Reason(int(row[first]))]}",
                    )
                )
            elif stop > len(row):
                end = axis[-1] + np.timedelta64(1, "h")
                told.append(
                    (
                        2,
                        VARIABLES[name].says,
                        f"{VARIABLES[name].says} after {self.local(end, task)}: {REASON_TEXT[Reason.AFTER_END]}",
                    )
                )
            elif span.start < 0:
                told.append(
                    (
                        1,
                        VARIABLES[name].says,
                        f"{VARIABLES[name].says} before {self.local(axis[0], task)}: {REASON_TEXT[Reason.BEFORE_START]}",
                    )
                )
        return max(told, key=lambda row: row[0])[1:] if told else ("", "")

    # a day ------------------------------------------------------------------------------------------------------

    def blockers(self, task: int, starts: Sequence[int]) -> tuple[list[str], list[Blocker]]:
        """(rules that fail at every one of the starts, rules that alone would open the day).

        A sole blocker is a rule whose limit, relaxed alone, makes some start go; the change is the least that does it.
        """
        starts = list(starts)
        if not starts:
            return [], []
        always, sole = [], []
        for at, finding in enumerate(self.findings):
            if not finding.applies[task]:
                continue
            failing = [self._fails(at, task, hour) for hour in starts]
            if all(failing):
                always.append(finding.rule.id)
            if any(failing) and not bool((self.verdicts.verdict[task, starts] == GO).any()):
                blocker = self._sole(at, task, starts)
                if blocker:
                    sole.append(blocker)
        return always, sole

    def _fails(self, at: int, task: int, hour: int) -> bool:
        chance, floor = self.verdicts.rules[at], self.verdicts.floors[at, task]
        return (
            self._rule_verdict(_cell2(chance.lower, task, hour), _cell2(chance.upper, task, hour), floor)
            == NO_GO
        )

    def _sole(self, at: int, task: int, starts: list[int]) -> Blocker | None:
        relaxed = [_slice(finding, task, starts) for finding in self.findings]
        mine = relaxed[at]
        yes = np.ones_like(mine.outcome.holds)
        relaxed[at] = replace(mine, outcome=Kleene(yes, yes))
        nominal = self.nominal[starts]
        again = judge_starts(
            relaxed,
            nominal,
            self.lead_hours[starts],
            self.floors,
            self.horizon_hours,
            self.verdicts.everything_floor,
        )
        opened = np.flatnonzero(again.verdict[0] == GO)
        if not len(opened):
            return None
        others_hold = np.ones((1, 1, len(starts)), dtype=bool)
        for other, finding in enumerate(relaxed):
            if other != at:
                others_hold = others_hold & finding.outcome.holds
        margins = mine.margin()
        best: tuple[float, int] | None = None
        for position in opened:
            change = self._least_change(
                at, task, margins[0, :, position], others_hold[0, :, position], int(nominal[position])
            )
            if change is not None and (best is None or change < best[0]):
                best = (change, int(position))
        rule = mine.rule
        quantity = QUANTITIES[rule.measure.quantity]
        axis = self.area.conditions.axis
        start = axis[starts[best[1] if best else int(opened[0])]]
        if best is None or quantity.dimension in ("truth", "count") or not np.isfinite(best[0]):
            return Blocker(rule.id, rule.title, None, quantity.dimension, start,
                           f"{rule.title} alone stands in the way of {self.local(start, task)}.")  # fmt: skip
        dimension = (
            "temperature_difference"
            if quantity.dimension == "temperature"
            else self._dimension(quantity, task)
        )
        sense = "less" if mine.at_most is not None else "more"
        amount = units.show(
            best[0], dimension, self.system, decimals=_enough_decimals(best[0], dimension, self.system)
        )
        return Blocker(rule.id, rule.title, best[0], dimension, start,
                       f"{rule.title} alone stands in the way: with {amount} {sense}, {self.local(start, task)} would be a go.")  # fmt: skip

    def _least_change(
        self, at: int, task: int, margins: np.ndarray, others: np.ndarray, nominal: int
    ) -> float | None:
        """The k-th smallest shortfall among members in which the other rules hold, also meeting the rule's own floor."""
        shortfall = np.maximum(-margins, 0.0)
        shortfall = np.where(np.isnan(shortfall), np.inf, shortfall)
        members = max(len(shortfall), len(others))
        shortfall, others = np.broadcast_to(shortfall, members), np.broadcast_to(others, members)
        promised = max(nominal, members) if members > 1 else 1
        changes = []
        for floor, pool in (
            (self.verdicts.everything_floor, shortfall[others]),
            (self.verdicts.floors[at, task], shortfall),
        ):
            wanted = max(int(np.ceil(floor * promised - 1e-9)), 1)
            if wanted > len(pool):
                return None
            changes.append(float(np.sort(pool)[wanted - 1]))
        return max(changes)


def _slice(finding: Finding, task: int, starts: list[int]) -> Finding:
    """The finding of one task at some starts only."""

    def pick(values):
        return values[task if values.shape[0] > 1 else 0][None][..., starts]

    def row(values):
        return values if values is None else values[task : task + 1]

    return replace(
        finding, applies=row(finding.applies), value=pick(finding.value), at_least=row(finding.at_least),
        at_most=row(finding.at_most), outcome=Kleene(pick(finding.outcome.holds), pick(finding.outcome.known)),
        from_label=row(finding.from_label), blank=row(finding.blank), length=row(finding.length), slot=None,
        estimated=np.zeros((1, 1, 1), dtype=bool),
    )  # fmt: skip


def _cell(values: np.ndarray, task: int, hour: int) -> np.ndarray:
    """Members of one task and hour."""
    return values[task if values.shape[0] > 1 else 0, :, hour if values.shape[-1] > 1 else 0]


def _cell2(values: np.ndarray, task: int, hour: int) -> float:
    return float(values[task if values.shape[0] > 1 else 0, hour])


def _median(values: np.ndarray) -> float:
    """Median of the known members; infinite where a ledger knows no bound, NaN where nothing is known."""
    if len(values) == 1:
        return float(values[0])
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else np.nan


def _medians(rows: np.ndarray) -> np.ndarray:
    """Median over members (member, hour), NaN where none is known."""
    known = ~np.isnan(rows).all(axis=0)
    out = np.full(rows.shape[1], np.nan)
    out[known] = np.nanmedian(rows[:, known], axis=0)
    return out


def _or_none(value) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)


def _what(name: str) -> str:
    if name in REQUIRED_LABEL_FIELDS:
        return REQUIRED_LABEL_FIELDS[name][1]
    return LABEL_QUANTITIES[name].replace("_", " ")


def _enough_decimals(value: float, dimension: str, system: str) -> int:
    """Decimals that do not round a needed change to nothing."""
    places = max(units.display_decimals(dimension, system), 1)
    number, _ = units.to_display(value, dimension, system)
    while places < 4 and round(number, places) == 0.0 and number > 0:
        places += 1
    return places
