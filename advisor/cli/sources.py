"""`advisor sources`: where a household's weather comes from, on which terms, and how the last pull went."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options, load_household


@click.command(epilog="Example: advisor sources --home my-lawn   See also: advisor check, advisor outlook")
@common_options
def sources(common):
    """Name the weather sources in their order: credit, licence, terms, what is asked of each, and the newest answer.

    Nothing is asked of anyone.
    """
    from advisor.store import Store
    from advisor.weather import Answers, gather

    household = load_household(common)
    answers = Answers()
    if common.database.exists():
        with Store.open_readonly(common.database) as store:
            answers = gather(household, store, common.now)
    told = sources_object(household, answers, common.now)
    click.echo(json.dumps(told, ensure_ascii=False) if common.as_json else "\n".join(_lines(told)))


def sources_object(household, answers, now) -> dict:
    """What `advisor sources --json` prints."""
    from advisor.clock import iso
    from advisor.sources import SOURCES
    from advisor.warnings_in_force import asked_for, offering

    settings = household.settings
    kept = {one.source: one for one in reversed(answers.kept) if one.role in ("forecast", "poor", "cross-check")}
    rows = []
    for name, one in SOURCES.items():
        uses = [f"forecast, choice {settings.sources.index(name) + 1}"] if name in settings.sources else []
        uses += ["cross-check"] if name == settings.cross_check else []
        if settings.ensemble and "ensembles" in one.offers:
            uses.append("members of " + ", ".join(settings.ensemble))
        if name == offering(settings) and asked_for(settings) == "missing":
            uses.append("official warnings")
        if settings.observations and name == offering(settings, "observations"):
            uses.append("measured hours of stations")
        answer = kept.get(name)
        hired = household.for_hire and one.commercial_restricted and bool(uses)
        rows.append(
            {
                "source": name, "title": one.title, "used_for": uses, "attribution": one.attribution,
                "licence": one.licence, "terms": one.terms, "age_limit_hours": one.age_limit_hours,
                "confirmed_at": iso(answer.confirmed_at) if answer else None,
                "age_hours": round((now - answer.confirmed_at).total_seconds() / 3600.0, 2) if answer else None,
                "warning": "these terms do not cover work for hire" if hired else None,
            }
        )  # fmt: skip
    order = {name: at for at, name in enumerate(settings.sources)}
    rows.sort(key=lambda row: (not row["used_for"], order.get(row["source"], len(order))))
    state = asked_for(settings)
    why = {"off": "switched off", "not-offered": "no source in use offers them", "missing": "asked for"}[state]
    return {
        "schema": "advisor.sources/1", "household": household.name, "sources": rows, "official_warnings": why,
        "failures": [one.says for one in answers.failures],
    }  # fmt: skip


def _lines(told: dict) -> list[str]:
    lines = [f"Weather of {told['household']}:"]
    for row in told["sources"]:
        if not row["used_for"]:
            continue
        age = "no answer kept yet" if row["age_hours"] is None else f"last answer {row['age_hours']:.1f} h ago"
        lines += [
            f"\n{row['title']} ({row['source']}): {'; '.join(row['used_for'])}",
            f"  {age}; one counts for {row['age_limit_hours']:g} h",
            f"  credit: {row['attribution']}; licence: {row['licence']}",
            f"  terms: {row['terms']}",
        ]
        if row["warning"]:
            lines.append(f"  ! This household works for hire: {row['warning']}.")
    lines.append(f"\nOfficial warnings: {told['official_warnings']}.")
    if told["failures"]:
        lines += ["The last pull failed in part:", *(f"  {one}" for one in told["failures"])]
    others = [row for row in told["sources"] if not row["used_for"]]
    if others:
        lines.append("Not used: " + ", ".join(f"{row['source']} ({row['title']})" for row in others) + ".")
    return lines
