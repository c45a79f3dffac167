"""The one table of readers that are fed with changed input."""

from __future__ import annotations

from functools import cache

from hardening.fuzzing.array_targets import array_targets
from hardening.fuzzing.far_targets import far_targets
from hardening.fuzzing.file_targets import file_targets
from hardening.fuzzing.oracle import Target
from hardening.fuzzing.page_targets import page_targets
from hardening.fuzzing.weather_targets import weather_targets


@cache
def targets() -> dict[str, Target]:
    """Every reader by its name."""
    found = (*weather_targets(), *file_targets(), *array_targets(), *page_targets(), *far_targets())
    return {one.name: one for one in found}
