"""(a) Changes that no forecast has: broken shape, impossible values, units, times or place.

What counts as such is decided here and not by the program: a part that an answer needs is gone; a value that no weather
ever had; a run of one value longer than the instrument or the model would give; a unit that is missing, is no unit, or
is one of another quantity; times that are not in order, twice, off the present; a place that is not the site's.

A wrong unit of the right quantity (km/h for m/s) is not among them: it cannot be told from a right one, and counts as a
change of the value, under (c) and (d). So does a small shift in time.
"""

from __future__ import annotations

import numpy as np

from .cells import Answer, interval_of, stamp
from .change import Change, a_variable, clock, now_hour, some_hours, within
from .scenes import Scene

#: values that no weather has
IMPOSSIBLE = {
    "air_temperature": (-95.0, 75.0, 9999.0, -9999.0, 1e30),
    "dew_point": (-95.0, 50.0, -9999.0),
    "relative_humidity": (-20.0, 140.0, 9999.0),
    "wind_speed_10m": (-3.0, 80.0, 9999.0, -9999.0),
    "wind_from_direction": (-40.0, 500.0, 9999.0),
    "wind_gust": (-3.0, 130.0, -9999.0),
    "precipitation": (-2.0, 300.0, -9999.0, 1e30),
    "precipitation_probability": (-30.0, 150.0, -9999.0),
    "cloud_cover": (-30.0, 150.0, 9999.0),
    "shortwave_radiation": (-100.0, 2500.0),
    "soil_temperature_5cm": (-60.0, 80.0, -9999.0),
}
#: hours for which one value may stand at most, about twice the longest run in real answers
LONGEST_RUN = {
    "air_temperature": 24, "relative_humidity": 30, "dew_point": 48, "wind_speed_10m": 36, "wind_gust": 36,
}  # fmt: skip
#: units of another quantity, and no units at all
NO_UNITS = ("furlong/fortnight", "", "degC?", None, 5, ["m/s"], "undefined", "wmoUnit:", "null")
PARTS = {
    "open-meteo": (("hourly",), ("hourly_units",), ("hourly", "time"), ("hourly_units", "time"), ("latitude",),
                   ("longitude",), ("utc_offset_seconds",)),
    "nws": (("properties",), ("geometry",), ("properties", "updateTime"), ("geometry", "coordinates")),
    "met-norway": (("properties",), ("geometry",), ("properties", "timeseries"), ("properties", "meta"),
                   ("properties", "meta", "units"), ("properties", "meta", "updated_at")),
}  # fmt: skip


def part_gone(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """A part of the document that an answer cannot do without."""
    path = PARTS[scene.provider][random.integers(len(PARTS[scene.provider]))]
    if random.random() < 0.5:
        answer.take_away(*path)
        return Change("a", "delete", f"without {'.'.join(path)}", answer.bytes)
    holder = answer.data
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = None
    return Change("a", "null", f"{'.'.join(path)} null", answer.bytes)


def impossible(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Values beyond anything that was ever measured, in some hours."""
    name = a_variable(random, answer)
    value = float(random.choice(IMPOSSIBLE[name]))
    first, stop = some_hours(random, scene)
    for cell in within(answer.cells(name), first, stop):
        cell.put(value * cell.length if name == "precipitation" else value)
    kind = "scale" if abs(value) > 1e3 else "shift"
    return Change("a", kind, f"{name} = {value:g} from {clock(first)} for {stop - first} h", answer.bytes)


def stuck(random: np.random.Generator, scene: Scene, answer: Answer) -> Change | None:
    """One value for longer than is believable."""
    name = a_variable(random, answer, LONGEST_RUN)
    hours = LONGEST_RUN[name] + 1 + int(random.integers(0, 12))
    first = now_hour(scene) + int(random.integers(-6, 8))
    if scene.provider == "met-norway":  # hourly for sixty hours from now
        first = now_hour(scene) + int(random.integers(0, max(58 - hours, 1)))
    cells = within(answer.cells(name), first, first + hours)
    if not cells or sum(cell.length for cell in cells) < hours:
        return None
    value = cells[random.integers(len(cells))].value
    # calm and saturated air may stand for as long as they like
    value = (
        max(value, 0.4)
        if name.startswith("wind")
        else min(value, 97.0)
        if name == "relative_humidity"
        else value
    )
    for cell in cells:
        cell.put(float(value))
    return Change("a", "stick", f"{name} at {value:g} from {clock(first)} for {hours} h", answer.bytes)


def no_unit(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """A unit that is none, is missing, or is one of another quantity."""
    name = a_variable(random, answer)
    if random.random() < 0.5:
        unit = NO_UNITS[random.integers(len(NO_UNITS))]
    else:
        other = [one for one in answer.names if _quantity(one) != _quantity(name)]
        unit = answer.unit(str(random.choice(other)))
    answer.set_unit(name, unit)
    return Change("a", "swap units", f"{name} in {unit!r}", answer.bytes)


def _quantity(name: str) -> str:
    for quantity, names in {
        "temperature": ("air_temperature", "dew_point", "soil_temperature_5cm"),
        "speed": ("wind_speed_10m", "wind_gust"),
        "percent": ("relative_humidity", "precipitation_probability", "cloud_cover"),
    }.items():
        if name in names:
            return quantity
    return name


def reordered(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Periods in another order, each with its own values."""
    way = str(random.choice(["reversed", "shuffled", "two exchanged"]))

    def order(count: int) -> np.ndarray:
        new = np.arange(count)
        if way == "reversed":
            return new[::-1]
        if way == "shuffled":
            return random.permutation(count)
        one, two = random.choice(count, 2, replace=False)
        new[[one, two]] = new[[two, one]]
        return new

    if scene.provider == "open-meteo":
        hourly = answer.data["hourly"]
        new = order(len(hourly["time"]))
        answer.data["hourly"] = {key: [values[at] for at in new] for key, values in hourly.items()}
        return Change("a", "reorder", f"rows {way}", answer.bytes)
    if scene.provider == "nws":
        name = a_variable(random, answer)
        values = answer.layer(name)["values"]
        if len(values) < 2:
            return Change("a", "reorder", f"{name} left as it is", answer.bytes)
        answer.layer(name)["values"] = [values[at] for at in order(len(values))]
        return Change("a", "reorder", f"{name} {way}", answer.bytes)
    answer.data["properties"]["timeseries"] = [answer.entries[at] for at in order(len(answer.entries))]
    return Change("a", "reorder", f"time steps {way}", answer.bytes)


def duplicated(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Periods that stand twice, alike or with another value; or a whole series that stands twice."""
    if random.random() < 0.2:
        return _name_twice(random, scene, answer)
    alike = random.random() < 0.3
    name = a_variable(random, answer)
    first, stop = some_hours(random, scene, 12)
    if scene.provider == "open-meteo":
        at = int(random.integers(len(answer.data["hourly"]["time"])))
        for values in answer.data["hourly"].values():
            values.insert(at, values[at])
        return Change("a", "duplicate", f"row {at} twice", answer.bytes)
    if scene.provider == "nws":
        return _interval_twice(random, answer, name, first, stop, alike)
    copies = []
    for entry in answer.entries:
        if stamp(first) <= entry["time"][:19] < stamp(stop):
            source = entry if alike else answer.entries[random.integers(len(answer.entries))]
            copies.append({"time": entry["time"], "data": source["data"]})
    place = 0 if random.random() < 0.5 else len(answer.entries)
    answer.entries[place:place] = copies
    says = f"{len(copies)} time steps from {clock(first)} twice, {'alike' if alike else 'with the values of others'}"
    return Change("a", "duplicate", says, answer.bytes)


def _interval_twice(random, answer: Answer, name: str, first: int, stop: int, alike: bool) -> Change:
    values = answer.layer(name)["values"]
    other = values[random.integers(len(values))]["value"]
    copies = []
    for entry in values:
        begin, length = interval_of(entry["validTime"])
        if first <= begin < stop:
            if alike or random.random() < 0.5 or length < 3:
                copies.append({"validTime": entry["validTime"], "value": entry["value"] if alike else other})
            else:  # two short ones within a longer one
                copies += [
                    {"validTime": f"{stamp(begin + later)}+00:00/PT1H", "value": other}
                    for later in (0, length - 1)
                ]
    if not alike and random.random() < 0.3:  # a long one over several short ones
        copies = [{"validTime": f"{stamp(first)}+00:00/PT{stop - first}H", "value": other}]
    values.extend(copies)
    says = f"{len(copies)} intervals of {name} from {clock(first)} twice, {'alike' if alike else f'the second {other}'}"
    return Change("a", "duplicate", says, answer.bytes)


def _name_twice(random, scene: Scene, answer: Answer) -> Change:
    """A name that stands twice in one object, the second time with other content."""
    if scene.provider == "met-norway":
        entry = answer.entries[random.integers(len(answer.entries))]
        holder, name = entry["data"]["instant"]["details"], "wind_speed"
        again = 2.7
    elif scene.provider == "nws":
        holder, name = answer.data["properties"], answer.names[a_variable(random, answer)]
        layer = holder[name]
        first = layer["values"][0]["value"]
        again = {**layer, "values": [{**entry, "value": first} for entry in layer["values"]]}
    else:
        holder, name = answer.data["hourly"], answer.names[a_variable(random, answer)]
        again = sorted(holder[name])
    holder["@twice@"] = again
    return Change(
        "a", "duplicate", f'"{name}" twice in one object', answer.bytes.replace(b"@twice@", name.encode())
    )


def cut_off(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Bytes, one series, or the beginning up to after now, cut off."""
    way = str(random.choice(["bytes", "series", "beginning"]))
    if way == "bytes":
        at = int(random.integers(0, len(scene.body) - 1))
        return Change("a", "truncate", f"after {at} bytes", scene.body[:at])
    if way == "series" and scene.provider == "open-meteo":
        name = answer.names[a_variable(random, answer)]
        fewer = int(random.integers(1, 24))
        side = slice(fewer, None) if random.random() < 0.5 else slice(None, -fewer)
        answer.data["hourly"][name] = answer.data["hourly"][name][side]
        return Change("a", "truncate", f"{name} {fewer} values short", answer.bytes)
    begins = now_hour(scene) + 2 + int(random.integers(0, 48))
    _from(answer, begins)
    return Change("a", "truncate", f"begins at {clock(begins)}", answer.bytes)


def _from(answer: Answer, begins: int) -> None:
    """Only the periods that begin at an hour or later."""
    if answer.provider == "open-meteo":
        hourly = answer.data["hourly"]
        # what is of the hour before its label must not reach back to now either
        kept = [at for at, time in enumerate(hourly["time"]) if time >= stamp(begins + 1)[:16]]
        answer.data["hourly"] = {key: [values[at] for at in kept] for key, values in hourly.items()}
    elif answer.provider == "nws":
        for name in answer.names:
            values = answer.layer(name)["values"]
            values[:] = [one for one in values if interval_of(one["validTime"])[0] >= begins]
    else:
        answer.entries[:] = [one for one in answer.entries if one["time"] >= stamp(begins)]


def elsewhen(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Periods or stamps that are not of now."""
    future, now = random.random() < 0.5, now_hour(scene)
    kind = "future" if future else "past"
    stamped = scene.provider != "open-meteo"
    if random.random() < 0.5:
        span = [cell for name in answer.names for cell in answer.cells(name)]
        first, last = min(cell.hour for cell in span), max(cell.hour + cell.length for cell in span)
        hours = (now + 3 - first if future else now - 2 - last) + (1 if future else -1) * int(
            random.integers(0, 2000)
        )
        answer.move(hours)
        return Change("a", kind, f"periods moved by {hours} h", answer.bytes)
    if future:
        hours = 1.2 + float(random.exponential(50.0))
        if stamped and random.random() < 0.7:
            answer.issue(now + hours)
            return Change("a", kind, f"issued {hours:.1f} h ahead", answer.bytes)
        return Change("a", kind, f"asked {hours:.1f} h ahead", answer.bytes, asked_hours_ago=-hours)
    if stamped:
        hours = 18.2 + float(random.exponential(50.0))
        answer.issue(now - hours)
        return Change("a", kind, f"issued {hours:.1f} h ago", answer.bytes)
    hours = 12.2 + float(random.exponential(50.0))
    return Change("a", kind, f"asked {hours:.1f} h ago", answer.bytes, asked_hours_ago=hours)


def elsewhere(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """Another place: exchanged, mirrored, far away, none; or a few hundred metres off, which is the same place."""
    site = scene.ground.household.site
    latitude, longitude = site.latitude, site.longitude
    away = float(random.uniform(0.4, 60.0)) * (1 if random.random() < 0.5 else -1)
    ways = {
        "exchanged": (longitude, latitude),
        "mirrored": (latitude, -longitude),
        "southern": (-latitude, longitude),
        "far north or south": (float(np.clip(latitude + away, -90, 90)), longitude),
        "far east or west": (latitude, float(np.clip(longitude + away, -180, 180))),
        "none": (None, None),
        "text": (f"{latitude}", f"{longitude}"),
        "impossible": (latitude + 360.0, longitude),
        "a little off": (latitude + 0.004, longitude - 0.004),
    }
    way = str(random.choice(list(ways)))
    north, east = ways[way]
    if scene.provider == "open-meteo":
        answer.data["latitude"], answer.data["longitude"] = north, east
    elif scene.provider == "met-norway":
        answer.data["geometry"]["coordinates"] = [east, north, 262]
        if way == "text":  # a number in quotes is read as that number
            answer.data["geometry"]["coordinates"] = ["east", "north"]
    else:
        ring = answer.data["geometry"]["coordinates"][0]
        answer.data["geometry"]["coordinates"][0] = [
            [east, north] if isinstance(north, str | None) else [x - longitude + east, y - latitude + north]
            for x, y in ring
        ]
    return Change("a", "other place", f"{way}: {north}, {east}", answer.bytes)


def contradicting(random: np.random.Generator, scene: Scene, answer: Answer) -> Change:
    """A dew point above the air, a humidity of other air, sunshine at night."""
    first, stop = some_hours(random, scene)
    ways = ["dew point", "humidity", *(["sun"] if scene.provider == "open-meteo" else [])]
    way = str(random.choice(ways))
    if way == "sun":
        values = answer.data["hourly"]["shortwave_radiation"]
        half = 12 + int(random.integers(-2, 3))
        answer.data["hourly"]["shortwave_radiation"] = values[half:] + values[:half]
        return Change("a", "contradict", f"sunshine {half} h early", answer.bytes)
    name = "dew_point" if way == "dew point" else "relative_humidity"
    more = float(random.uniform(1.5, 12.0))
    for cell in within(answer.cells(name), first, stop):
        hours = np.datetime64(cell.hour, "h") + np.arange(cell.length)
        if name == "dew_point":
            cell.put(float(scene.weather.at("air_temperature", hours).max()) + more)
        else:
            told = cell.value
            cell.put(told + 40.0 if told < 55.0 else told - 40.0)
    return Change("a", "contradict", f"{name} from {clock(first)} for {stop - first} h", answer.bytes)


STRUCTURAL = (
    part_gone, impossible, impossible, impossible, stuck, stuck, no_unit, no_unit, reordered, duplicated, duplicated,
    cut_off, elsewhen, elsewhere, contradicting,
)  # fmt: skip
