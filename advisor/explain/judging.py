"""The verdicts of a household's starts together with what explains them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.clock import to_numpy
from advisor.explain.reasons import Explainer
from advisor.model import Household
from advisor.rulebook.evaluate import Finding
from advisor.verdict import chance_floors, judge_starts


def judged(
    findings: Sequence[Finding], area: AreaConditions, household: Household, now: datetime
) -> Explainer:
    """Judge every start by the household's own floors and horizon, as it stands at `now`.

    Parameters
    ----------
    findings : sequence of Finding
        All rules on `area`.
    """
    forecast, settings = area.conditions.forecast, household.settings
    lead_hours = (forecast.axis.astype("datetime64[s]") - to_numpy(now)) / np.timedelta64(3600, "s")
    floors, horizon = chance_floors(settings), settings.horizon_hours
    verdicts = judge_starts(
        findings, forecast.nominal_members, lead_hours, floors, horizon, floors["everything"]
    )
    return Explainer(findings, verdicts, area, lead_hours, floors, horizon, household.units)
