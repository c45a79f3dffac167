"""Parts of the program that a page shows when they are there."""

from __future__ import annotations

from importlib import import_module
from typing import Any


def feature(module: str, name: str) -> Any | None:
    """A function of a module, or None where this version has no such part."""
    try:
        return getattr(import_module(module), name, None)
    except ModuleNotFoundError as error:
        if error.name is not None and (error.name == module or module.startswith(f"{error.name}.")):
            return None
        raise
