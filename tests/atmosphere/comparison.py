"""What one comparison with an outside source says."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version


@dataclass(frozen=True)
class Comparison:
    """One line of the validation: `largest` may not exceed `bound`, both in `unit`."""

    topic: str
    method: str
    against: str
    largest: float
    bound: float
    unit: str
    why: str

    def __str__(self) -> str:
        return (
            f"{self.topic}, {self.method} against {self.against}: largest difference {self.largest:.4g} "
            f"{self.unit}, bound {self.bound:g}; {self.why}"
        )


def version_of(name: str) -> str:
    """Name and installed version of a library, for the table."""
    return f"{name} {version(name)}"
