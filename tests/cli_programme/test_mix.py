"""`advisor mix` on the invented households. Our own behaviour, no outside source."""

from __future__ import annotations

import pytest

from tests.cli_programme.conftest import FIXTURES

NOW = "2026-09-21T12:00Z"


def test_the_sheet(run):
    said = run("mix", now=NOW)
    assert said.status == 0
    for words in ("4.8 fl oz = 142 mL", "water up to 3.2 gal", "load 2", "in all", "8.1 fl oz", "Order of mixing",
                  "never store a finished mix", "The product label is the law", "invented product"):  # fmt: skip
        assert words in " ".join(said.out.split()), words
    assert all(len(line) <= 80 for line in said.out.splitlines())


def test_the_sheet_for_programs_adds_up(run):
    whole = run("mix", "--json", now=NOW).json
    assert whole["schema"] == "advisor.mix/1" and whole["refused"] == []
    for mix in whole["mixes"]:
        assert sum(load["product"]["shown"] for load in mix["loads"]) == pytest.approx(
            mix["product_measured"]
        )
        assert sum(load["area_m2"] for load in mix["loads"]) == pytest.approx(mix["sprayed_m2"])
        assert mix["product_measured"] <= mix["label_most_per_m2"] * mix["sprayed_m2"] * (1 + 1e-9)


def test_granules_by_weight(run):
    said = run("mix", now="2026-09-21T21:00Z", folder=FIXTURES / "southern-lawn")
    assert said.status == 0 and "2,700 g (balance)" in said.out and "water up to" not in said.out


def test_a_measure_that_is_too_coarse_refuses_with_the_one_to_get(run):
    said = run("mix", "--area", "front", "--measure", "jug, steps of 20 mL", now=NOW)
    assert said.status == 2
    assert "cannot show 142 mL" in said.out and "steps of 5 mL or finer" in said.out
    whole = run("mix", "--json", "--area", "front", "--measure", "jug, steps of 20 mL", now=NOW)
    assert whole.status == 2 and whole.json["refused"][0]["problems"][0]["hint"]


def test_spots_and_batches(run):
    # 0.9 fl oz on marks of 0.1 can be read no better than 5.6 %
    said = run("mix", "--area", "front", "--sprayed", "600 ft^2", now=NOW)
    assert said.status == 2 and "within 5 %" in said.out
    fine = ("--measure", "syringe, steps of 1 mL")
    said = run("mix", "--area", "front", "--sprayed", "600 ft^2", *fine, now=NOW)
    assert "26 mL" in said.out and "600 ft² really sprayed, of 3,200 ft²" in " ".join(said.out.split())
    said = run("mix", "--area", "front", "--volume", "1 gal", now=NOW)
    assert "1.5 fl oz" in said.out and "one batch" in said.out


def test_the_year_that_is_full_mixes_nothing(run, record):
    assert record().status == 0
    said = run("mix", "--treatment", "broadleaf", "--area", "front")
    assert said.status == 2 and "would pass the label's" in " ".join(said.out.split())


def test_no_open_pass_is_no_mix(run, record):
    record()
    record("--area", "back", "--amount", "8.1 floz", "--size", "5400 ft^2")
    assert "nothing to mix" in run("mix").out


CALIBRATIONS = {
    "1/128 acre": (("--caught", "40 floz", "--walked", "51 s"), "40 gal/acre"),
    "1/128 acre, several walks": (("--caught", "7.5 floz", "--walked", "16 s", "--walked", "18 s"), "7.5 gal/acre"),
    "known area": (("--used", "1.5 gal", "--on", "1000 ft^2"), "65.34 gal/acre"),
}  # fmt: skip


@pytest.mark.parametrize("case", CALIBRATIONS)
def test_calibrations_of_both_methods_are_kept(run, case):
    """40 fl oz are 40 gal/acre, 7.5 are 7.5, 1.5 gal on 1,000 ft2 are 65.34: the extension services' examples."""
    options, says = CALIBRATIONS[case]
    said = run("mix", "calibrate", "knapsack", *options, now=NOW)
    assert said.status == 0 and says in said.out and "Kept" in said.out
    assert case.split(",")[0] in run("mix", "calibrations", now=NOW).out


def test_the_newest_calibration_counts_and_the_sheet_says_so(run):
    run("mix", "calibrate", "knapsack", "--used", "1.5 gal", "--on", "1000 ft^2", now="2026-05-01T12:00Z")
    run("mix", "calibrate", "knapsack", "--used", "2 gal", "--on", "1000 ft^2", now="2026-09-01T12:00Z")
    said = run("mix", "--area", "front", now=NOW)
    text = " ".join(said.out.split())
    assert (
        "in 6.4 gal" in text and "calibrated 2026-09-01" in text and "correct carrier_rate there" in said.err
    )
    # what was mixed in spring was mixed by the calibration of then
    assert "calibrated 2026-05-01" in run("mix", "--area", "front", now="2026-08-26T12:00Z").out
    assert len(run("mix", "calibrations", now=NOW).out.splitlines()) == 2


def test_the_household_may_be_named_behind_the_subcommand(home, monkeypatch, capsys):
    import sys

    from advisor.cli import main

    words = [
        "mix",
        "calibrate",
        "knapsack",
        "--caught",
        "40 floz",
        "--home",
        str(home),
        "--now",
        NOW,
        "--json",
    ]
    monkeypatch.setattr(sys, "argv", ["advisor", *words])
    with pytest.raises(SystemExit) as stop:
        main()
    assert not stop.value.code
    assert '"carrier_rate_l_per_m2"' in capsys.readouterr().out and (home / "advisor.db").exists()


def test_a_trial_run_keeps_nothing(run, home):
    assert run("mix", "calibrate", "knapsack", "--caught", "40 floz", "--dry-run", now=NOW).status == 0
    assert not (home / "advisor.db").exists()


BAD = {
    "an unknown sprayer": ("calibrate", "napsack", "--caught", "40 floz"),
    "both methods at once": ("calibrate", "knapsack", "--caught", "40 floz", "--used", "1 gal"),
    "neither method": ("calibrate", "knapsack"),
    "no area": ("calibrate", "knapsack", "--used", "1 gal"),
    "nothing caught": ("calibrate", "knapsack", "--caught", "0 floz"),
    "no unit": ("calibrate", "knapsack", "--caught", "40"),
    "weight for volume": ("calibrate", "knapsack", "--caught", "40 oz"),
    "uneven walks": ("calibrate", "knapsack", "--caught", "40 floz", "--walked", "50 s", "--walked", "70 s"),
    "a watering can": ("calibrate", "knapsack", "--used", "200 gal", "--on", "1000 ft^2"),
    "an unknown area": ("--area", "frnt"),
    "an unknown treatment": ("--treatment", "weeds"),
    "a spoon": ("--measure", "tablespoon, steps of 0.5 floz"),
    "a negative size": ("--area", "front", "--sprayed", "-1 ft^2"),
    "one size for two areas": ("--sprayed", "100 ft^2"),
    "a size without a unit": ("--area", "front", "--sprayed", "600"),
    "more spray than is needed": ("--area", "front", "--volume", "9 gal"),
    "an unknown option": ("--speed", "4"),
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_bad_input_is_told_and_keeps_nothing(run, home, case, form):
    said = run("mix", *form, *BAD[case], now=NOW)
    assert said.status == 2 and said.err + said.out
    assert not (home / "advisor.db").exists()
