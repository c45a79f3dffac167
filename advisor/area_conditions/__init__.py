"""What differs by area or by person, each computed once and only when a rule asks for it."""

from advisor.area_conditions.area import AreaConditions

__all__ = ["AreaConditions"]
