"""The face of a package hands on what it names and names what it hands on. Our own convention, no outside source."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import advisor

PACKAGE = Path(advisor.__file__).resolve().parent
FACES = {
    ".".join(("advisor", *path.relative_to(PACKAGE).parent.parts)): path.read_text(encoding="utf-8")
    for path in sorted(PACKAGE.rglob("__init__.py"))
    if "__all__" in path.read_text(encoding="utf-8")
}


def unlike(text: str) -> set[str]:
    """Names that a face imports from the program and does not name, or names and does not have."""
    tree = ast.parse(text)
    imported, own, named = set(), set(), set()
    for node in tree.body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("advisor."):
            imported |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.FunctionDef | ast.ClassDef):
            own.add(node.name)
        elif isinstance(node, ast.Assign):
            targets = {target.id for target in node.targets if isinstance(target, ast.Name)}
            named |= set(ast.literal_eval(node.value)) if "__all__" in targets else set()
            own |= targets - {"__all__"}
    # a face that works itself, beside handing on, also imports for its own use
    works = any(isinstance(node, ast.FunctionDef) for node in tree.body)
    return (named - imported - own) | (set() if works else imported - named)


@pytest.mark.parametrize("package", FACES)
def test_a_face_names_what_it_hands_on(package):
    assert not unlike(FACES[package])


def test_there_are_faces_to_look_at():
    assert {"advisor.model", "advisor.season", "advisor.task_table", "advisor.reschedule"} <= set(FACES)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("from advisor.a import one, two\n__all__ = ['one']", {"two"}),
        ("from advisor.a import one\n__all__ = ['one', 'gone']", {"gone"}),
        ("from advisor.a import one, two\n__all__ = ['one', 'f']\ndef f(): pass", set()),
        ("from advisor.a import one\nOWN = 1\n__all__ = ['OWN', 'one']", set()),
    ],
)
def test_a_face_that_does_not_fit_is_seen(text, found):
    assert unlike(text) == found
