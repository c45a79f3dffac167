"""Several ensemble models at once: equal weight, and an end for each. Members and horizons from the provider's table of
models (31 members to day 10, 40 to day 7.5, 51 to day 15)."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import payloads
import pytest
from sources.test_ensembles import answer
from spread.forecasts import plain

from advisor.cli.scene import _read
from advisor.sources import read_answer, read_models
from advisor.spread import join, pool

NOW = datetime(2026, 6, 1, tzinfo=UTC)
MODELS = {"icon_seamless_eps": 40, "ecmwf_ifs025_ensemble": 51}


def ended(model: str, member: int, hour: int) -> bool:
    return model.startswith("icon") and hour > 180


def test_an_answer_of_several_models_is_taken_apart():
    parts = read_models(answer(48, MODELS), fetched_at=NOW)
    assert [(one.provenance.source, one.members) for one in parts] == [
        ("open-meteo icon_seamless_eps", 40), ("open-meteo ecmwf_ifs025_ensemble", 51)]  # fmt: skip
    assert parts[1].values("air_temperature")[0, :, 1].tolist() == [member / 10.0 for member in range(51)]


@pytest.mark.parametrize("models", [{"": 31}, {"gfs025": 31}])
def test_an_answer_of_one_model_stays_one(models):
    (only,) = read_models(answer(48, models), fetched_at=NOW)
    assert only.members == read_answer(answer(48, models), fetched_at=NOW).members == 31


def test_models_weigh_the_same_whatever_their_number_of_members():
    """20 members at 0 ... 1.9 degC and 51 at 0 ... 5.0: the mean of the models' means, within the stated 5 %."""
    body = answer(30, {"icon_d2": 20, "ecmwf_ifs025_ensemble": 51})
    made = _read(body, NOW)
    values = made.values("air_temperature")[0, :, 1]
    each = np.mean([np.arange(20) / 10.0]), np.mean([np.arange(51) / 10.0])
    assert values.mean() == pytest.approx(np.mean(each), abs=0.02)
    counted_once = read_answer(body, fetched_at=NOW).values("air_temperature")[0, :, 1].mean()
    assert abs(counted_once - np.mean(each)) > 0.3  # without equal weight it would be off
    assert "pooled with equal weight" in made.provenance.notes[0] and made.provenance.source == "open-meteo"


def test_a_model_that_has_ended_is_not_lost_members():
    made = _read(answer(240, MODELS, null=ended), NOW)
    known = made.fields["air_temperature"].known[0]
    assert made.nominal_members[100] == known[:, 100].sum() == 4 * 40 + 3 * 51
    assert made.nominal_members[200] == known[:, 200].sum() == 3 * 51


def test_within_its_horizon_a_model_that_is_missing_counts_as_lost():
    made = _read(answer(120, MODELS, null=lambda model, member, hour: model.startswith("icon") and hour > 48), NOW)
    assert made.nominal_members[100] == 4 * 40 + 3 * 51
    assert made.fields["air_temperature"].known[0, :, 100].sum() == 3 * 51


def test_where_no_model_reaches_nothing_is_known_and_nothing_is_counted_over_nothing():
    made = _read(answer(420, MODELS, null=lambda model, member, hour: hour > 350), NOW)
    assert not made.fields["air_temperature"].known[0, :, 400].any()
    assert made.nominal_members[400] == 4 * 40 + 3 * 51


def test_joined_to_another_run_a_model_still_ends():
    parts = read_models(answer(240, MODELS, null=ended), fetched_at=NOW)
    made = join(pool(parts), plain())
    at = made.index(np.datetime64("2026-06-09T08"))  # hour 200
    assert made.nominal_members[at] == 3 * 51
    assert made.nominal_members[made.index(np.datetime64("2026-06-03T08"))] == 4 * 40 + 3 * 51
    assert (made.nominal_members > 0).all()


def test_a_real_answer_of_two_models():
    parts = read_models(payloads.body("openmeteo/ensemble_multimodel_icon40_ecmwf51_20261003.json"))
    assert [one.members for one in parts] == [40, 51]
