"""Members for forecasts that have none, and the correction of those that have: layer 2, arrays only.

=============  ============================================================================================
stated         the sizes of forecast errors that are assumed where nothing has been learned, by lead time
noise          seeded, correlated, stratified standard noise
assumed        members for a source without members
rain_members   the rain of those members, from chance and amount together
pooling        several sources as one ensemble
pairs          forecasts beside what was then measured, and what of them can be believed
learned        bias and spread of one site by lead, from such pairs
corrected      members moved and widened by what was learned
=============  ============================================================================================
"""

from advisor.spread.assumed import ASSUMED, with_assumed_members
from advisor.spread.corrected import apply_learned
from advisor.spread.learned import Learned, learn
from advisor.spread.pairs import Pairs, control_pairs
from advisor.spread.pooling import join, padded, pool

__all__ = [
    "ASSUMED",
    "Learned",
    "Pairs",
    "apply_learned",
    "control_pairs",
    "join",
    "learn",
    "padded",
    "pool",
    "with_assumed_members",
]
