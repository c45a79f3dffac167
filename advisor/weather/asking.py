"""Asking one provider for one thing: the kept answer first, then the wire; every answer that came is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import requests

from advisor.errors import StoreError, WeatherError
from advisor.model import Household
from advisor.sources import SOURCES
from advisor.sources.request import Request
from advisor.store import Store, payloads
from advisor.store.payloads import Payload
from advisor.transport import Answer, Archived, fetch
from advisor.weather.answers import site_key


@dataclass(frozen=True, slots=True)
class Asker:
    """Who asks, for which household, and where answers are kept.

    `options` are handed to the transport: time limits and the like.
    """

    household: Household
    store: Store
    now: datetime
    session: requests.Session
    options: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> str:
        return site_key(self.household.site)

    def base(self, source: str) -> str | None:
        return (self.household.settings.source_hosts or {}).get(source)

    def kept(self, url: str) -> Archived | None:
        """The newest good answer of an address; one whose bytes are damaged is none, so that a new one is asked for."""
        found = self._newest_at(url)
        if found is None:
            return None
        return Archived(found.body, found.confirmed_at, found.url, found.status, found.headers)

    def keep(self, name: str, answer: Answer) -> Payload:
        """Keep what came under a name; what was only confirmed or not asked for is there already."""
        found = self._newest_at(answer.url) if answer.origin != "network" else None
        if found is not None:
            if answer.origin == "revalidated":
                payloads.confirm(self.store, found.id, answer.fetched_at)
                found = self._newest_at(answer.url)
            return found
        return payloads.add(
            self.store, source=name, site=self.key, url=answer.url, body=answer.body,
            fetched_at=answer.fetched_at, status=answer.status, headers=answer.headers,
        )  # fmt: skip

    def _newest_at(self, url: str) -> Payload | None:
        try:
            return payloads.newest_at(self.store, self.key, url)
        except StoreError:
            return None

    def fetch(self, request: Request, fresh_hours: float = 0.0) -> Answer:
        return fetch(
            request, contact=self.household.settings.contact, previous=self.kept(request.shown), now=self.now,
            session=self.session, fresh_hours=fresh_hours, **self.options,
        )  # fmt: skip


def says(source: str, error: WeatherError) -> str:
    """The provider and its fault in one line."""
    return f"{SOURCES[source].title}: {' '.join(error.what.split())}"
