"""Texts of a new household's files.

$words are filled in; values in comments are examples of how to write them; what follows " § " becomes a
comment in a column of its own.
"""

US_EXAMPLES = {
    "rooting_depth": '"5 in"',
    "watering_depth": '"0.2 in"',
    "distance": '"12 ft"',
    "work_rate": '"5000 ft^2/h"',
    "volume_rate": '"1.5 floz/1000 ft^2"',
    "mass_rate": '"3 lb/1000 ft^2"',
    "strength": '"2 lb/gal"',
    "watering_in": '"0.5 in"',
    "wind": '"10 mph"',
    "wind_low": '"3 mph"',
    "gust": '"12 mph"',
    "cold": '"50 degF"',
    "hot": '"85 degF"',
    "night": '"40 degF"',
    "buffer": '"25 ft"',
}
METRIC_EXAMPLES = {
    "rooting_depth": '"12 cm"',
    "watering_depth": '"5 mm"',
    "distance": '"4 m"',
    "work_rate": '"450 m^2/h"',
    "volume_rate": '"0.5 mL/m^2"',
    "mass_rate": '"15 g/m^2"',
    "strength": '"240 g/L"',
    "watering_in": '"12 mm"',
    "wind": '"4.5 m/s"',
    "wind_low": '"1.5 m/s"',
    "gust": '"5.5 m/s"',
    "cold": '"10 degC"',
    "hot": '"29 degC"',
    "night": '"4 degC"',
    "buffer": '"8 m"',
}

LAWN = """\
# The household: who, where, which turf, what stands beside it, when somebody can work.
# Quantities are text with a unit ("40 degF", "10 mph", "2 weeks"); dates are 2026-09-21, without quotes.
# A line that begins with # is not read. Leave out what you do not know: it never counts as "fine".

name = $name
units = $units § "us" or "metric": how results are printed; any unit may be used in these files
for_hire = false § true when somebody is paid for the work; then fill in [licence]
contact = $contact § an address of yours that some weather services want to see; may stay empty

[site]
latitude = $latitude § degrees, north positive
longitude = $longitude § degrees, east positive
time_zone = $time_zone § found from the coordinates
$elevation
$soil § sand, loamy sand, sandy loam, loam, silt loam, clay loam, silty clay, clay, ...
hollow = false § true where cold air gathers on clear evenings
exposure = "open" § "open" or "sheltered": then half of the wind is sure; no credit at wind limits
slope = "flat" § flat, gentle or steep; an area may say its own
$first_frost § mean first autumn frost, month-day
$use § home-lawn, commercial-lawn, school, park, sports-field, golf-course, ...
$local_ban § true where a local rule forbids the treatment; ask first

# One [[area]] table for each patch of turf that is treated on its own.
[[area]]
id = "lawn" § short name used in other files: small letters, digits, hyphens
name = $area_name
size = $area_size § measure it: the mix depends on it
turf = $turf
# turf_season = "cool-season" § or "warm-season"; only needed where both grow together
turf_state = "active" § active, dormant, drought-stressed, new-sod, seedling
# rooting_depth = $rooting_depth
$irrigation § or the tables below; not stated leaves it unknown how long it stays dry
# soil_state = "moist" § wet, moist or dry, by feel at finger depth
# soil_seen = 2026-09-20 § the day you felt it
# soil_seen_at = "07:30" § and when, which tells whether rain of that day came before
# soil_temperature = "48 degF" § mean of five days at 2 in, for a product against germinating weeds
# soil_temperature_seen = 2026-04-02
# green_share = "90 percent"
# turf_shares = {} § of the seed mixture, such as { "tall fescue" = "20 percent" }, where a label limits it
# last_mowed = 2026-09-18
# next_mowing = 2026-09-25
# seeded_on = 2026-04-20 § with mowings_since_seeding
# mowings_since_seeding = 6
# seeding_planned = 2026-10-20
# open_flowers = false § true when weeds or clover stand in open flower

# [[area.irrigation]]
# days = ["Tue", "Fri"] § or "every_day", "weekdays", "weekend"
# at = "05:30"
# depth = $watering_depth
# duration = "40 min"

# One table for each thing near the area that must not be hit.
# [[area.neighbour]]
# name = "vegetable bed"
# kind = "edible" § planting, edible, vines, roots, water, drain, people, bees
# distance = $distance § from the nearest edge of the area
# bearing = "90 deg" § from the area to it, or "E"; left out means all round
# arc = "40 deg" § how wide it stands as seen from the area
# sensitivity = "high" § ordinary or high

[[sprayer]]
id = "sprayer"
name = "sprayer"
kind = "sprayer" § or "spreader" for granules; its tank is then a weight
tank = $tank
# measure = "measuring cylinder"
$carrier_rate § calibrate yours, then write what it puts out; no mix without it
work_rate = $work_rate § a slow example: time yourself, or give each treatment its duration
clean_up = "30 min"
# last_contents = "none" § what was in it last, a product's name or "none"
# rinsed = true § whether it was rinsed since; one of the two must be stated

# Hours in which somebody can work. Days: monday ... sunday, weekdays, weekend, every_day; the narrower wins.
[hours]
weekdays = $hours_weekdays
weekend = $hours_weekend § a list makes several: ["07:00-09:00", "16:00-20:00"]

[weather]
sources = $sources
pull_every = "3 h"
# keep = "400 days" § how long answers of the service are kept; those that a notice rests on stay for ever
# cross_check = "met-norway" § a second source: where the two contradict each other, the answer is unknown
# ensemble = "gfs025, ecmwf_ifs025" § models whose members give the chances; asked of open-meteo
# observations = true § measured hours of a station near by, where a source has them (nws)
# warnings = true § official warnings stop a start, where a source has them (nws)
# [weather.hosts] § another address for a source, such as a mirror
# open-meteo = "https://example.org"

[notices]
evening = "18:30" § local time of the notice for the next day
morning = "06:00" § local time of the notice for the day itself
# quiet_from = "21:00" § nobody is told anything from here
# quiet_until = "06:00" § to here
# at_most_per_day = 6 § only a go that is taken back is told beyond that
# repeat_unchanged = false § true tells every evening and morning, also where nothing has changed

[[notices.channel]]
kind = "terminal"

# [[notices.channel]]
# kind = "file"
# path = "notices" § a folder inside this one, one file a notice

# [[notices.channel]]
# kind = "email" § passwords stand in a file of mode 600 or in the environment (password_env), never here
# host = "mail.example.org"
# sender = "advisor@example.org"
# to = "you@example.org" § one address; another person is another [[notices.channel]]
# user = "advisor@example.org"
# password_file = "mail-password"

# [[notices.channel]]
# kind = "webhook" § a signed POST of JSON
# url = "https://example.org/notices"
# secret_file = "webhook-secret"

# Chances that are asked for; these are the usual ones.
# [floors]
# safety = 0.95
# label = 0.90
# safety_and_label = 0.80
# everything = 0.60

[decision]
horizon = "48 h" § inside this time a doubtful start is called no-go, not unknown
assumed_members = 51 § how many ways the weather may turn out are drawn for a source with a single forecast
# cost_of_waiting = 5 § a day of waiting and a failed pass, in the same money
# cost_of_failure = 60

# [licence] § for work for hire
# holder = ""
# number = ""
# valid_until = 2027-12-31
# certified_number = "" § for restricted products
"""

LABEL = """\
# Copy these fields from the label of YOUR product. The label is the law; nothing here is a recommendation.
# While a field under REQUIRED is blank, every verdict under this label is unknown and names the field.
# Examples in comments show how to write a value; they are no values of any product.

# REQUIRED
product = ""
registration_number = ""
mode = "" § "foliar" (on leaves), "soil" (watered in) or "both"
formulation = "liquid" § or "dry-sprayed" (weighed, mixed in water) or "granule" (spread dry)
sites = [] § where it may be used: home-lawn, commercial-lawn, school, park, sports-field, ...
turf_species = [] § turf it may be used on, such as ["Kentucky bluegrass", "tall fescue"]
rate = "" § product per area, such as $volume_rate, or weighed $mass_rate
maximum_per_application = "" § most product per area in one pass, written like rate
maximum_per_year = "" § most product per area in a year
minimum_interval = "" § shortest time between two passes, such as "14 days"
rainfast_time = "" § foliar: how long it must stay dry after the work, such as "6 h"
watering_in_depth = "" § soil: water that washes it in, such as $watering_in
watering_in_within = "" § soil: within what time, such as "7 days"
re_entry = "" § when people and pets may go back, in the label's words

# OPTIONAL: what the label does not say is left out; `advisor check` tells what happens instead.
# maximum_passes_per_year = 2
# wind_max = $wind
# wind_min = $wind_low
# gust_max = $gust
# temperature_min = $cold
# temperature_max = $hot
# night_temperature_min = $night
# delta_t_max = "10 delta_degC"
# water_buffer = $buffer
# drift_distance = $buffer
# dry_before = "1 h"
# mowing_before = "2 days"
# mowing_after = "2 days"
# seeding_after = "4 weeks"
# weeks_to_effect = "3 weeks"
# adjuvant = "unstated" § required, allowed, forbidden, unstated
# adjuvant_share = "0.25 percent"
# stages = ["seedling", "vegetative"] § weed stages that the label names
# signal_word = ""
# volatile = false
# root_active = false § true where the label warns of roots of trees and shrubs
# restricted_use = false
# year_starts = "01-01" § first day of the label's year

# One table for each active ingredient (required).
[[active_ingredient]]
name = ""
# acid_equivalent = $strength

# Turf that may be treated only up to a share of the mixture, where the label says so.
# [turf_shares]
# "fine fescue" = "20 percent"

# Lower rates for more sensitive turf, where the label gives them.
# [turf_rates]
# "fine fescue" = $volume_rate
"""

TREATMENT = """\
# What is to be applied where, against which weeds, under which label.

name = "First treatment"
label = "my-label" § a file in labels/, without .toml
areas = ["lawn"] § ids from lawn.toml
method = "broadcast" § or "spot"
target = $target § or a list of weeds
# life_cycle = "perennial" § perennial, winter-annual, summer-annual, biennial
# stage = "vegetative" § not-emerged, seedling, vegetative, rosette, regrowth, budding, ...
sprayer = "sprayer"
passes = 2
# duration = "40 min" § of one pass on an area; left out, it is size over the sprayer's work rate
# rate = $volume_rate § left out, the label's rate; never more than the label's
follow_up_from = "2 weeks" § common practice; the label's own interval always holds
follow_up_until = "3 weeks"
# start_from = 2026-09-01
# latest = 2026-10-31
# sprayed_share = "100 percent" § less where only part of each area is sprayed
"""

GITIGNORE = """\
# Written by the advisor while it runs.
notices/
"""

FILES = {
    "lawn.toml": LAWN,
    "labels/my-label.toml": LABEL,
    "treatments/first-treatment.toml": TREATMENT,
    ".gitignore": GITIGNORE,
}
