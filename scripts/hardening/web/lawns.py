"""Several lawns behind one page: their paths lead nowhere else, and one word closes all of them."""

from __future__ import annotations

from collections.abc import Iterator

from hardening.web.attack import Attack
from hardening.web.paths import INSIDE
from hardening.web.served import MARK

_PAGES = (
    "",
    "/",
    "/index.json",
    "/day/2026-09-23",
    "/records",
    "/records.json",
    "/tell",
    "/calendar",
    "/calendar.ics",
    "/score.svg",
    "/readyz",
    "/units/us",
)
_OUT = (
    "/lawn/../advisor.db",
    "/lawn/..%2f..%2fetc/passwd",
    "/lawn/north/../../lawns.toml",
    "/lawn/north/static/../app.py",
    "/lawn/north/%2e%2e/%2e%2e/etc/passwd",
    "/lawn//etc/passwd",
    "/lawn/%2fetc%2fpasswd/",
    "/lawn/north%00/",
    "/lawn/",
    "/lawn/nobody/",
    "/lawn/NORTH/",
    "/lawn/north/lawn/south/records",
    "/round/../advisor.db",
    "/round/%2e%2e",
)


def attacks() -> Iterator[Attack]:
    for path in (
        "/",
        "/index.json",
        "/round/2026-09-23",
        "/calendar.ics",
        *(f"/lawn/north{page}" for page in _PAGES),
    ):
        yield Attack(
            "several lawns",
            f"without the word: {path}",
            "not shown",
            lambda world, path=path: _closed(world.lawns.get(path)),
        )
    for path in _OUT:
        yield Attack(
            "several lawns",
            path,
            "no such page, no file's words",
            lambda world, path=path: _nothing(
                world.lawns.get(path, Authorization=f"Bearer {world.lawns.word}")
            ),
        )
    for path in ("/", "/lawn/north/", "/lawn/south/index.json"):
        yield Attack(
            "several lawns",
            f"another Host asks for {path}",
            "not served",
            lambda world, path=path: (
                (answer := world.lawns.ask("GET", path, host="evil.example")).status == 421,
                answer.told,
            ),
        )

    def form(world):
        cookie = world.lawns.entered()
        before = world.lawns.ledger()
        fields = {"area": "front", "state": "dry", "token": "0" * 64}
        answer = world.lawns.post("/lawn/north/tell/soil", fields, {"Cookie": cookie})
        return answer.status == 403 and world.lawns.ledger() == before, answer.told

    yield Attack("several lawns", "a form with a token made up", "refused, nothing written", form)

    def opened(world):
        shown = world.lawns.get("/lawn/north/", Cookie=world.lawns.entered())
        return shown.status == 200 and MARK in shown.text, shown.told

    yield Attack(
        "several lawns", "with the word, to see that the others fail for their own sake", "shown", opened
    )


def _closed(answer) -> tuple[bool, str]:
    home = answer.header("Location")
    good = answer.status in (401, 404, 429) or (answer.status == 303 and home.endswith("/enter"))
    return good and MARK not in answer.text, answer.told


def _nothing(answer) -> tuple[bool, str]:
    inside = [word for word in INSIDE if word in answer.text]
    return answer.status in (
        303,
        308,
        400,
        404,
    ) and not inside, f"{answer.told}{f', with {inside}' if inside else ''}"
