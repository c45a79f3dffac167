"""Connections that are patient, but not for ever: what the pages' server does to a request before a page sees it.

A request has a bounded time from its first byte to its last, however slowly it trickles in, so that idle hands cannot
hold all connections. A request whose first line names a host is judged by that one, as RFC 9112 (3.2.2) asks. What the
server itself refuses carries the same headers as every page.
"""

from __future__ import annotations

import time

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.task import ErrorTask

from advisor.web.security import HEADERS

#: from the first byte of a request to its last [s]
REQUEST_SECONDS = 10.0


class OneRequest(HTTPRequestParser):
    def parse_header(self, header_plus: bytes) -> None:
        try:
            super().parse_header(header_plus)
        except ParsingError:
            raise
        except ValueError as error:
            raise ParsingError("the address cannot be read") from error
        if self.proxy_netloc:
            self.headers["HOST"] = self.proxy_netloc


class Refusal(ErrorTask):
    def execute(self) -> None:
        self.response_headers.extend(HEADERS.items())
        super().execute()


class PatientChannel(HTTPChannel):
    parser_class, error_task_class = OneRequest, Refusal
    _began = 0.0

    def received(self, data: bytes) -> bool:
        now, before = time.monotonic(), self.request
        if before is None:
            self._began = now
        elif now - self._began > REQUEST_SECONDS:
            self.will_close = True
            return False
        done = super().received(data)
        if self.request is not before:
            self._began = now
        return done
