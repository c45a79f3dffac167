"""What a page is: a title, a template with its context, and the JSON twin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Page:
    """`twin` holds plain values only: text, numbers, None, lists and mappings; times as UTC text."""

    title: str
    template: str
    context: Mapping[str, Any] = field(default_factory=dict)
    twin: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200
    #: where no JSON twin makes sense
    without_twin: bool = False
