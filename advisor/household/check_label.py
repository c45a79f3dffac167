"""Checks of a label's fields against each other, and what each field costs that is left out."""

from __future__ import annotations

from advisor.household import build, turf
from advisor.household.files import TomlFile
from advisor.household.findings import Findings
from advisor.model import RATE_FIELDS, label_dimension
from advisor.units import show


def check_label(file: TomlFile, found: Findings) -> None:
    """Errors that stand in the label itself."""
    values = file.values
    if not _formulation(file, values, found):
        return
    _strengths(file, values, found)
    _maxima(file, values, found)
    _turf_rates(file, values, found)
    _turf_shares(file, values, found)
    for low, high in (("wind_min", "wind_max"), ("temperature_min", "temperature_max")):
        least, most = getattr(values, low), getattr(values, high)
        if least is not None and most is not None and least >= most:
            dimension = label_dimension(low)
            below, above = show(least, dimension, found.units), show(most, dimension, found.units)
            what = f"{low} {below} is not below {high} {above}"
            found.error(file, what, "check both against the label", low)
    if values.gust_max is not None and values.wind_max is not None and values.gust_max < values.wind_max:
        found.warn(file, "gust_max is below wind_max", "check both against the label", "gust_max")
    if values.adjuvant in ("forbidden", "unstated") and values.adjuvant_share is not None:
        what = f'adjuvant_share is given, but adjuvant is "{values.adjuvant}"'
        found.error(
            file,
            what,
            'write adjuvant = "allowed" or "required", or leave adjuvant_share out',
            "adjuvant_share",
        )
    if values.adjuvant == "required" and values.adjuvant_share is None:
        found.warn(
            file,
            "an adjuvant is required, but adjuvant_share is not given",
            'such as "0.25 percent"',
            "adjuvant",
        )


def _formulation(file: TomlFile, values, found: Findings) -> bool:
    """Whether all rates measure what the formulation is measured by."""
    wanted = label_dimension("rate", build.formulation(values))
    fields = [name for name in RATE_FIELDS if getattr(values, name) is not None]
    wrong = [name for name in fields if getattr(values, name)[1] != wanted]
    for name in wrong:
        if values.formulation is None:
            what = f"`{name}` is a mass per area, but the label does not say how the product comes"
            hint = 'add formulation = "granule" (spread dry) or "dry-sprayed"; fl oz is a volume'
        elif wanted == "volume_rate":
            what = f'`{name}` is a mass per area, but formulation is "liquid"'
            hint = (
                'a liquid has rates such as "1.5 floz/1000 ft^2" (oz is a weight); else correct formulation'
            )
        else:
            what = f'`{name}` is a volume per area, but formulation is "{values.formulation}"'
            hint = 'what is weighed has rates such as "15 g/m^2" or "3 lb/1000 ft^2" (floz is a volume)'
        found.error(file, what, hint, name)
    return not wrong


def _strengths(file: TomlFile, values, found: Findings) -> None:
    liquid = build.formulation(values) == "liquid"
    for index, one in enumerate(values.active_ingredient):
        if one.acid_equivalent is None:
            continue
        if (one.acid_equivalent[1] == "concentration") != liquid:
            kind = "a liquid" if liquid else "weighed"
            what = f'acid_equivalent of "{one.name}" does not fit a product that is {kind}'
            hint = 'write "240 g/L" or "2 lb/gal"' if liquid else 'write "12 g/kg" or "1.2 percent"'
            found.error(file, what, hint, "active_ingredient", index, "acid_equivalent")


def _maxima(file: TomlFile, values, found: Findings) -> None:
    order = [name for name in RATE_FIELDS if getattr(values, name) is not None]
    for lower, upper in zip(order, order[1:], strict=False):
        small, large = getattr(values, lower)[0], getattr(values, upper)[0]
        if small > large * (1.0 + 1e-9):
            dimension = getattr(values, lower)[1]
            what = (
                f"{lower} {show(small, dimension, found.units)} is more than the label's own "
                f"{upper} {show(large, dimension, found.units)}"
            )
            found.error(file, what, "check both against the label", lower)


def _turf_shares(file: TomlFile, values, found: Findings) -> None:
    listed = set(turf.expand(tuple(values.turf_species)))
    for name in values.turf_shares:
        species = turf.canonical_name(name)
        if species is None:
            hint = turf.suggestion(name)
            found.error(file, f'"{name}" is not a turf species that is known here', hint, "turf_shares", name)
        elif species not in listed:
            what = f'turf_shares names "{name}", which turf_species does not'
            found.error(file, what, "add it to turf_species, if the label lists it", "turf_shares", name)


def _turf_rates(file: TomlFile, values, found: Findings) -> None:
    listed = set(turf.expand(tuple(values.turf_species)))
    wanted = label_dimension("rate", build.formulation(values))
    for name, (rate, dimension) in values.turf_rates.items():
        species = turf.canonical_name(name)
        if species is None:
            hint = turf.suggestion(name)
            found.error(file, f'"{name}" is not a turf species that is known here', hint, "turf_rates", name)
        elif species not in listed:
            hint = "add it to turf_species, if the label lists it"
            found.error(
                file, f'turf_rates names "{name}", which turf_species does not', hint, "turf_rates", name
            )
        elif dimension != wanted:
            found.error(
                file, f'the rate for "{name}" is not a {wanted.replace("_", " ")}', "", "turf_rates", name
            )
        elif values.rate is not None and rate > values.rate[0] * (1.0 + 1e-9):
            what = f'the rate for "{name}" is more than `rate`'
            found.error(
                file,
                what,
                "rate is the highest of the label; turf_rates are the lower ones",
                "turf_rates",
                name,
            )
