"""The mixing sheet: what goes into each load, in what order, and what to do with the rest."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from advisor import units
from advisor.messages.cautions import cautions
from advisor.messages.wording import wrap
from advisor.mix.loads import Load
from advisor.mix.measures import Amount
from advisor.mix.plan import MixPlan, MixRefused
from advisor.model import Household

SCHEMA_ID = "advisor.mix/1"

#: common practice, no source; the label's own order comes first
_ORDER_LIQUID = (
    "Put on what the label asks for; mix on level ground, well away from wells and drains.",
    "Half fill the tank with clean water.",
    "Measure the product at eye level, pour it in, rinse the measure three times into the tank.",
    "Close and shake, or stir, until it is even.",
)
_ORDER_WEIGHED = (
    "Put on what the label asks for, and keep out of the dust; mix well away from wells and drains.",
    "Half fill the tank with clean water.",
    "Weigh the product, stir it into a little water first, then pour it in and rinse the cup three times.",
    "Stir until no lumps are left, and shake again now and then while spraying.",
)
_ORDER_GRANULE = (
    "Put on what the label asks for, and keep out of the dust.",
    "Close the hopper, weigh the granules and fill them in over a hard surface that can be swept.",
    "Spread half of it in one direction and half across, at half the setting.",
    "Sweep every granule off paths and drives back onto the lawn.",
)
_ADJUVANT_STEP = "Add the adjuvant last."
_TOP_UP = "Fill up with clean water to the mark, close, shake once more."

REST_SPRAY = (
    "Mix only what is sprayed out today; never store a finished mix.",
    "Spray a rest onto turf that the label covers and that has not had its rate yet; never twice onto the same ground.",
    "Never pour it into a drain, a sink, the street or a hole. If it cannot be used, ask your waste service.",
    "Rinse the sprayer three times and spray the rinse water onto the same labelled turf.",
)
REST_GRANULE = (
    "Put dry granules back into their own container and close it.",
    "Sweep up what is spilt; never wash it into a drain or the street.",
)


def mix_sheet(
    household: Household,
    plans: Sequence[MixPlan],
    refused: Sequence[MixRefused] = (),
    calibrated: dict[str, datetime] | None = None,
    width: int = 80,
) -> str:
    """All plans with order, rest and cautions; refusals with their reasons.

    `calibrated` tells by sprayer when it was calibrated; one that is absent has its output from lawn.toml.
    """
    lines: list[str] = []
    for plan in plans:
        lines += [*plan_lines(plan, household.units, (calibrated or {}).get(plan.sprayer.id), width), ""]
    for error in refused:
        lines += [*refusal_lines(error, width), ""]
    if plans:
        lines += ["Order of mixing (the label's own order comes first):", *_steps(plans[0], width), ""]
        rest = REST_GRANULE if plans[0].volume is None else REST_SPRAY
        lines += ["The rest:", *(wrap(text, width, "- ", "  ") for text in rest), ""]
        labels = tuple({plan.label.id: plan.label for plan in plans}.values())
        lines += ["Cautions:", *(wrap(text, width, "- ", "  ") for text in cautions(household, labels))]
    return "\n".join(lines).rstrip("\n")


def plan_lines(plan: MixPlan, system: str, calibrated: datetime | None, width: int) -> list[str]:
    label, area = plan.label, plan.area
    size = units.show(plan.sprayed, "area", system)
    where = size if not plan.spot else f"{size} really sprayed, of {units.show(area.size, 'area', system)}"
    lines = [
        wrap(
            f"Mix for {area.name} ({where}): {label.product}, registration {label.registration_number}", width
        )
    ]
    dimension = label.dimension_of("rate")
    rows = [("rate", f"{units.show(plan.rate, dimension, system)} ({plan.because})")]
    if plan.carrier_rate is not None:
        known = f"calibrated {calibrated.date().isoformat()}" if calibrated else "as lawn.toml says"
        output = units.show(plan.carrier_rate, "carrier_rate", system)
        rows.append(("sprayer", f"{output}, {plan.sprayer.name}, {known}"))
    for load in plan.loads:
        name = "load" if len(plan.loads) == 1 else f"load {load.number}"
        rows.append((name, _load_words(plan, load, system)))
    if len(plan.loads) > 1:
        rows.append(("in all", _total_words(plan, system)))
    if plan.adjuvant_share is not None:
        rows.append(("adjuvant", f"{plan.adjuvant_share:g} % of the finished mix"))
    elif plan.adjuvant_left_out:
        rows.append(("adjuvant", f"none ({plan.adjuvant_left_out})"))
    elif plan.volume is not None:
        word = {"forbidden": "the label forbids it", "unstated": "the label file says nothing of one"}
        rows.append(("adjuvant", f"none ({word.get(label.adjuvant, 'none is asked for')})"))
    if plan.batch:
        rows.append(("note", "one batch, not the whole need of the area"))
    if plan.spot:
        rows.append(
            (
                "note",
                f"the product is for {size} of sprayed ground. On less ground it is more than the label allows: "
                "wet each weed once, and stop when that much is sprayed.",
            )
        )
    return lines + [wrap(text, width, f"  {name:<9} ", " " * 12) for name, text in rows]


def refusal_lines(error: MixRefused, width: int = 80) -> list[str]:
    lines = [f"{error.what[0].upper()}{error.what[1:]}:"]
    for problem in error.problems:
        lines.append(
            wrap(problem.what + (f" ({problem.where})" if problem.where else ""), width, "  x ", "    ")
        )
        if problem.hint:
            lines.append(wrap(problem.hint, width, "    -> ", "       "))
    return lines


def _load_words(plan: MixPlan, load: Load, system: str) -> str:
    product = f"{both(load.product, system)} of {plan.label.product}"
    if load.volume is None:
        return f"{product}, for {units.show(load.area, 'area', system)}"
    extra = "" if load.adjuvant is None else f", {both(load.adjuvant, system)} of adjuvant"
    return f"{product}{extra}, water up to {water(load.volume, system)}; covers {units.show(load.area, 'area', system)}"


def _total_words(plan: MixPlan, system: str) -> str:
    product = f"{plan.loads[0].product.measure.words(plan.measured)} of {plan.label.product}"
    if plan.volume is None:
        return product
    extra = (
        ""
        if plan.adjuvant_share is None
        else (f", {plan.loads[0].adjuvant.measure.words(plan.adjuvant)} of adjuvant")
    )
    return f"{product}{extra} in {water(plan.volume, system)}"


def both(amount: Amount, system: str) -> str:
    """An amount in the measure's own unit, and in the SI one where that is another; with fillings and measure."""
    measure = amount.measure
    unit = "mL" if measure.dimension == "volume" else "g"
    other = "" if measure.unit == unit else f" = {amount.shown:,.0f} {unit}"
    fills = "" if amount.fills == 1 else f", {amount.fills} fillings"
    return f"{amount.words}{other} ({measure.name}{fills})"


def water(volume: float, system: str) -> str:
    """A volume of finished mix [mL] in gallons or litres."""
    number, unit = (volume / 3785.411784, "gal") if system == "us" else (volume / 1000.0, "L")
    return f"{number:.2f}".rstrip("0").rstrip(".") + f" {unit}"


def _steps(plan: MixPlan, width: int) -> list[str]:
    order = {"granule": _ORDER_GRANULE, "dry-sprayed": _ORDER_WEIGHED}.get(
        plan.label.formulation, _ORDER_LIQUID
    )
    steps = list(order)
    if plan.volume is not None:
        steps += [_ADJUVANT_STEP] if plan.adjuvant_share is not None else []
        steps.append(_TOP_UP)
    return [wrap(text, width, f"{number}. ", "   ") for number, text in enumerate(steps, 1)]


def short_line(plan: MixPlan, system: str) -> str:
    """One line for a notice."""
    amount = plan.loads[0].product.measure.words(plan.measured)
    line = f"Mix for {plan.area.name}: {amount} of {plan.label.product}"
    if plan.volume is None:
        return f"{line}, spread dry."
    loads = "" if len(plan.loads) == 1 else f", {len(plan.loads)} loads"
    extra = (
        ""
        if plan.adjuvant_share is None
        else (f" with {plan.loads[0].adjuvant.measure.words(plan.adjuvant)} of adjuvant")
    )
    return f"{line}{extra} in {water(plan.volume, system)} of spray{loads}."


def mix_object(plans: Sequence[MixPlan], refused: Sequence[MixRefused] = ()) -> dict:
    """The sheet for programs: SI, one object an area."""
    return {
        "schema": SCHEMA_ID,
        "mixes": [
            {
                "treatment": plan.treatment.id,
                "area": plan.area.id,
                "product": plan.label.product,
                "registration_number": plan.label.registration_number,
                "dimension": plan.dimension,
                "rate_per_m2": plan.rate,
                "label_most_per_m2": plan.ceiling,
                "rate_from": plan.because,
                "sprayed_m2": plan.sprayed,
                "carrier_rate_l_per_m2": plan.carrier_rate,
                "product_wanted": plan.product,
                "product_measured": plan.measured,
                "finished_mix_ml": plan.volume,
                "adjuvant_percent": plan.adjuvant_share,
                "adjuvant_measured_ml": None if plan.adjuvant_share is None else plan.adjuvant,
                "loads": [
                    {
                        "number": load.number,
                        "area_m2": load.area,
                        "finished_mix_ml": load.volume,
                        "product": _amount_object(load.product),
                        "adjuvant": None if load.adjuvant is None else _amount_object(load.adjuvant),
                    }
                    for load in plan.loads
                ],
            }
            for plan in plans
        ],
        "refused": [
            {
                "what": error.what,
                "problems": [
                    {"what": one.what, "where": one.where, "hint": one.hint} for one in error.problems
                ],
            }
            for error in refused
        ],
    }


def _amount_object(amount: Amount) -> dict:
    return {
        "wanted": amount.wanted,
        "shown": amount.shown,
        "text": amount.words,
        "measure": amount.measure.name,
        "fillings": amount.fills,
        "unit": "mL" if amount.measure.dimension == "volume" else "g",
    }
