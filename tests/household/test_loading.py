"""What a good folder becomes. Behaviour of our own; units are checked against their exact definitions."""

import json
import pickle
import subprocess
import sys
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import InvalidFile
from advisor.household import load
from advisor.model import LABEL_QUANTITIES, label_dimension
from tests.household.folder import LABEL, TREATMENT, changed, write

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DEMO_NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)


@pytest.fixture
def household(tmp_path):
    return load(write(tmp_path))


def test_lengths_areas_and_rates_are_si(household):
    """0.3048 m to the foot, 29.5735295625 mL to the US fluid ounce, by definition (NIST Handbook 44)."""
    assert household.areas["front"].size == pytest.approx(3200 * 0.3048**2, rel=1e-12)
    assert household.areas["back"].neighbours[0].distance == pytest.approx(12 * 0.3048, rel=1e-12)
    assert household.site.elevation == pytest.approx(880 * 0.3048, rel=1e-12)
    limits = household.labels["concentrate"].limits
    assert limits["rate"] == pytest.approx(1.5 * 29.5735295625 / (1000 * 0.3048**2), rel=1e-12)
    assert limits["wind_max"] == pytest.approx(10 * 0.44704, rel=1e-12)
    assert limits["temperature_max"] == pytest.approx((85 - 32) / 1.8, abs=1e-9)
    assert limits["minimum_interval"] == 14 * 24
    assert household.sprayers["knapsack"].tank == pytest.approx(4 * 3785.411784, rel=1e-12)


def test_irrigation_none_is_known_and_absent_is_not(tmp_path):
    text = changed("lawn.toml", 'irrigation = "none"\n', "")
    assert load(write(tmp_path / "a")).areas["front"].irrigation == ()
    household = load(write(tmp_path / "b", text))
    assert household.areas["front"].irrigation is None
    watering = household.areas["back"].irrigation[0]
    assert (watering.weekdays, watering.at, watering.duration) == (frozenset({1, 4}), time(5, 30), 1.0)
    assert watering.depth == pytest.approx(0.15 * 25.4, rel=1e-12)


def test_what_is_not_stated_stays_none(tmp_path):
    lawn = """
name = "Bare"
units = "metric"
[site]
latitude = -37.8
longitude = 145
time_zone = "Australia/Melbourne"
[[area]]
id = "a"
size = "100 m^2"
turf = ["couch"]
[[sprayer]]
id = "s"
tank = "5 L"
[hours]
"""
    household = load(write(tmp_path, {"lawn.toml": lawn, **dict.fromkeys(
        ("labels/concentrate.toml", "treatments/broadleaf.toml", "history.csv"))}))  # fmt: skip
    site, area, sprayer = household.site, household.areas["a"], household.sprayers["s"]
    assert [site.elevation, site.soil, site.first_frost, site.use, site.local_ban] == [None] * 5
    assert [area.irrigation, area.soil_state, area.green_share, area.last_mowed, area.open_flowers] == [
        None
    ] * 5
    assert [sprayer.carrier_rate, sprayer.work_rate, sprayer.last_contents, sprayer.rinsed] == [None] * 4
    assert area.turf == ("bermudagrass",)
    assert area.turf_season == "warm-season"
    assert household.hours == dict.fromkeys(range(7), ())
    assert household.treatments == {}


def test_the_narrower_hours_win(tmp_path):
    old = 'weekdays = ["06:30-08:30", "16:30-20:00"]\nweekend = "08:00-19:00"'
    new = 'wed = "none"\nweekend = ["10:00-11:00"]\nevery_day = "17:00-19:00"\nMonday = "07:00-08:00"'
    hours = load(write(tmp_path, changed("lawn.toml", old, new))).hours
    evening, ten, seven = (time(17), time(19)), (time(10), time(11)), (time(7), time(8))
    assert [hours[day] for day in range(7)] == [
        (seven,), (evening,), (), (evening,), (evening,), (ten,), (ten,),
    ]  # fmt: skip


def test_blank_required_fields_do_not_stop_the_load(tmp_path):
    text = LABEL.replace('"6 h"', '""').replace('registration_number = "TEST-1"\n', "")
    text = text.replace('["Kentucky bluegrass", "tall fescue"]', "[]").replace('"when dry"', '"  "')
    label = load(write(tmp_path, {"labels/concentrate.toml": text})).labels["concentrate"]
    assert label.blank == ("registration_number", "turf_species", "rainfast_time", "re_entry")
    assert "rainfast_time" not in label.limits


def test_required_fields_go_by_mode(tmp_path):
    soil = LABEL.replace('mode = "foliar"', 'mode = "soil"').replace('rainfast_time = "6 h"\n', "")
    both = LABEL.replace('mode = "foliar"', 'mode = "both"')
    none = LABEL.replace('mode = "foliar"', 'mode = ""').replace('rainfast_time = "6 h"\n', "")
    labels = [
        load(write(tmp_path / str(index), {"labels/concentrate.toml": text})).labels["concentrate"]
        for index, text in enumerate((soil, both, none))
    ]
    assert labels[0].blank == ("watering_in_depth", "watering_in_within")
    assert labels[1].blank == ("watering_in_depth", "watering_in_within")
    assert labels[2].blank == ("mode",)
    assert labels[2].mode == "both"  # the stricter reading, and never a go while the mode is blank


def test_duration_from_the_treatment_or_from_the_work_rate(tmp_path):
    by_rate = load(write(tmp_path / "a")).treatments["broadleaf"].duration
    assert by_rate == {"front": pytest.approx(3200 / 9000), "back": pytest.approx(5400 / 9000)}
    one = load(write(tmp_path / "b", {"treatments/broadleaf.toml": TREATMENT + 'duration = "30 min"\n'}))
    assert one.treatments["broadleaf"].duration == {"front": 0.5, "back": 0.5}
    some = load(
        write(tmp_path / "c", {"treatments/broadleaf.toml": TREATMENT + 'duration = {front = "15 min"}\n'})
    )
    assert some.treatments["broadleaf"].duration == {"front": 0.25, "back": pytest.approx(0.6)}
    half = load(
        write(tmp_path / "d", {"treatments/broadleaf.toml": TREATMENT + 'sprayed_share = "50 percent"\n'})
    )
    assert half.treatments["broadleaf"].duration["back"] == pytest.approx(0.3)


def test_an_interval_longer_than_the_common_one_moves_the_follow_up(tmp_path):
    bare = TREATMENT.replace('follow_up_from = "2 weeks"\nfollow_up_until = "3 weeks"\n', "")
    usual = load(write(tmp_path / "a", {"treatments/broadleaf.toml": bare})).treatments["broadleaf"]
    assert (usual.follow_up_from, usual.follow_up_until) == (14 * 24, 21 * 24)
    texts = {
        "treatments/broadleaf.toml": bare,
        "labels/concentrate.toml": LABEL.replace("14 days", "30 days"),
    }
    later = load(write(tmp_path / "b", texts)).treatments["broadleaf"]
    assert (later.follow_up_from, later.follow_up_until) == (30 * 24, 37 * 24)


def test_the_rate_is_that_of_the_most_sensitive_turf(tmp_path):
    text = LABEL + '[turf_rates]\n"Lolium arundinaceum" = "1 floz/1000 ft^2"\n'
    household = load(write(tmp_path, {"labels/concentrate.toml": text}))
    ratio = household.labels["concentrate"].limits["rate"] / household.treatments["broadleaf"].rate
    assert ratio == pytest.approx(1.5)


@pytest.mark.parametrize(
    "lines, part",
    [
        ('"fine fescue" = "1 floz/1000 ft^2"', 'turf_rates names "fine fescue", which turf_species does not'),
        ('"tall fescue" = "2 floz/1000 ft^2"', "is more than `rate`"),
        ('"tall fescue" = "1 lb/acre"', "is not a volume rate"),
        ('"tal fescue" = "1 floz/1000 ft^2"', 'did you mean "tall fescue"?'),
    ],
)
def test_faulty_rates_by_turf(tmp_path, lines, part):
    text = f"{LABEL}[turf_rates]\n{lines}\n"
    with pytest.raises(InvalidFile) as caught:
        load(write(tmp_path, {"labels/concentrate.toml": text}))
    assert len(caught.value.problems) == 1
    assert part in str(caught.value)
    assert f"labels/concentrate.toml:{text.count(chr(10))}" in str(caught.value)


def test_shares_of_the_mixture_are_read_by_species(tmp_path):
    texts = {"labels/concentrate.toml": LABEL + '[turf_shares]\n"Lolium arundinaceum" = "20 percent"\n'}
    household = load(write(tmp_path, texts))
    assert household.labels["concentrate"].turf_shares == {"tall fescue": pytest.approx(0.2)}
    text = LABEL + '[turf_shares]\n"bermudagrass" = "20 percent"\n'
    with pytest.raises(InvalidFile, match="turf_shares names"):
        load(write(tmp_path / "b", {"labels/concentrate.toml": text}))


def test_a_stated_rate_keeps_to_that_of_sensitive_turf(tmp_path):
    texts = {
        "labels/concentrate.toml": LABEL + '[turf_rates]\n"tall fescue" = "1 floz/1000 ft^2"\n',
        "treatments/broadleaf.toml": TREATMENT + 'rate = "1.2 floz/1000 ft^2"\n',
    }
    with pytest.raises(InvalidFile, match='on tall fescue of area "back": 1.00 fl oz'):
        load(write(tmp_path, texts))


def test_a_weighed_product_has_rates_by_weight(tmp_path):
    text = LABEL.replace('mode = "foliar"', 'mode = "foliar"\nformulation = "dry-sprayed"')
    text = text.replace("1.5 floz/1000 ft^2", "15 g/m^2").replace("3 floz/1000 ft^2", "30 g/m^2")
    text = text.replace("2 lb/gal", "20 percent")
    label = load(write(tmp_path, {"labels/concentrate.toml": text, "history.csv": None})).labels[
        "concentrate"
    ]
    assert (label.limits["rate"], label.limits["maximum_per_year"]) == (15.0, 30.0)
    assert label.active_ingredients[0].acid_equivalent == pytest.approx(200.0)  # g/kg
    assert label_dimension("rate", label.formulation) == "mass_rate"


def test_a_group_of_turf_covers_its_species(tmp_path):
    text = LABEL.replace('"tall fescue"]', '"fine fescues", "Festuca arundinacea"]')
    species = load(write(tmp_path, {"labels/concentrate.toml": text})).labels["concentrate"].turf_species
    assert {"Kentucky bluegrass", "fine fescue", "hard fescue", "creeping red fescue", "tall fescue"} <= set(
        species
    )


@pytest.mark.parametrize(
    "written, degrees",
    [('"E"', 90), ('"east"', 90), ('"SSW"', 202.5), ('"north-west"', 315), ('"360 deg"', 0)],
)
def test_bearings_by_the_compass(tmp_path, written, degrees):
    household = load(write(tmp_path, changed("lawn.toml", '"90 deg"', written)))
    assert household.areas["back"].neighbours[0].bearing == degrees


def test_a_household_can_be_sent_to_another_process(household):
    assert pickle.loads(pickle.dumps(household)) == household


# ---- units never change a value

#: units in which people write a quantity, with what one of them is in the canonical unit: exact definitions,
#: NIST Handbook 44 appendix C and SP 811
SAME = {
    "speed": {"m/s": 1.0, "mph": 0.44704, "km/h": 1 / 3.6, "kn": 1852 / 3600},
    "length": {"m": 1.0, "ft": 0.3048, "yd": 0.9144, "cm": 0.01},
    "water_depth": {"mm": 1.0, "in": 25.4, "cm": 10.0},
    "time": {"h": 1.0, "min": 1 / 60, "days": 24.0, "weeks": 168.0},
    "volume_rate": {
        "mL/m^2": 1.0,
        "L/ha": 0.1,
        "floz/1000 ft^2": 29.5735295625 / 92.90304,
        "pt/acre": 473.176473 / 4046.8564224,
    },
}
FIELDS = {
    "wind_max": (1.0, 10.0),
    "water_buffer": (1.0, 30.0),
    "dry_before": (0.5, 48.0),
    "rate": (0.05, 0.4),
}


@settings(deadline=None)
@given(st.data())
def test_the_same_limit_in_other_units_loads_equal(tmp_path_factory, data):
    name = data.draw(st.sampled_from(sorted(FIELDS)))
    value = data.draw(st.floats(*FIELDS[name]))
    units = SAME[LABEL_QUANTITIES[name]]
    read = []
    for unit in data.draw(st.lists(st.sampled_from(sorted(units)), min_size=2, max_size=2, unique=True)):
        line = f'{name} = "{value / units[unit]!r} {unit}"\n'
        kept = [one for one in LABEL.split("\n") if not one.startswith(f"{name} =")]
        text = "\n".join([kept[0], line, *kept[1:]])
        folder = write(tmp_path_factory.mktemp("units"), {"labels/concentrate.toml": text})
        read.append(load(folder).labels["concentrate"].limits[name])
    assert read[0] == pytest.approx(value, rel=1e-9)
    assert read[1] == pytest.approx(read[0], rel=1e-9)


@settings(deadline=None)
@given(st.floats(15, 40))
def test_the_same_temperature_in_other_units_loads_equal(tmp_path_factory, value):
    read = []
    for text in (f"{value!r} degC", f"{value * 1.8 + 32!r} degF", f"{value!r} °C"):
        label = LABEL.replace("85 degF", text)
        folder = write(tmp_path_factory.mktemp("degrees"), {"labels/concentrate.toml": label})
        read.append(load(folder).labels["concentrate"].limits["temperature_max"])
    assert read[1:] == pytest.approx([read[0]] * 2, rel=1e-9)


# ---- the demonstration households


def test_the_prairie_lawn_missed_its_follow_up():
    household = load(FIXTURES / "prairie-lawn", now=DEMO_NOW)
    treatment, label = household.treatments["broadleaf-autumn"], household.labels["broadleaf-concentrate"]
    assert label.blank == ()
    assert {record.area for record in household.history} == {"front", "back"}
    local = [record.started_at.astimezone(household.site.zone).date() for record in household.history]
    assert set(local) == {date(2026, 8, 25)}
    wanted = [
        local[0].toordinal() + hours / 24 for hours in (treatment.follow_up_from, treatment.follow_up_until)
    ]
    assert wanted == [date(2026, 9, 8).toordinal(), date(2026, 9, 15).toordinal()]
    assert DEMO_NOW.date().toordinal() > wanted[1]
    rate = {record.area: record.amount / record.size for record in household.history}
    assert all(one == pytest.approx(label.limits["rate"], rel=1e-9) for one in rate.values())
    bed = household.areas["back"].neighbours[0]
    assert (bed.bearing, bed.sensitivity, bed.distance) == (90.0, "high", pytest.approx(3.6576))
    assert household.areas["front"].irrigation == ()
    assert len(household.areas["back"].irrigation) == 1


def test_the_southern_lawn_is_metric_soil_work_with_granules():
    household = load(FIXTURES / "southern-lawn", now=DEMO_NOW)
    label = household.labels["preventer-granule"]
    assert (household.units, label.mode, label.formulation, label.blank) == ("metric", "soil", "granule", ())
    assert household.site.latitude < 0
    assert household.sprayers["spreader"].tank == 6000.0
    assert household.treatments["summer-grass-preventer"].rate == 15.0


@pytest.mark.parametrize("name", ["prairie-lawn", "southern-lawn"])
def test_every_demonstration_file_says_at_its_head_that_it_is_invented(name):
    files = [path for path in (FIXTURES / name).rglob("*") if path.suffix in (".toml", ".csv")]
    assert len(files) >= 3
    for path in files:
        assert "nvented" in path.read_text().split("\n\n")[0], path
    for label in load(FIXTURES / name).labels.values():
        assert label.invented


# ---- start-up


def test_importing_the_package_loads_neither_pydantic_nor_pint_nor_the_map_of_zones():
    code = "import sys, json, advisor.household; print(json.dumps(sorted(sys.modules)))"
    modules = json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout)
    assert not {"pydantic", "pint", "pandas", "tzfpy", "requests"} & set(modules)


def test_loading_the_demo_is_quick_and_asks_no_map():
    """Under 0.15 s beside the imports of pydantic and pint; measured as processor time, best of three."""
    code = (
        "import sys, time, pydantic.main, pint.facets\n"
        "from advisor.household import load\n"
        "start = time.process_time()\n"
        f"load({str(FIXTURES / 'prairie-lawn')!r})\n"
        "print(time.process_time() - start, 'tzfpy' in sys.modules, 'pandas' in sys.modules)"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, check=True, text=True
        ).stdout.split()
        for _ in range(3)
    ]
    assert runs[0][1:] == ["False", "False"]
    assert min(float(run[0]) for run in runs) < 0.15
