"""Tables of TOML files: what each key holds, what may be left out, and every fault with the path to it.

A table is a class whose annotations say how each key is read: a function from what stands in the file to what it means,
which raises `Fault`. A key with a value of its own in the class may be left out.

    class NeighbourTable(Table):
        name: Text
        distance: quantity("length", 0.0, 20_000.0)
        arc: quantity("angle", 0.0, 360.0) = 0.0

Modules with such classes do not postpone their annotations: what stands there is called.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar, Literal

Reader = Callable[[Any], Any]


class Fault(Exception):
    """What is wrong with a value, what to do, and the path to it from the table that is read.

    `kind` tells a key that is not known and one that is missing from a value that is wrong.
    """

    def __init__(
        self,
        what: str,
        hint: str = "",
        path: tuple = (),
        kind: Literal["value", "unknown", "missing"] = "value",
    ):
        super().__init__(what)
        self.what, self.hint, self.path, self.kind = what, hint, path, kind

    def under(self, part: str | int) -> Fault:
        return Fault(self.what, self.hint, (part, *self.path), self.kind)


class Faults(Exception):
    """Everything that is wrong with a table or a list."""

    def __init__(self, found: list[Fault]):
        super().__init__("; ".join(one.what for one in found))
        self.found = found


class _Collected:
    """Reads parts of a value one after the other and raises what was wrong with any at the end."""

    def __init__(self):
        self.found: list[Fault] = []

    def read(self, read: Reader, value: Any, part: str | int) -> Any:
        try:
            return read(value)
        except Fault as fault:
            self.found.append(fault.under(part))
        except Faults as faults:
            self.found += [fault.under(part) for fault in faults.found]
        return None

    def end(self) -> None:
        if self.found:
            raise Faults(self.found)


def wrong_kind(value: Any, what: str, hint: str = "") -> Fault:
    """The fault of a value of another kind: "should be a list, not 'one'"."""
    return Fault(f"{what}, not {value!r}" if isinstance(value, str | int | float) else what, hint)


def yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise wrong_kind(value, "should be true or false, without quotes")
    return value


class Each:
    """A list of things that are read alike; `before` turns what else may stand there into one."""

    def __init__(
        self, item: Reader, *, least: int = 0, most: int | None = None, before: Reader | None = None
    ):
        self.item, self.least, self.most, self.before = item, least, most, before

    def __call__(self, value: Any) -> list:
        value = value if self.before is None else self.before(value)
        if not isinstance(value, list):
            raise wrong_kind(
                value, "should be a list", "write it in square brackets, or one [[...]] table an entry"
            )
        if len(value) < self.least:
            raise Fault("is empty", "name at least one")
        if self.most is not None and len(value) > self.most:
            raise Fault(f"names {len(value)}, and may name {self.most} at most")
        collected, read = _Collected(), reader_of(self.item)
        out = [collected.read(read, one, at) for at, one in enumerate(value)]
        collected.end()
        return out


class ByName:
    """A table of things that are read alike, by names of the person's own; `name` reads those."""

    def __init__(self, item: Reader, name: Reader | None = None, *, before: Reader | None = None):
        self.item, self.name, self.before = item, name, before

    def __call__(self, value: Any) -> dict[str, Any]:
        value = value if self.before is None else self.before(value)
        if not isinstance(value, dict):
            raise wrong_kind(value, "should be a table", "write it as a [...] table")
        collected, out = _Collected(), {}
        for key, one in value.items():
            name = key if self.name is None else collected.read(self.name, key, key)
            out[name] = collected.read(self.item, one, key)
        collected.end()
        return out


class Table:
    """A table of a TOML file: unknown keys are faults, and empty text counts as left out.

    Attributes
    ----------
    keys : mapping of str to callable
        How each key is read.
    stated : frozenset of str
        The keys that were written, of one table that was read.
    """

    keys: ClassVar[dict[str, Reader]] = {}
    stated: frozenset[str]

    def __init_subclass__(cls, **more: Reader):
        """`more` keys may be left out, and are None then."""
        own = {name: reader_of(read) for name, read in {**cls.__annotations__, **more}.items()}
        cls.keys = {**cls.keys, **own}
        for name in more:
            setattr(cls, name, None)

    @classmethod
    def read(cls, data: Any) -> Table:
        """The table with the meaning of each key as an attribute.

        Raises
        ------
        Fault
            Where it is no table, or its keys do not go together.
        Faults
            With every key that is wrong, missing or not known.
        """
        if not isinstance(data, dict):
            raise wrong_kind(data, "should be a table", "write it as a [...] table of its own")
        given = {key: one for key, one in data.items() if not (isinstance(one, str) and not one.strip())}
        collected, table = _Collected(), cls()
        for name, read in cls.keys.items():
            if name in given:
                setattr(table, name, collected.read(read, given[name], name))
            elif not hasattr(cls, name):
                collected.found.append(Fault("is missing", path=(name,), kind="missing"))
        unknown = [name for name in given if name not in cls.keys]
        collected.found += [Fault("is not known", path=(name,), kind="unknown") for name in unknown]
        collected.end()
        table.stated = frozenset(given)
        table.check()
        return table

    def check(self) -> None:
        """Raise the fault of keys that do not go together."""

    def plain(self) -> dict[str, Any]:
        """What is known, by key."""
        return {name: one for name in self.keys if (one := getattr(self, name)) is not None}


def reader_of(what: Reader | type) -> Reader:
    """How something is read: `bool` and tables are named by their class."""
    if what is bool:
        return yes_or_no
    return what.read if isinstance(what, type) and issubclass(what, Table) else what


def table_of(read: Reader) -> tuple[type[Table] | None, bool]:
    """(the table that a reader reads, whether it reads a list of them)."""
    if isinstance(read, Each):
        return table_of(read.item)[0], True
    owner = read if isinstance(read, type) else getattr(read, "__self__", None)
    return (owner if isinstance(owner, type) and issubclass(owner, Table) else None), False
