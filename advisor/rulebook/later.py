"""Fields of a frozen dataclass that are worked out when somebody reads them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Later(Generic[Value]):
    """A field that takes its value or a function that makes it; the function runs once, at the first look.

    It stands where a default would: `field: T = Later()` has none, `field: T = Later(None)` has None.
    """

    def __init__(self, *default: Value):
        self._default = default

    def __set_name__(self, owner: type, name: str) -> None:
        self._name = name

    def __get__(self, instance: object, owner: type | None = None) -> Value:
        if instance is None:
            if not self._default:
                raise AttributeError(f"{self._name} has no default")
            return self._default[0]
        value = vars(instance)[self._name]
        if callable(value):
            value = vars(instance)[self._name] = value()
        return value

    def __set__(self, instance, value: Value | Callable[[], Value]) -> None:
        vars(instance)[self._name] = value
