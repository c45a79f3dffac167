"""The mix for one pass on one area: product, water and adjuvant for each tank load and in all.

Every number stays on the safe side of the label: the rate is that of the most sensitive turf of the area, a measured
amount is rounded down to a mark where rounding up would pass the label, and where something that the label or the
person must say is missing, there is no mix at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from advisor import units
from advisor.errors import Problem, UsageError
from advisor.mix.allowed import adjuvant_problems, label_problems, label_rate, season_problems
from advisor.mix.arithmetic import area_covered
from advisor.mix.loads import Load, Recipe, cut_into_loads
from advisor.mix.measures import Measure, read_measures
from advisor.model import Area, Household, Label, Sprayer, Treatment
from advisor.season import SeasonUse

_EPS = 1e-9


class MixRefused(UsageError):
    """There is no mix, and each problem says why and what to do."""

    code = "no_mix"


@dataclass(frozen=True, slots=True)
class MixPlan:
    """What to mix. Rates in mL/m² or g/m², `carrier_rate` in L/m², areas in m².

    `ceiling` is the label's own most for this turf; `rate` is planned and never above it. `because` says where the
    rate comes from. `adjuvant_left_out` says why an adjuvant that the label allows is not in the mix.
    """

    treatment: Treatment
    area: Area
    label: Label
    sprayer: Sprayer
    rate: float
    ceiling: float
    because: str
    sprayed: float
    carrier_rate: float | None
    loads: tuple[Load, ...]
    adjuvant_share: float | None = None
    adjuvant_left_out: str = ""
    #: one batch instead of the whole need
    batch: bool = False

    @property
    def dimension(self) -> str:
        return self.label.amount_dimension

    @property
    def spot(self) -> bool:
        """Whether only part of the area is sprayed."""
        return self.treatment.method == "spot" or self.sprayed < self.area.size * (1.0 - 1e-6)

    @property
    def product(self) -> float:
        """Product by the rate, over all loads [mL or g]."""
        return math.fsum(load.product.wanted for load in self.loads)

    @property
    def measured(self) -> float:
        """Product as the measure shows it, over all loads [mL or g]."""
        return math.fsum(load.product.shown for load in self.loads)

    @property
    def volume(self) -> float | None:
        """Finished mix over all loads [mL]."""
        return None if self.carrier_rate is None else math.fsum(load.volume for load in self.loads)

    @property
    def adjuvant(self) -> float:
        """Adjuvant as the measure shows it, over all loads [mL]."""
        return math.fsum(load.adjuvant.shown for load in self.loads if load.adjuvant is not None)


def plan_mix(
    household: Household,
    treatment: Treatment,
    area: Area,
    *,
    measures: Sequence[Measure] | None = None,
    carrier_rate: float | None = None,
    sprayed: float | None = None,
    batch: float | None = None,
    adjuvant: bool = False,
    used: SeasonUse | None = None,
) -> MixPlan:
    """The mix of one pass on one area.

    Parameters
    ----------
    measures : sequence of Measure, optional
        Instead of those that the sprayer's entry names.
    carrier_rate : float, optional
        [L/m²] from a newer calibration than the sprayer's entry.
    sprayed : float, optional
        [m²] really sprayed; the area's size times the treatment's share when not given.
    batch : float, optional
        [mL] of finished mix to make instead of the whole need, such as one hand can.
    adjuvant : bool
        Add the adjuvant that the label allows; one that it requires is always added.
    used : SeasonUse, optional
        Checked against the label's year where given.

    Raises
    ------
    MixRefused
        With every reason why there is no mix.
    """
    label, sprayer = household.labels[treatment.label], household.sprayers[treatment.sprayer]
    dry = label.formulation == "granule"
    carrier = None if dry else (carrier_rate if carrier_rate is not None else sprayer.carrier_rate)
    problems = [
        *label_problems(label, area),
        *_sprayer_problems(label, sprayer, carrier),
        *adjuvant_problems(label, adjuvant),
    ]
    measures = _measures(measures, sprayer, problems)
    size = _sprayed_size(treatment, area, sprayed, batch, carrier, problems, household.units)
    highest = label_rate(label, area)
    rate, because = _planned(treatment, highest, label, problems)
    if used is not None and rate is not None:
        problems += season_problems(label, rate, used, household.units)
    if problems:
        raise MixRefused(f"no mix for {area.name}", problems=problems)
    share = label.limits.get("adjuvant_share") if label.adjuvant == "required" or adjuvant else None
    recipe = Recipe(rate, highest[0], carrier, label.amount_dimension, share, measures)
    loads = cut_into_loads(size, sprayer.tank, recipe)
    if isinstance(loads, list):
        raise MixRefused(f"no mix for {area.name}", problems=loads)
    left_out = label.adjuvant == "allowed" and share is None
    return MixPlan(
        treatment=treatment,
        area=area,
        label=label,
        sprayer=sprayer,
        rate=rate,
        ceiling=highest[0],
        because=because,
        sprayed=size,
        carrier_rate=carrier,
        loads=loads,
        adjuvant_share=share,
        adjuvant_left_out="the label allows one; it is left out unless you ask for it" if left_out else "",
        batch=batch is not None,
    )


# what stands in the way -------------------------------------------------------------------------------------------


def _measures(
    given: Sequence[Measure] | None, sprayer: Sprayer, problems: list[Problem]
) -> Sequence[Measure]:
    """What the product is measured with, by the sprayer's entry where none is given; adds why there is none."""
    if given is None:
        try:
            given = read_measures(sprayer.measure)
        except UsageError as error:
            problems += error.problems
            return ()
    if not given:
        problems.append(
            Problem(
                f'what the product is measured with is not stated for "{sprayer.id}"',
                "",
                'write measure = "measuring cylinder, steps of 0.1 fl oz" in its table of lawn.toml',
            )
        )
    return given


def _sprayer_problems(label: Label, sprayer: Sprayer, carrier: float | None) -> list[Problem]:
    if label.formulation == "granule":
        if sprayer.kind == "spreader":
            return []
        return [Problem(f'a granule is spread dry, and "{sprayer.id}" is no spreader', "", "name a spreader")]
    if sprayer.kind == "spreader":
        return [Problem(f'"{sprayer.id}" is a spreader and holds no water', "", "name a sprayer")]
    if carrier is None or not (math.isfinite(carrier) and carrier > 0.0):
        return [
            Problem(
                f'how much "{sprayer.id}" puts out is not known',
                "",
                f"calibrate it with water: advisor mix calibrate {sprayer.id}",
            )
        ]
    return []


def _sprayed_size(treatment, area, sprayed, batch, carrier, problems, system) -> float:
    """[m²] that this mix is for."""
    whole = area.size * (treatment.sprayed_share if sprayed is None else 1.0)
    size = whole if sprayed is None else sprayed
    if not (math.isfinite(size) and size > 0.0):
        problems.append(Problem("nothing is to be sprayed", "", 'say how much: --sprayed "600 ft^2"'))
        return math.nan
    if size > area.size * (1.0 + _EPS):
        shown, most = (units.show(one, "area", system) for one in (size, area.size))
        problems.append(Problem(f"{shown} are more than {area.name} holds ({most})", "", "measure it again"))
    if batch is None:
        return size
    if carrier is None:
        problems.append(
            Problem("a batch is a volume of spray, and this product is spread dry", "", "leave it out")
        )
        return size
    if not (math.isfinite(batch) and batch > 0.0):
        problems.append(Problem("the batch must be more than nothing", "", 'write --volume "1 gal"'))
        return size
    covers = float(area_covered(batch / 1000.0, carrier))
    if covers > size * (1.0 + _EPS):
        needed, wanted = (units.show(one, "volume", system) for one in (size * carrier * 1000.0, batch))
        problems.append(
            Problem(
                f"{wanted} are more than {area.name} takes: {needed} are enough",
                "",
                "mix no more than is sprayed out the same day",
            )
        )
    return min(covers, size)


def _planned(
    treatment: Treatment, highest: tuple[float, str] | None, label: Label, problems: list[Problem]
) -> tuple[float | None, str]:
    """The rate of this mix and where it comes from; adds why there is none."""
    if highest is None:
        if "rate" not in label.blank and "maximum_per_application" not in label.blank:
            problems.append(
                Problem("the label file states no rate", label.source_file, "copy it from the label")
            )
        return None, ""
    most, because = highest
    if treatment.rate is None or treatment.rate >= most * (1.0 - _EPS):
        # a treatment of several areas carries the lowest of their rates already
        return most, because
    return (
        treatment.rate,
        "the treatment's rate, the lowest of its areas or your own; the label allows more here",
    )
