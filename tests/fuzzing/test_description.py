"""`/openapi.json` tells the truth: every twin is in it, every answer fits it, and requests made from it find no fault.

The grammar of its schemas is checked by jsonschema (draft 2020-12, which OpenAPI 3.1 uses); requests are made by
schemathesis where it is installed.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import jsonschema
import pytest

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[2] / "scripts"),
]

from hardening.fuzzing import by_description  # noqa: E402
from hardening.fuzzing.page_targets import FORMS, Pages  # noqa: E402

from advisor.web import description  # noqa: E402


@pytest.fixture(scope="module")
def pages():
    return Pages()


@pytest.fixture
def document(pages):
    return pages.client.get("/openapi.json").get_json()


def schema_of(document: dict, path: str, method: str = "get", status: str = "200") -> dict:
    content = document["paths"][path][method]["responses"][status]["content"]["application/json"]
    return {**content["schema"], "components": document["components"]}


def fits(value: object, schema: dict) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(value, schema, cls=jsonschema.Draft202012Validator)


def test_every_twin_and_every_form_is_described(pages, document):
    rules = list(pages.client.application.url_map.iter_rules())
    twins = {re.sub(r"<text>", "{date}", one.rule) for one in rules if one.endpoint.endswith("-json")}
    assert twins == {path for path, said in document["paths"].items() if "get" in said and path != "/readyz"}
    forms = {one.rule for one in rules if "POST" in one.methods}
    described_forms = {path for path, said in document["paths"].items() if "post" in said}
    assert {re.sub(r"^/tell/.*", "/tell/<form>", path) for path in described_forms} == forms - {"/calendar"}
    assert described_forms == set(FORMS)


@pytest.mark.parametrize("path", description.TWINS)
def test_an_answer_fits_its_description(pages, document, path):
    schema = schema_of(document, path)
    answer = pages.client.get(path.replace("{date}", "2026-09-23")).get_json()
    fits(answer, schema)
    for name in (*description.TWINS[path], "cautions", "weather"):
        with pytest.raises(jsonschema.ValidationError):
            fits({key: value for key, value in answer.items() if key != name}, schema)


def test_a_refusal_fits_its_description(pages, document):
    answer = pages.client.get("/day/2031-01-01.json")
    assert answer.status_code == 404
    fits(answer.get_json(), schema_of(document, "/day/{date}.json", status="404"))
    fits(pages.client.get("/readyz").get_json(), schema_of(document, "/readyz"))


@pytest.mark.parametrize("path", FORMS)
def test_a_form_takes_the_fields_that_are_described_and_needs_the_needed_ones(pages, document, path):
    said = document["paths"][path]["post"]
    schema = said["requestBody"]["content"]["application/x-www-form-urlencoded"]["schema"]
    assert set(schema["properties"]) == {"token", *FORMS[path]}
    given = {name: FORMS[path][name] for name in schema["required"] if name != "token"}
    if "began" in given:
        given["began"] = "05:05"  # it is seven in the morning, and the day is today where none is given
    answer = pages.client.post(path, data={**given, "token": pages.mark})
    assert answer.status_code == 303
    for name in given:
        less = {key: value for key, value in given.items() if key != name}
        refused = pages.client.post(path, data={**less, "token": pages.mark})
        assert refused.status_code == 422 and str(refused.status_code) in said["responses"]
    assert pages.client.post(path, data=given).status_code == 403 and "403" in said["responses"]


def test_requests_made_from_the_description_find_no_fault_and_would_find_one(pages, monkeypatch):
    pytest.importorskip("schemathesis", reason="needs the extra fuzz")
    asked = list(by_description.ask(pages, 3, 1))
    assert len(asked) == len(description.TWINS) + len(description.FORMS) + 1
    assert all(one.cases for one in asked) and not [fault for one in asked for fault in one.faults]
    wrong = {**description.TWINS, "/mix.json": {"mixes": {"type": "string"}}}
    monkeypatch.setattr(description, "TWINS", wrong)
    faults = [fault for one in by_description.ask(pages, 1, 1) for fault in one.faults]
    assert faults and all("/mix.json" in one for one in faults)
