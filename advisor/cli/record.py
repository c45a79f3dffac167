"""`advisor record`: write down what was really applied, correct it, or say that it never happened."""

from __future__ import annotations

import json
from dataclasses import replace

import click

from advisor.cli.answers import (
    ask,
    direction,
    moment,
    product_amount,
    quantity,
    somebody_is_there,
)
from advisor.cli.options import common_options, load_household, width
from advisor.errors import Problem, UsageError, did_you_mean


class RecordRefused(UsageError):
    """A record that would not be true, or a deed that was wrong and is not recorded as it happened."""

    code = "record_refused"


@click.command(
    epilog='Example: advisor record --area front --started "2026-09-25 16:05" --ended "2026-09-25 16:27" '
    '--amount "4.8 floz" --size "3200 ft^2" --who "A. Mower"   See also: advisor records, advisor start'
)
@common_options
@click.option("--area", metavar="ID", help="The area treated.")
@click.option("--treatment", metavar="ID", help="The treatment; the only one of the area when not given.")
@click.option(
    "--started", metavar="T", help='When it began, the site\'s own time, such as "2026-09-25 16:05".'
)
@click.option("--ended", metavar="T", help="When it ended.")
@click.option("--amount", metavar="AMOUNT", help='Product put down, not mix, such as "4.8 floz"; or unknown.')
@click.option("--size", metavar="SIZE", help='Turf really treated, such as "3200 ft^2".')
@click.option("--volume", metavar="VOLUME", help="Finished spray put out.")
@click.option("--who", metavar="NAME", help="Who applied it.")
@click.option("--note", metavar="TEXT", default="", help="Anything else.")
@click.option("--product", metavar="NAME", help="The product, where it was not the treatment's own.")
@click.option(
    "--ingredient",
    "ingredients",
    multiple=True,
    metavar="NAME",
    help="Its active ingredients, where no label file has it.",
)
@click.option(
    "--registration-number", metavar="NUMBER", help="Its registration number, where no label file has it."
)
@click.option("--adjuvant", metavar="TEXT", help="The adjuvant used.")
@click.option("--method", type=click.Choice(["broadcast", "spot"]), help="How, where it was not as planned.")
@click.option("--equipment", metavar="TEXT", help="With what, where it was not as planned.")
@click.option("--target", metavar="TEXT", help="The weeds, where they were others than planned.")
@click.option("--location", metavar="TEXT", help="Where, as your state wants it: an address, a field number.")
@click.option("--licence", metavar="NUMBER", help="Licence of who applied it.")
@click.option("--certified-name", metavar="NAME", help="The certified applicator, for a restricted product.")
@click.option("--certified-number", metavar="NUMBER", help="The certified applicator's number.")
@click.option("--customer", metavar="NAME", help="The customer, for hire.")
@click.option("--customer-address", metavar="TEXT", help="The customer's address.")
@click.option("--wind", metavar="SPEED", help="Wind measured at the start, at hand height.")
@click.option("--wind-from", metavar="DIRECTION", help='Where it came from: "SSW" or "200 deg".')
@click.option("--temperature", metavar="T", help='Measured at the start, such as "72 degF".')
@click.option("--humidity", metavar="SHARE", help='Measured at the start, such as "55 percent".')
@click.option(
    "--from-start", is_flag=True, help="Take the newest start card of the area: its time and readings."
)
@click.option("--corrects", metavar="ID", help="Write what this record should have said; it stays readable.")
@click.option(
    "--withdraw", metavar="ID", help="Say that this recorded pass never happened; it stays readable."
)
@click.option("--reason", metavar="TEXT", help="Why it is withdrawn.")
@click.option(
    "--as-it-happened", is_flag=True, help="Record it although checks speak against it; they are noted."
)
@click.option("--dry-run", is_flag=True, help="Check and show, and keep nothing.")
def record(common, withdraw, reason, corrects, as_it_happened, dry_run, **given):
    """Record a pass. Records are only ever added to: corrections and withdrawals keep the original.

    Asks for what is not given when somebody is there to answer.
    """
    from advisor.ledger import read_ledger
    from advisor.recording.checks import check_record
    from advisor.recording.details import to_extra

    household = load_household(common)
    if withdraw is not None:
        _withdraw(common, household, withdraw, reason, dry_run)
        return
    ledger = read_ledger(household, common.database)
    original = None if corrects is None else _correctable(common, corrects)
    made, details = _gather(common, household, ledger, original, given)
    others = [one for one in ledger if one.id != corrects]
    faults = check_record(household, made, details, others, common.now)
    _refuse(faults, as_it_happened)
    details = replace(details, as_it_happened=bool(faults), flags=tuple(fault.what for fault in faults))
    link = None
    if not dry_run:
        from advisor.store import Store, records

        with Store.open(common.database) as store:
            made = records.add(store, made, written_at=common.now, extra=to_extra(details), corrects=corrects)
            link = records.find(store, made.id).link
    _tell(common, household, made, details, others, corrects, dry_run, link)


def _refuse(faults, as_it_happened):
    final = [fault for fault in faults if fault.final]
    if not faults or (as_it_happened and not final):
        return
    told = [*final, *(fault for fault in faults if not fault.final)]
    problems = [Problem(fault.what, "", fault.hint) for fault in told]
    if not final:
        last = problems[-1]
        way = "if it did happen so, record it truly with --as-it-happened: the doubt is kept beside it"
        problems[-1] = replace(last, hint=f"{last.hint}; {way}" if last.hint else way)
    raise RecordRefused("the pass is not recorded", problems=problems)


# what was done ----------------------------------------------------------------------------------------------------


def _gather(common, household, ledger, original, given):
    """(record, details) from the options, the start card, the original of a correction, and questions."""
    from advisor.cli.record_weather import newest_card
    from advisor.model import Record
    from advisor.recording.details import from_extra, presumed
    from advisor.season import label_of

    card = newest_card(common, given["area"], given["treatment"]) if given["from_start"] else None
    base = original.record if original is not None else None
    area = given["area"] or (card and card["area"]) or (base and base.area) or _asked(
        "area", "Which area", next(iter(household.areas)) if len(household.areas) == 1 else None)  # fmt: skip
    treatment = given["treatment"] or (card and card["treatment"]) or (base and base.treatment)
    treatment = treatment or _only_treatment(household, area)
    known = household.treatments.get(treatment)
    product = (
        given["product"]
        or (base and base.product)
        or (household.labels[known.label].product if known else "")
    )
    draft = Record(area, treatment, product, tuple(given["ingredients"]), common.now, None, None, None)
    label = label_of(household, draft)
    zone = household.site.zone
    started = moment(given["started"], zone, "--started")
    if started is None:
        started = card["started_at"] if card else (base.started_at if base else None)
    if started is None:
        started = moment(_asked("started", "When did it begin (2026-09-25 16:05)"), zone, "--started")
    ended = moment(given["ended"], zone, "--ended") or (base and base.ended_at)
    if ended is None and somebody_is_there():
        ended = moment(ask("When did it end (2026-09-25 16:27)"), zone, "--ended")
    formulation = None if label is None else label.formulation
    if given["amount"] is not None or base is None:
        amount = product_amount(given["amount"] or _asked("amount", "How much product, not mix (4.8 floz, or unknown)"),
                                formulation)  # fmt: skip
    else:
        amount = base.amount
    if given["size"] is not None or base is None:
        size = quantity(
            given["size"] or _asked("size", "How much turf was treated (3200 ft^2)"), "area", "--size"
        )
    else:
        size = base.size
    ingredients = tuple(given["ingredients"])
    if not ingredients:
        ingredients = _names(label) or (base.active_ingredients if base else ())
    who = given["who"] or (base and base.who) or (ask("Who applied it") if somebody_is_there() else "")
    made = Record(area, treatment, product, ingredients, started, ended, amount, size, who,
                  given["note"] or (base.note if base else ""))  # fmt: skip
    kept = (
        from_extra(original.extra) if original is not None and original.extra else presumed(household, made)
    )
    return made, _details(common, household, made, kept, label, card, given)


def _names(label):
    return () if label is None else tuple(one.name for one in label.active_ingredients)


def _details(common, household, made, kept, label, card, given):
    words = {
        "registration_number": given["registration_number"], "method": given["method"], "target": given["target"],
        "location": given["location"], "equipment": given["equipment"], "adjuvant": given["adjuvant"],
        "licence_number": given["licence"], "certified_name": given["certified_name"],
        "certified_number": given["certified_number"], "customer": given["customer"],
        "customer_address": given["customer_address"],
    }  # fmt: skip
    changes = {name: text for name, text in words.items() if text is not None}
    if given["volume"] is not None:
        changes["mix_volume"] = quantity(given["volume"], "volume", "--volume")
    if label is not None and given["product"]:
        changes.setdefault("registration_number", label.registration_number)
        changes["restricted_use"] = label.restricted_use
    if card is not None:
        changes["start_card"] = card["id"]
    changes["weather"] = _weather(common, household, made, kept, card, given)
    return replace(kept, **changes)


def _weather(common, household, made, kept, card, given):
    """Readings given here, else those of the start card, else what was observed or forecast."""
    from advisor.cli.record_weather import weather_of
    from advisor.recording.weather_then import weather_then

    readings = dict(card["readings"]) if card is not None else {}
    for name, dimension, flag in (("wind", "speed", "wind_speed_2m"), ("temperature", "temperature", "air_temperature"),
                                  ("humidity", "percent", "relative_humidity")):  # fmt: skip
        if given[name] is not None:
            readings[flag] = quantity(given[name], dimension, f"--{name}")
    if given["wind_from"] is not None:
        readings["wind_from_direction"] = direction(given["wind_from"], "--wind-from")
    if kept.weather.source and not readings and common.weather is None:
        return kept.weather
    forecast, until, seen_as = weather_of(common, household, made)
    return weather_then(readings, forecast, made.started_at, made.ended_at, until, seen_as)


def _only_treatment(household, area):
    of_area = [one.id for one in household.treatments.values() if area in one.areas]
    if len(of_area) == 1:
        return of_area[0]
    if area not in household.areas:
        # the check says what is wrong with the area; the treatment is told apart only where there is a choice
        return next(iter(household.treatments), "") if len(household.treatments) == 1 else ""
    if somebody_is_there() and of_area:
        return click.prompt("Which treatment", type=click.Choice(of_area), err=True)
    raise UsageError(
        "it is not said which treatment this was", hint="add --treatment, one of: " + ", ".join(of_area)
    )


def _asked(flag, question, default=None):
    if default is not None:
        return default
    if not somebody_is_there():
        raise UsageError(f"--{flag} is missing and nobody is there to be asked", hint=f"add --{flag}")
    return ask(question)


# corrections ------------------------------------------------------------------------------------------------------


def _correctable(common, record_id):
    from advisor.store import Store, records

    if common.database.exists():
        with Store.open_readonly(common.database) as store:
            found, entries = records.find(store, record_id), records.history(store)
        later = next((entry for entry in entries if entry.corrects == record_id), None)
        if later is not None:
            deed = "withdrawn" if later.withdrawn else "corrected"
            raise UsageError(f'the record "{record_id}" has been {deed} already by "{later.record.id}"',
                             hint=f'correct "{later.record.id}" instead')  # fmt: skip
        if found is not None:
            return found
        ids = [entry.record.id for entry in entries]
    else:
        ids = []
    if record_id.startswith("history/"):
        raise UsageError(
            f'"{record_id}" stands in history.csv, which is yours', hint="correct it in that file"
        )
    raise UsageError(
        f'there is no record "{record_id}"', hint=did_you_mean(record_id, ids) or "see: advisor records"
    )


def _withdraw(common, household, record_id, reason, dry_run):
    entry = _correctable(common, record_id)
    if not reason:
        reason = _asked("reason", "Why is it withdrawn")
    from advisor.store import Store, records

    row_id = "(dry run)"
    if not dry_run:
        with Store.open(common.database) as store:
            row_id = records.withdraw(store, record_id, written_at=common.now, reason=reason).id
    if common.as_json:
        click.echo(json.dumps({"schema": "advisor.record/1", "withdrawn": record_id, "record": row_id, "reason": reason,
                               "kept": not dry_run}, ensure_ascii=False))  # fmt: skip
        return
    local = entry.record.started_at.astimezone(household.site.zone).strftime("%Y-%m-%d %H:%M")
    verb = "Would be withdrawn" if dry_run else "Withdrawn"
    click.echo(
        f"{verb}: the pass of {local} on {entry.record.area} ({record_id}). It counts no more and stays readable."
    )


def _tell(common, household, made, details, others, corrects, dry_run, link):
    from advisor.messages.record_text import written_text
    from advisor.recording.table import Row, row_object

    row = Row(made, details, None if dry_run else common.now, corrects, link=link)
    if common.as_json:
        whole = {
            "schema": "advisor.record/1",
            "kept": not dry_run,
            "record": row_object(row, household, others),
        }
        click.echo(json.dumps(whole, ensure_ascii=False, allow_nan=False))
        return
    click.echo(written_text(row, household, others, dry_run, width()))
