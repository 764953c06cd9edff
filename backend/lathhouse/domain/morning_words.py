"""The words of the morning list in English, for the server's copies of it.

The phone keeps the same under `morning.text.KEY` in its locales; a test holds the two together.
"""

DAYS = "Monday Tuesday Wednesday Thursday Friday Saturday Sunday".split()
MONTHS = (
    "January February March April May June July August September October November December".split()
)
WORDS: dict[str, str] = {
    "title": "{nursery}: morning list, {date}",
    "no_name": "The nursery",
    "date": "{weekday} {day} {month} {year}",
    "walker": "Walked by ______________________  from ____:____  to ____:____",
    "legend": "Moisture: 1 dust-dry, 2 dry, 3 moist, 4 wet, 5 dripping. "
    "Mould or damping-off: N none, S spots, X spreading.",
    "alarms": "Alarms first",
    "running": "Running while you walk",
    "run_soak": "soaking since {since}, done at {until}",
    "run_sanitise": "in the bleach since {since}, rinse at {until}",
    "run_drained": "drained since {since}, go on by {until}",
    "on_day": "{time} on {day} {month}",
    "place": "{n}. {place}    at ____:____",
    "at": "at ____:____",
    "onward_at": "into __________ at ____:____",
    "head_moisture": "moisture",
    "head_mould": "mould",
    "head_up": "up, roots",
    "head_note": "note",
    "loose": "Lots without a place",
    "look": "look",
    "blanks": "moisture ____  mould ____  note ______________________",
    "count_blanks": "moisture ____  mould ____  up or roots ______  note ____________",
    "none": "Nothing is due today.",
    "nothing_in": "Nothing due in: {places}.",
    "more": "and {n} more, which are on the server",
    "notes": "Notes:",
    "had_by": " (with {who})",
    "had_by_said": " (with {who}, as was said)",
    "made": "Made at {time}.",
    "wide": "The whole nursery",
    "evening": "Frost and covers",
    "tonight": "Tonight {low_c} °C, as told at {told}; "
    "among the plants it may be {range_low_c} °C.",
    "no_figure": "No figure for tonight: ask for a forecast.",
    "no_figure_last": "No figure for tonight: ask for a forecast. "
    "The last was {low_c} °C, told at {told}.",
    "to_cover": "To cover by {sunset} (tender lots open: {n}):",
    "cover_now": "Still open in this night (tender lots: {n}), cover now:",
    "thin": "{place}: put on for {meant} °C; tonight {low_c} °C: a second cover by {sunset}",
    "thin_now": "{place}: put on for {meant} °C; tonight {low_c} °C: a second cover now",
    "covered": "{place}: covered since {since}, off from {at}",
    "covered_until": "{place}: covered since {since}, stays on until {at}",
    "covered_on": "{place}: covered since {since}, stays on",
    "left": "Left until later",
    "left_line": "until {until}: {what}",
    "left_more": ", and {n} more",
    "level_due": "due",
    "level_late": "LATE",
    "level_alarm": "ALARM",
    **{f"day_{number}": name for number, name in enumerate(DAYS, start=1)},
    **{f"month_{number}": name for number, name in enumerate(MONTHS, start=1)},
}
# How a list is typed in afterwards: on the server's copies only, a phone knows its own.
TYPED_WORDS: dict[str, str] = {
    "typed_in": "To type it in afterwards, scan this with the phone.",
    "typed_places": "Too many lots for a square to name: it opens every lot of these places. "
    "To type it in afterwards, scan this with the phone.",
    "typed_none": "Too long for a square. To type it in afterwards, open Morning list on the "
    "phone: Type in what was written.",
    "typed_link": "To type it in afterwards, open this on the phone:",
}
