"""Several sources as one ensemble: equal weight per model, no matching of members, lost members stay unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.forecast import Reason
from advisor.logic import Kleene, within
from advisor.spread import join, padded, pool
from advisor.spread.pooling import EQUAL_WITHIN, repeats_for_equal_weight
from advisor.verdict import chances
from tests.spread.forecasts import HOURS, START, blocks, ensemble, field, plain


def test_an_ensemble_that_lost_all_members_but_one_is_not_shared_by_all():
    lost = replace(ensemble(members=1), nominal_members=np.full(HOURS, 31))
    full = padded(lost)
    values = full.values("air_temperature")
    assert values.shape == (1, 31, HOURS)
    assert (~np.isnan(values)).sum(axis=1).max() == 1
    # the one member that is there is one of 31, not all of them
    warm = within(values[:, :, :5], at_least=-50.0)
    chance = chances(warm, full.nominal_members[:5])
    np.testing.assert_allclose(chance.lower, 1 / 31)
    np.testing.assert_allclose(chance.upper, 1.0)


def test_members_that_never_arrived_are_there_as_unknown():
    lost = replace(ensemble(members=9), nominal_members=np.full(HOURS, 20))
    assert padded(lost).values("wind_speed_10m").shape[1] == 20


def test_a_forecast_without_members_is_left_alone():
    forecast = plain()
    assert padded(forecast) is forecast


@pytest.mark.parametrize("counts", [[51, 31], [40, 31, 21], [51, 51], [18, 51], [64, 40]])
def test_models_weigh_the_same_whatever_their_number_of_members(counts):
    totals = np.array(repeats_for_equal_weight(counts)) * np.array(counts)
    assert totals.max() / totals.min() - 1.0 <= EQUAL_WITHIN + 1e-9
    assert totals.max() <= 4.1 * max(counts)


def test_where_no_small_number_of_repeats_is_equal_enough_the_best_is_taken():
    totals = np.array(repeats_for_equal_weight([31, 21, 18, 51])) * np.array([31, 21, 18, 51])
    assert totals.max() / totals.min() - 1.0 < 0.10


def test_a_pooled_chance_is_the_mean_of_the_models_chances():
    dry = ensemble(members=50, source="a", precipitation=field(np.zeros((50, HOURS))))
    wet = ensemble(members=20, source="b", precipitation=field(np.ones((20, HOURS))))
    together = pool([dry, wet])
    holds = within(together.values("precipitation"), at_most=0.2)
    chance = chances(Kleene(holds.holds, holds.known), together.nominal_members)
    np.testing.assert_allclose(chance.lower, 0.5, atol=0.02)
    assert together.nominal_members[0] == together.members == 200
    assert together.provenance.spread == "ensemble"
    assert together.provenance.source == "a+b"


def test_members_of_one_source_keep_their_own_weather():
    one, two = ensemble(members=12, seed=1, source="a"), ensemble(members=12, seed=2, source="b")
    together = pool([one, two])
    for name in ("air_temperature", "precipitation"):
        np.testing.assert_array_equal(together.values(name)[:, :12], one.values(name))
        np.testing.assert_array_equal(together.values(name)[:, 12:], two.values(name))


def test_a_source_that_ends_earlier_is_unknown_after_its_end():
    long, short = ensemble(members=12, source="a"), ensemble(members=12, hours=100, source="b", seed=3)
    together = pool([long, short])
    values = together.values("air_temperature")
    assert np.isnan(values[:, 12:, 100:]).all() and not np.isnan(values[:, :12]).any()
    assert list(together.nominal_members[[99, 100]]) == [24, 12]
    holds = within(values, at_least=-50.0)
    chance = chances(holds, together.nominal_members)
    # at that lead the other source's members are all that are promised
    assert chance.lower[0, 150] == 1.0
    span = within(values[..., 90:150].min(axis=-1, keepdims=True), at_least=-50.0)
    chance = chances(span, together.nominal_members[90:91])
    assert chance.lower[0, 0] == 0.5 and chance.upper[0, 0] == 1.0


def test_a_variable_that_one_lacks_is_lent_as_one_value_and_says_so():
    cloudy = ensemble(
        members=12, source="a", cloud_cover=field(np.linspace(0, 100, 12)[:, None] * np.ones(HOURS))
    )
    together = pool([cloudy, ensemble(members=12, source="b", seed=2)])
    lent = together.values("cloud_cover")[0, 12:]
    np.testing.assert_allclose(lent, 50.0)
    assert any("dependence assumed" in note and "of b" in note for note in together.provenance.notes)


def test_lent_directions_are_averaged_around_the_circle():
    north = ensemble(
        members=2, source="a", wind_from_direction=field(np.array([[350.0], [20.0]]) * np.ones(HOURS))
    )
    together = pool([north, ensemble(members=2, source="b")])
    np.testing.assert_allclose(together.values("wind_from_direction")[0, 2:], 5.0)


def test_rain_is_never_lent():
    dry = ensemble(members=12, source="a", precipitation=None)
    together = pool([dry, ensemble(members=12, source="b", seed=2)])
    assert np.isnan(together.values("precipitation")[:, :12]).all()
    assert not any("rain" in note and "dependence" in note for note in together.provenance.notes)


def test_blocks_of_a_pool_hold_those_of_every_source():
    rain = field(np.zeros((12, HOURS)), *blocks(HOURS, 6))
    together = pool([ensemble(members=12, precipitation=rain), ensemble(members=12, source="b")])
    one = together.fields["precipitation"]
    assert one.block_first[0, 0, 63] == 60 and one.block_last[0, 0, 63] == 65


def test_permuting_the_sources_changes_no_chance():
    parts = [ensemble(members=12, seed=1, source="a"), ensemble(members=18, seed=2, source="b")]
    found = []
    for order in (parts, parts[::-1]):
        together = pool(order)
        found.append(
            chances(within(together.values("precipitation"), at_most=0.2), together.nominal_members).lower
        )
    np.testing.assert_array_equal(*found)


def test_one_forecast_is_no_pool():
    forecast = ensemble()
    assert pool([forecast]).fields == padded(forecast).fields
    with pytest.raises(ValueError, match="at least one"):
        pool([])


# joining --------------------------------------------------------------------------------------------------------


def test_what_the_ensemble_lacks_is_borrowed_shared_by_all_and_said():
    joined = join(ensemble(), plain())
    assert joined.values("cloud_cover").shape == (1, 1, HOURS)
    assert joined.values("air_temperature").shape[1] == 10
    assert any("dependence assumed" in note and "test-source" in note for note in joined.provenance.notes)
    assert joined.provenance.spread == "ensemble"
    assert joined.provenance.source == "test-ensemble"


def test_the_ensembles_own_values_are_never_replaced():
    own = ensemble()
    joined = join(own, plain())
    for name in own.fields:
        np.testing.assert_array_equal(joined.values(name), own.values(name))


def test_a_chance_of_rain_is_not_counted_beside_members():
    assert "precipitation_probability" not in join(ensemble(), plain()).fields
    without = join(ensemble(precipitation=None), plain())
    assert "precipitation_probability" in without.fields


def test_past_hours_come_from_the_other_source_and_are_the_same_in_all_members():
    late = ensemble(hours=100)
    late = replace(late, start=START + np.timedelta64(50, "h"))
    joined = join(late, plain())
    past = joined.values("air_temperature")[0, :, :50]
    np.testing.assert_array_equal(
        past, np.broadcast_to(plain().values("air_temperature")[0, 0, :50], past.shape)
    )
    np.testing.assert_array_equal(
        joined.values("air_temperature")[..., 50:150], late.values("air_temperature")
    )
    # what lies after the ensemble's end is not known
    assert np.isnan(joined.values("air_temperature")[..., 150:]).all()
    assert (joined.reason("air_temperature")[..., 150:] == Reason.AFTER_END).all()


def test_blocks_of_the_past_move_with_it():
    late = replace(ensemble(hours=100), start=START + np.timedelta64(50, "h"))
    rainy = plain(precipitation=field(np.ones(HOURS), *blocks(HOURS, 6)))
    one = join(late, rainy).fields["precipitation"]
    assert one.block_first[0, 0, 13] == 12 and one.block_last[0, 0, 13] == 17
    assert one.block_first[0, 0, 80] == 80


def test_a_joined_forecast_is_as_old_as_its_oldest_part():
    older = replace(plain(), provenance=replace(plain().provenance, issued_at=None))
    assert join(ensemble(), older).provenance.issued_at is None


def test_a_lost_ensemble_joined_is_still_mostly_unknown():
    lost = replace(ensemble(members=1), nominal_members=np.full(HOURS, 31))
    joined = join(lost, plain())
    chance = chances(within(joined.values("air_temperature"), at_least=-50.0), joined.nominal_members)
    assert chance.lower.max() <= 1 / 31 + 1e-12
