"""From the channels that a household names to channels that can send."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from advisor.errors import InvalidFile, did_you_mean
from advisor.notify import channels
from advisor.notify.message import Channel


def kinds() -> tuple[str, ...]:
    """The kinds of channel there are: the modules of `advisor.notify.channels`."""
    return tuple(sorted(module.name for module in pkgutil.iter_modules(channels.__path__)))


def build_channels(plans: Iterable[Mapping[str, object]], folder: Path | str = ".") -> dict[str, Channel]:
    """Channels by name, in the order in which the household names them.

    Parameters
    ----------
    plans : iterable of mappings
        Each with `kind`, optionally `name` (the kind, numbered, when absent), and what the kind wants.
    folder : Path
        Where relative paths start: the household's folder.
    """
    built: dict[str, Channel] = {}
    for plan in plans:
        kind = str(plan.get("kind", ""))
        if kind not in kinds():
            raise InvalidFile(
                f'there is no channel of kind "{kind}"',
                where="notices.channel",
                hint=did_you_mean(kind, kinds()),
            )
        name = str(plan.get("name") or _free_name(kind, built))
        if name in built:
            raise InvalidFile(
                f'two channels have the name "{name}"', where="notices.channel", hint="give each its own name"
            )
        module = importlib.import_module(f"{channels.__name__}.{kind}")
        built[name] = module.from_settings(plan, name, Path(folder))
    return built


def _free_name(kind: str, taken: Mapping[str, object]) -> str:
    number, name = 1, kind
    while name in taken:
        number += 1
        name = f"{kind}-{number}"
    return name
