"""The cautions that stand on every notice, mixing sheet and page."""

from __future__ import annotations

from advisor.model import Household, Label

#: in order of weight; shown whole on paper and page
CAUTIONS = (
    "The product label is the law: read it, follow it, and where it is stricter it overrides this advice.",
    "Local rules and permits come first; for hire, licensed applicators only. Check your state.",
    "A forecast never starts a job: measure wind, direction and temperature on the spot, and look at the leaves.",
    "Wear what the label asks for; at least gloves, long sleeves, closed shoes and eye protection.",
    "Keep people and pets off until the label's re-entry time is over AND the spray is dry.",
    "Keep away from water and drains; mix well away from wells; sweep hard surfaces; rinse onto labelled turf.",
    "Clippings do not go into compost, mulch or feed where the label says so.",
    "Keep the product in its own container, locked up and free of frost.",
    "A pass that rain washed off is never repeated inside the label's interval.",
    "This is weather advice, no agronomic prescription and no legal advice.",
)

#: the two lines that stay when there is no room
SHORT_CAUTION = "The label is the law. Check the wind and the leaf on the spot before you start."


def cautions(household: Household, labels: tuple[Label, ...]) -> list[str]:
    """All cautions, and what the labels in use add to them."""
    lines = list(CAUTIONS)
    for label in labels:
        if label.re_entry:
            lines.append(f"{label.product}: re-entry {label.re_entry}.")
        if label.signal_word:
            lines.append(f"{label.product}: signal word {label.signal_word}.")
        if label.invented:
            lines.append(
                f"{label.product} is an invented product for demonstration: its label values are made up."
            )
        if label.restricted_use:
            lines.append(f"{label.product} is a restricted-use product: certified applicators only.")
    if household.for_hire:
        lines.append("For hire: licence, pre-notice and posting before the work; records as your state asks.")
    return lines
