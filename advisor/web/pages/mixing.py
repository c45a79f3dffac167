"""`/mix`: product, water and adjuvant for each load of each area whose pass is next."""

from __future__ import annotations

from typing import Any

from advisor import units
from advisor.ledger import read_ledger
from advisor.messages.mix_text import REST_GRANULE, REST_SPRAY, both, mix_object, water
from advisor.mix.plan import MixPlan, MixRefused, plan_mix
from advisor.model import label_dimension
from advisor.season import season_use
from advisor.store.measurements import CALIBRATION, of_subject
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import moment_words


def mixing_page(desk: Desk, scene: Scene) -> Page:
    household, now = scene.household, scene.now
    records = [one for one in read_ledger(household, desk.database) if one.started_at <= now]
    calibrations = {one.subject: one for one in of_subject(desk.reader(), CALIBRATION, until=now)}
    plans: list[MixPlan] = []
    refused: list[tuple[str, MixRefused]] = []
    for scored in scene.outlook.tasks:
        task = scored.task
        known = calibrations.get(task.treatment.sprayer)
        try:
            plans.append(plan_mix(
                household, task.treatment, task.area,
                used=season_use(household, task.treatment, task.area, records, now),
                carrier_rate=None if known is None else known.data.get("carrier_rate"),
            ))  # fmt: skip
        except MixRefused as error:
            refused.append((f"{task.treatment.name}, {task.area.name}", error))
    sheets = [
        _sheet(plan, household.units, calibrations.get(plan.sprayer.id), household.site.zone)
        for plan in plans
    ]
    return Page(
        title="Mix",
        template="mix.html",
        context={
            "sheets": sheets,
            "refused": [
                {"title": title, "what": error.what, "problems": error.problems} for title, error in refused
            ],
            "rest": REST_GRANULE if plans and plans[0].volume is None else REST_SPRAY,
        },
        twin=mix_object(plans, [error for _, error in refused]),
    )


def _sheet(plan: MixPlan, system: str, calibration, zone) -> dict[str, Any]:
    label = plan.label
    dimension = label_dimension("rate", label.formulation)
    carrier = ""
    if plan.carrier_rate is not None:
        known = (
            f"calibrated {moment_words(calibration.taken_at, zone)}"
            if calibration
            else "as the lawn file says"
        )
        carrier = f"{units.show(plan.carrier_rate, 'carrier_rate', system)}, {plan.sprayer.name}, {known}"
    return {
        "treatment": plan.treatment.name,
        "area": plan.area.name,
        "size": units.show(plan.sprayed, "area", system),
        "product": label.product,
        "registration": label.registration_number,
        "invented": label.invented,
        "rate": f"{units.show(plan.rate, dimension, system)}, {plan.because}",
        "carrier": carrier,
        "spot": plan.spot,
        "adjuvant": "" if plan.adjuvant_share is None else f"{plan.adjuvant_share:g} % of the finished mix",
        "adjuvant_left_out": plan.adjuvant_left_out,
        "loads": [
            {
                "number": load.number,
                "product": both(load.product, system),
                "adjuvant": "" if load.adjuvant is None else both(load.adjuvant, system),
                "water": "" if load.volume is None else water(load.volume, system),
                "covers": units.show(load.area, "area", system),
            }
            for load in plan.loads
        ],
        "total": plan.loads[0].product.measure.words(plan.measured),
        "volume": "" if plan.volume is None else water(plan.volume, system),
    }
