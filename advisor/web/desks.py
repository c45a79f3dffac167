"""The desks behind one page server: that of the only household, or one for every lawn under a path of its own.

The pages of a lawn are the same in both cases. Where there are several, `/lawn/<name>` stands before their addresses,
and what is left, `/` with its twin and `/round/<day>`, is the round over all of them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask, request
from werkzeug.exceptions import NotFound
from werkzeug.local import LocalProxy

from advisor.errors import AdvisorError, Problem
from advisor.service.clocks import Clock
from advisor.service.health import Health, check
from advisor.service.round import RoundService
from advisor.store import Store
from advisor.web.desk import Desk

BEFORE = "/lawn/"
#: what is asked for at the front of several lawns, and where it stands
_FRONT = {"/": "/round", "/index.json": "/round.json"}
#: so many lawns are looked at anew in a minute, so that a long round leaves the computer to others
_LAWNS_A_MINUTE = 4


class Desks:
    """One desk, or several behind one application.

    Parameters
    ----------
    desks : sequence of Desk
        In the order of travel.
    folder : Path
        That of the household, or that which holds the lawns.
    round_service : RoundService, optional
        None where there is one household only; `desks` are of its services otherwise, in the same order.
    """

    def __init__(self, desks: Sequence[Desk], folder: Path, round_service: RoundService | None = None):
        self.all, self.folder, self.round_service = tuple(desks), folder, round_service
        self._by_path = {desk.path: desk for desk in self.all}

    @classmethod
    def of(cls, given: Desk | Desks) -> Desks:
        return given if isinstance(given, Desks) else cls([given], given.service.folder)

    @classmethod
    def of_round(cls, service: RoundService, clock: Clock, healths: Iterable[Health | None]) -> Desks:
        """One desk for each lawn of a round."""
        names = names_of([service.key(one) for one in service.services])
        least = 1 + len(names) // _LAWNS_A_MINUTE
        desks = [
            Desk(one, clock, health, path=f"{BEFORE}{name}", least_minutes=least)
            for one, name, health in zip(service.services, names, healths, strict=True)
        ]
        return cls(desks, service.lawns.folder, service)

    @property
    def several(self) -> bool:
        return self.round_service is not None

    def chosen(self) -> Desk:
        """The desk of the lawn that is asked for; there is no page where none is."""
        desk = self._by_path.get(request.script_root)
        if desk is None:
            raise NotFound
        return desk

    def at_front(self) -> bool:
        """Whether no single lawn is asked for."""
        return self.several and request.script_root not in self._by_path

    def asked_for(self) -> tuple[Desk, ...]:
        """The lawn that is asked for, or all of them."""
        return (self.chosen(),) if self.several and not self.at_front() else self.all

    def attach(self, app: Flask) -> Desk:
        """Let an application serve these desks; what stands for the one that a request asks for."""
        app.wsgi_app = _Paths(app.wsgi_app, self)
        app.context_processor(lambda: {"root": request.script_root, "several": self.several})
        return LocalProxy(self.chosen) if self.several else self.all[0]

    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the part of the service that tells of the round, besides the lawns' own."""
        if self.round_service is None or all(desk.health is None for desk in self.all):
            return ()
        try:
            with Store.open_readonly(self.round_service.database) as store:
                return check(store, datetime.now(UTC))
        except AdvisorError as error:
            return error.problems

    def prepare(self) -> None:
        for desk in self.all:
            desk.prepare()

    def close(self) -> None:
        for desk in self.all:
            desk.close()


def names_of(keys: Sequence[str]) -> list[str]:
    """A word for each lawn that an address can hold, no two alike whatever the folders are called."""
    taken: list[str] = []
    for key in keys:
        word = re.sub(r"[^A-Za-z0-9._-]+", "-", key).strip("-.") or "lawn"
        name, number = word, 1
        while name in taken:
            number += 1
            name = f"{word}-{number}"
        taken.append(name)
    return taken


class _Paths:
    """Takes the path of a lawn from the front of an address, so that the routes behind it know of none."""

    def __init__(self, inner: Callable, desks: Desks):
        self._inner, self._desks = inner, desks
        self._paths = {desk.path for desk in desks.all}

    def __call__(self, environ, start_response):
        if self._desks.several:
            asked = environ.get("PATH_INFO", "")
            before, lawn, rest = asked[: len(BEFORE)], *_parted(asked[len(BEFORE) :])
            if before == BEFORE and f"{BEFORE}{lawn}" in self._paths:
                environ["SCRIPT_NAME"], environ["PATH_INFO"] = f"{BEFORE}{lawn}", rest or "/"
            else:
                environ["PATH_INFO"] = _FRONT.get(asked, asked)
        return self._inner(environ, start_response)


def _parted(path: str) -> tuple[str, str]:
    name, slash, rest = path.partition("/")
    return name, slash + rest
