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
    return {name: build_channel(plan, name, folder) for name, plan in named(plans).items()}


def named(plans: Iterable[Mapping[str, object]]) -> dict[str, Mapping[str, object]]:
    """Settings of channels by the channel's name."""
    found: dict[str, Mapping[str, object]] = {}
    for plan in plans:
        kind = str(plan.get("kind", ""))
        if kind not in kinds():
            raise InvalidFile(
                f'there is no channel of kind "{kind}"',
                where="notices.channel",
                hint=did_you_mean(kind, kinds()),
            )
        name = str(plan.get("name") or _free_name(kind, found))
        if name in found:
            raise InvalidFile(
                f'two channels have the name "{name}"', where="notices.channel", hint="give each its own name"
            )
        found[name] = plan
    return found


def build_channel(plan: Mapping[str, object], name: str, folder: Path | str = ".") -> Channel:
    """One channel; its kind is one of `kinds()`."""
    module = importlib.import_module(f"{channels.__name__}.{plan['kind']}")
    return module.from_settings(plan, name, Path(folder))


def _free_name(kind: str, taken: Mapping[str, object]) -> str:
    number, name = 1, kind
    while name in taken:
        number += 1
        name = f"{kind}-{number}"
    return name
