"""Words that the household's files may use, taken from the model's own types, and hints for keys left out."""

from __future__ import annotations

from typing import get_args

from advisor import model

NEIGHBOUR_KINDS = get_args(model.NeighbourKind)
SITE_USES = get_args(model.SiteUse)
SOIL_STATES = get_args(model.SoilState)
TURF_STATES = get_args(model.TurfState)
TURF_SEASONS = get_args(model.TurfSeason)
SLOPES = get_args(model.Slope)
MODES = get_args(model.Mode)
FORMULATIONS = get_args(model.Formulation)
METHODS = get_args(model.Method)
LIFE_CYCLES = get_args(model.LifeCycle)
ADJUVANTS = get_args(model.Adjuvant)

#: kind of notice channel -> keys that it needs
CHANNEL_KINDS: dict[str, tuple[str, ...]] = {
    "terminal": (),
    "file": ("path",),
    "email": ("host", "sender", "to"),
    "webhook": (),
    "apprise": (),
}
#: ... -> groups of keys of which it needs exactly one; secrets never stand in this file itself
CHANNEL_ONE_OF: dict[str, tuple[tuple[str, ...], ...]] = {
    "webhook": (("url", "url_file", "url_env"), ("secret_file", "secret_env")),
    "apprise": (("url_file", "url_env"),),
}
#: ... -> keys that it may have
CHANNEL_MAY: dict[str, tuple[str, ...]] = {
    "email": ("port", "security", "user", "password_file", "password_env"),
    "webhook": ("receiver_drops_repeats",),
}
#: key of a channel -> what to write
CHANNEL_HINTS: dict[str, str] = {
    "path": 'path = "notices", a folder',
    "host": 'host = "mail.example.org", the server that takes your mail',
    "sender": 'sender = "advisor@example.org", an address that this server lets you write from',
    "to": 'to = "you@example.org", one address; another person is another [[notices.channel]]',
    "url": 'url = "https://example.org/notices", or url_file or url_env where the address itself is secret',
    "url_file": 'url_file = "message-service", a file of mode 600 that holds the address',
    "secret_file": 'secret_file = "webhook-secret", a file of mode 600 with at least 16 characters',
    "password_file": 'password_file = "mail-password", a file of mode 600',
}

#: what to write where a key is missing, by its path without indexes
MISSING: dict[tuple[str, ...], str] = {
    ("name",): 'name = "Our lawn"',
    ("units",): 'units = "us", or units = "metric"',
    ("site",): "a [site] table with latitude, longitude and time_zone",
    ("site", "latitude"): "latitude = 41.6, degrees, north positive",
    ("site", "longitude"): "longitude = -93.6, degrees, east positive",
    ("site", "time_zone"): 'time_zone = "America/Chicago"',
    ("area",): "at least one [[area]] table with id, size and turf",
    ("area", "id"): 'id = "front"',
    ("area", "size"): 'size = "5000 ft^2", the turf that is treated',
    ("area", "turf"): 'turf = ["Kentucky bluegrass"]',
    ("area", "neighbour", "name"): 'name = "vegetable bed"',
    ("area", "neighbour", "kind"): 'kind = "edible"; kinds: ' + ", ".join(NEIGHBOUR_KINDS),
    ("area", "neighbour", "distance"): 'distance = "12 ft", from the nearest edge of the area',
    ("area", "irrigation", "days"): 'days = ["Tue", "Fri"], or days = "every_day"',
    ("area", "irrigation", "at"): 'at = "05:30"',
    ("area", "irrigation", "depth"): 'depth = "0.2 in", what falls in one watering',
    ("sprayer",): "at least one [[sprayer]] table with id and tank",
    ("sprayer", "id"): 'id = "knapsack"',
    ("sprayer", "tank"): 'tank = "4 gal"; for a spreader a weight, tank = "5 kg"',
    ("hours",): 'an [hours] table, such as weekdays = "17:00-20:30"',
    ("notices", "channel", "kind"): 'kind = "terminal", or kind = "file" with path = "notices", a folder',
    ("active_ingredient", "name"): "the name of the active ingredient, as printed on the label",
    ("label",): 'label = "...", the name of a file in labels/ without ".toml"',
    ("areas",): 'areas = ["front", "back"], ids from lawn.toml',
    ("target",): 'target = ["dandelion", "white clover"], the weeds',
    ("sprayer-of-treatment",): 'sprayer = "...", an id from lawn.toml',
}
