"""Requests made from the pages' own description (`/openapi.json`) by schemathesis, and answers held against it."""

from __future__ import annotations

import importlib.util
import logging
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

#: what is held against the description; a refusal of odd requests is free to come or not
CHECKS = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_schema_conformance",
)


@dataclass(frozen=True)
class Asked:
    """One operation: how often it was asked, and what was wrong with its answers."""

    operation: str
    cases: int
    faults: tuple[str, ...]


def missing() -> str:
    """Why this cannot be done here; empty where it can."""
    if importlib.util.find_spec("schemathesis") is None:
        return "skipped: schemathesis is not installed; pip install -e '.[fuzz]'"
    return ""


def ask(pages, each: int, seed: int) -> Iterator[Asked]:
    """Ask every operation of the description `each` times.

    Parameters
    ----------
    pages : page_targets.Pages
        Forms are sent with its token, so that they get past the door.
    """
    import schemathesis

    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    schema = schemathesis.openapi.from_wsgi("/openapi.json", pages.client.application)
    for result in schema.get_all_operations():
        yield _asked(result.ok(), pages, each, seed)


def _asked(operation, pages, each: int, seed: int) -> Asked:
    from hypothesis import HealthCheck, Phase, given, settings
    from hypothesis import seed as seeded
    from schemathesis.specs.openapi import checks

    held = [getattr(checks, name) for name in CHECKS if hasattr(checks, name)] + _general()
    cookies = {"advisor_form": pages.client.get_cookie("advisor_form").value}
    faults: dict[str, str] = {}
    cases = []

    @seeded(seed)
    @settings(max_examples=each, deadline=None, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(case=operation.as_strategy())
    def one(case):
        cases.append(case)
        if operation.method == "post" and isinstance(case.body, dict):
            case.body = {**case.body, "token": pages.mark}
            case.cookies = {**(case.cookies or {}), **cookies}
        try:
            case.validate_response(case.call(), checks=held)
        except (Exception, BaseExceptionGroup) as error:
            # several checks that failed come as a group, which is no Exception
            for one in getattr(error, "exceptions", (error,)):
                faults.setdefault(type(one).__name__, str(one)[:400])

    one()
    label = f"{operation.method.upper()} {operation.path}"
    return Asked(label, len(cases), tuple(f"{label}: {name}: {words}" for name, words in faults.items()))


def _general() -> list:
    from schemathesis.checks import not_a_server_error

    return [not_a_server_error]
