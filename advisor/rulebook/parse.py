"""TOML text of a rule to a `Rule`, with every fault collected as file:line, what, why and what to write."""

from __future__ import annotations

import re
from collections.abc import Mapping

from advisor import units
from advisor.errors import InvalidFile, Problem, did_you_mean
from advisor.model import LABEL_QUANTITIES, RATE_FIELDS
from advisor.rulebook import schema
from advisor.rulebook.quantities import QUANTITIES, Quantity
from advisor.rulebook.schema import Example, Measure, Rule, Setting, Source
from advisor.task_table import FACTS, NEIGHBOUR_FACTS
from advisor.toml_lines import Lines, NotToml
from advisor.toml_lines import read as read_text

_ID = re.compile(r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")
_KEYS = {
    "": (
        "id",
        "title",
        "kind",
        "modes",
        "floor",
        "applies",
        "measure",
        "limit",
        "missing",
        "words",
        "source",
        "example",
    ),
    "measure": ("quantity", "for_each", "span", "length", "count", "take"),
    "limit": ("at_least", "at_most"),
    "setting": ("label", "default", "cap"),
    "missing": ("label", "weather"),
    "words": ("asks", "passes", "fails", "anyway"),
    "source": ("kind", "text"),
    "example": ("says", "given", "label", "work", "expect"),
}
_HOURS = re.compile(r"^(-?\d{1,4})(?:\.\.(-?\d{1,4}))?$")
#: nights that a rule may ask for; no forecast knows more
_MOST_NIGHTS = 14
#: hours around the start that an example covers when it gives one value
EXAMPLE_SPAN = (-48, 96)


def parse_rule(text: str, path: str) -> Rule:
    """Read one rule.

    Raises
    ------
    InvalidFile
        With one problem for each fault in the text.
    """
    return _Parser(text, path).rule()


class _Parser:
    def __init__(self, text: str, path: str):
        self.path = path
        self.problems: list[Problem] = []
        try:
            self.data = read_text(text)
        except NotToml as error:
            line = re.search(r"line (\d+)", str(error))
            where = f"{path}:{line.group(1)}" if line else path
            raise InvalidFile("this is not valid TOML: " + str(error), where=where) from error
        self.lines = Lines(text)

    def fault(self, key: tuple, what: str, hint: str = "") -> None:
        self.problems.append(Problem(what, f"{self.path}:{self.lines.of(key)}", hint))

    def rule(self) -> Rule:
        data = self.data
        self.unknown_keys(data, (), _KEYS[""])
        quantity = self.quantity()
        missing = self.table(data, ("missing",))
        self.unknown_keys(missing, ("missing",), _KEYS["missing"])
        fields = {
            "id": self.word(data, ("id",), required=True),
            "title": self.word(data, ("title",), required=True),
            "kind": self.choice(data, ("kind",), schema.KINDS),
            "modes": self.modes(),
            "measure": self.measure(quantity),
            "missing_label": self.choice(missing, ("missing", "label"), schema.MISSING_LABEL, "default"),
            "estimate": self.estimate(missing, quantity),
            "words": self.words(),
            "sources": self.sources(),
            "floor": self.floor(),
            "path": self.path,
        }
        fields["applies"] = self.applies(fields["measure"].for_each)
        limits = self.table(data, ("limit",), required=True)
        self.unknown_keys(limits, ("limit",), _KEYS["limit"])
        dimension = quantity.dimension if quantity else None
        for side in ("at_least", "at_most"):
            fields[side] = self.setting(limits, ("limit", side), dimension)
        if isinstance(data.get("limit"), dict) and not (fields["at_least"] or fields["at_most"]):
            self.fault(("limit",), "a limit needs at_least or at_most")
        fields["examples"] = self.examples(dimension)
        if fields["id"] and not _ID.match(fields["id"]):
            self.fault(
                ("id",),
                f'"{fields["id"]}" is no rule id',
                'use small letters and hyphens, like "wind-strong"',
            )
        if self.problems:
            raise InvalidFile(f"{self.path} is not a valid rule", problems=self.problems)
        return Rule(**fields)

    # pieces -----------------------------------------------------------------------------------------------------

    def table(self, data: Mapping, key: tuple, required: bool = False) -> Mapping:
        value = data.get(key[-1])
        if value is None:
            if required:
                self.fault(key[:-1], f"[{key[-1]}] is missing")
            return {}
        if not isinstance(value, dict):
            self.fault(key, f"{key[-1]} must be a table")
            return {}
        return value

    def unknown_keys(self, data: Mapping, key: tuple, known) -> None:
        for name in data:
            if name not in known:
                self.fault((*key, name), f'"{name}" is not a key here', did_you_mean(name, known))

    def word(self, data: Mapping, key: tuple, required: bool = False) -> str:
        value = data.get(key[-1], "")
        if not isinstance(value, str):
            self.fault(key, f"{key[-1]} must be text")
            return ""
        if required and not value.strip():
            self.fault(key, f"{key[-1]} is missing")
        return value

    def choice(self, data: Mapping, key: tuple, known, default: str | None = None) -> str:
        if key[-1] not in data and default is not None:
            return default
        value = self.word(data, key, required=True)
        if value and value not in known:
            self.fault(key, f'{key[-1]} "{value}" is not known', did_you_mean(value, known))
        return value

    def modes(self) -> tuple[str, ...]:
        value = self.data.get("modes", list(schema.MODES))
        if not isinstance(value, list) or not value or any(mode not in schema.MODES for mode in value):
            self.fault(("modes",), "modes must be a list of " + ", ".join(schema.MODES))
            return ()
        return tuple(value)

    def floor(self) -> float | None:
        value = self.data.get("floor")
        if value is None:
            return None
        if type(value) not in (int, float) or not 0.0 <= value <= 1.0:
            self.fault(("floor",), "floor must be a number from 0 to 1")
            return None
        return float(value)

    def applies(self, for_each: str | None) -> Mapping[str, str]:
        guards = self.table(self.data, ("applies",))
        known = {*FACTS, *NEIGHBOUR_FACTS}
        for fact, value in guards.items():
            key = ("applies", fact)
            if fact not in known:
                self.fault(key, f'"{fact}" is not a fact', did_you_mean(fact, known))
            elif not isinstance(value, str):
                self.fault(key, f"{fact} is compared with text", f'write {fact} = "yes" or the like')
            elif value not in schema.GUARD_VALUES[fact]:
                # a guard that can never hold would take the rule away without a word
                self.fault(key, f'{fact} is never "{value}"', did_you_mean(value, schema.GUARD_VALUES[fact]))
            elif fact in NEIGHBOUR_FACTS and for_each != "neighbour":
                self.fault(key, f'{fact} asks for for_each = "neighbour" in [measure]')
        return dict(guards)

    def quantity(self) -> Quantity | None:
        measure = self.data.get("measure")
        name = measure.get("quantity") if isinstance(measure, dict) else None
        if not isinstance(name, str):
            self.fault(("measure",), "measure.quantity is missing")
            return None
        if name not in QUANTITIES:
            self.fault(
                ("measure", "quantity"),
                f'"{name}" is not a registered quantity',
                did_you_mean(name, QUANTITIES),
            )
            return None
        return QUANTITIES[name]

    def measure(self, quantity: Quantity | None) -> Measure:
        data = self.table(self.data, ("measure",))
        self.unknown_keys(data, ("measure",), _KEYS["measure"])
        span = self.choice(data, ("measure", "span"), schema.SPANS)
        take = self.choice(data, ("measure", "take"), schema.TAKES, "last" if span == "at-start" else None)
        for_each = self.choice(data, ("measure", "for_each"), schema.FOR_EACH) if "for_each" in data else None
        count = data.get("count", 1)
        if not isinstance(count, int) or isinstance(count, bool) or not 1 <= count <= _MOST_NIGHTS:
            self.fault(("measure", "count"), f"count must be a whole number from 1 to {_MOST_NIGHTS}")
            count = 1
        if take == "sum" and quantity is not None and quantity.dimension != "water_depth":
            # what is known of a sum bounds the whole only where nothing is ever below zero
            self.fault(("measure", "take"), f'"{quantity.name}" is no amount that adds up', "only water does")
        if span == "nights-after" and take not in ("", "min", "max", "any", "all"):
            self.fault(("measure", "take"), f'nights have no "{take}"', "write min, max, any or all")
        if "count" in data and span != "nights-after":
            self.fault(("measure", "count"), f'span "{span}" has no count')
        length = self.setting(data, ("measure", "length"), "time")
        if span in ("before", "after", "work+after") and length is None:
            self.fault(("measure",), f'span "{span}" needs a length', 'write length = "24 h"')
        if length is not None and span in ("work", "nights-after", "at-start"):
            self.fault(("measure", "length"), f'span "{span}" has no length')
        if quantity is not None and (for_each == "neighbour") != (quantity.scope == "neighbour"):
            what = "is not one for each neighbour" if for_each else 'needs for_each = "neighbour"'
            self.fault(("measure",), f'quantity "{quantity.name}" {what}')
        return Measure(quantity.name if quantity else "", span, take, for_each, length, count)

    def setting(self, data: Mapping, key: tuple, dimension: str | None) -> Setting | None:
        value = data.get(key[-1])
        if value is None:
            return None
        if isinstance(value, str):
            value = {"default": value}
        if not isinstance(value, dict):
            self.fault(
                key, f'{key[-1]} must be a quantity such as "10 mph", or a table with label, default, cap'
            )
            return None
        self.unknown_keys(value, key, _KEYS["setting"])
        label = self.label_field(value, key, dimension)
        if "label" not in value and "default" not in value:
            self.fault(key, f"{key[-1]} has neither a label field nor a default")
        default = self.number(value, (*key, "default"), dimension)
        cap = self.number(value, (*key, "cap"), dimension)
        if None not in (default, cap) and (default > cap if key[-1] == "at_most" else default < cap):
            self.fault((*key, "default"), "the default lies beyond the cap")
        if cap is not None and key[-1] == "length":
            self.fault((*key, "cap"), "a length has no cap")
        return Setting(default, label, cap)

    def label_field(self, setting: Mapping, key: tuple, dimension: str | None) -> str | None:
        label = setting.get("label")
        if label is None:
            return None
        if not isinstance(label, str) or label not in LABEL_QUANTITIES:
            hint = did_you_mean(str(label), LABEL_QUANTITIES)
            self.fault((*key, "label"), f'"{label}" is not a label field', hint)
            return None
        stated = "application_rate" if label in RATE_FIELDS else LABEL_QUANTITIES[label]
        if dimension not in (None, stated):
            ours, theirs = (one.replace("_", " ") for one in (dimension, stated))
            self.fault((*key, "label"), f'label field "{label}" is a {theirs}, the quantity is a {ours}')
        return label

    def number(self, data: Mapping, key: tuple, dimension: str | None) -> float | None:
        value = data.get(key[-1])
        if value is None or dimension is None:
            return None
        if dimension == "application_rate":
            self.fault(key, "a rate of product can only come from the label")
            return None
        try:
            return units.parse(value, dimension)
        except units.UnitError as error:
            self.fault(key, str(error.problems[0].what), error.problems[0].hint)
            return None

    def estimate(self, missing: Mapping, quantity: Quantity | None) -> str | None:
        value = missing.get("weather", "unknown")
        if value == "unknown":
            return None
        name = value.removeprefix("estimate:") if isinstance(value, str) else ""
        if not isinstance(value, str) or not value.startswith("estimate:") or name not in QUANTITIES:
            what = f'"{value}" is neither "unknown" nor "estimate:" and a registered quantity'
            self.fault(("missing", "weather"), what, did_you_mean(name, QUANTITIES))
            return None
        if quantity and not quantity.inputs:
            self.fault(("missing", "weather"), f'"{quantity.name}" is never missing from the weather')
        if quantity and QUANTITIES[name].dimension != quantity.dimension:
            self.fault(
                ("missing", "weather"),
                f'the estimate "{name}" is not a {quantity.dimension.replace("_", " ")}',
            )
        return name

    def words(self) -> Mapping[str, str]:
        words = self.table(self.data, ("words",), required=True)
        self.unknown_keys(words, ("words",), _KEYS["words"])
        for name in _KEYS["words"] if words else ():
            text = self.word(words, ("words", name), required=True)
            self.placeholders(text, ("words", name))
        return dict(words)

    def placeholders(self, text: str, key: tuple) -> None:
        for placeholder in re.findall(r"\{(\w*)", text):
            if placeholder not in PLACEHOLDERS:
                hint = did_you_mean(placeholder, PLACEHOLDERS)
                self.fault(key, f'"{{{placeholder}}}" is not a placeholder', hint)
                return
        try:
            text.format(**dict.fromkeys(PLACEHOLDERS, ""))
        except (ValueError, LookupError, AttributeError) as error:
            self.fault(key, f"the braces of this text cannot be read: {error}", "write {value} and the like")

    def rows(self, name: str) -> list[tuple[int, Mapping]]:
        """The tables of an array of tables, each with its index."""
        rows = self.data.get(name, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.fault((name,), f"{name} must be tables", f"write each under [[{name}]]")
            return []
        return list(enumerate(rows))

    def sources(self) -> tuple[Source, ...]:
        if not self.data.get("source"):
            self.fault(
                (), "a rule names at least one [[source]]", 'use kind = "common practice" where there is none'
            )
            return ()
        found = []
        for at, row in self.rows("source"):
            self.unknown_keys(row, ("source", at), _KEYS["source"])
            kind = self.choice(row, ("source", at, "kind"), schema.SOURCE_KINDS)
            found.append(Source(kind, self.word(row, ("source", at, "text"), required=True)))
        return tuple(found)

    def examples(self, dimension: str | None) -> tuple[Example, ...]:
        found = []
        for at, row in self.rows("example"):
            key = ("example", at)
            self.unknown_keys(row, key, _KEYS["example"])
            expect = self.choice(row, (*key, "expect"), ("go", "no-go", "unknown"))
            label = {}
            for name, value in self.table(row, (*key, "label")).items():
                if name not in LABEL_QUANTITIES:
                    self.fault(
                        (*key, "label", name),
                        f'"{name}" is not a label field',
                        did_you_mean(name, LABEL_QUANTITIES),
                    )
                    continue
                number = self.number({name: value}, (*key, "label", name), LABEL_QUANTITIES[name])
                if number is not None:
                    label[name] = number
            work = self.number(row, (*key, "work"), "time")
            given = self.given(row.get("given"), (*key, "given"), dimension)
            found.append(Example(self.word(row, (*key, "says"), required=True), given, expect, label,
                                 1.0 if work is None else work, (self.lines, key)))  # fmt: skip
        return tuple(found)

    def given(self, value, key: tuple, dimension: str | None) -> tuple[tuple[int, int, float | None], ...]:
        """ "7 mph" all through, or { "-48..96" = "0 mm", "3" = "2 mm" } by hours from the start."""
        if not isinstance(value, dict):
            value = {f"{EXAMPLE_SPAN[0]}..{EXAMPLE_SPAN[1]}": value}
        rows = []
        for hours, amount in value.items():
            match = _HOURS.match(hours)
            if not match:
                self.fault(
                    (*key, hours), f'"{hours}" is not an hour or a range of hours', 'write "3" or "0..24"'
                )
                continue
            first = int(match.group(1))
            stop = int(match.group(2)) if match.group(2) else first + 1
            if amount == "unknown":
                rows.append((first, stop, None))
                continue
            # rates of product have no unit of their own in an example: the label's and the quantity's are the same
            number = self.number(
                {"v": amount}, (*key, "v"), "volume_rate" if dimension == "application_rate" else dimension
            )
            rows.append((first, stop, number))
        return tuple(rows)


PLACEHOLDERS = ("value", "limit", "at", "change", "neighbour", "warning")
