"""What is said of a calculation: each sentence under a key, with gaps, to be translated.

A sentence is carried as `{"key", "values"}`; a value is a number written for people, or a sentence
again. These are the English words, of the HTTP answers; the phone keeps the same under
`mix.says.KEY` in its locales, and a test holds the two to each other.
"""

from typing import Any

from lathhouse.domain.climate_words import CLIMATE

Sentence = dict[str, Any]

LABEL_UNKNOWN = (
    "Without the strength on its label a bottle is not mixed from, and the program does not guess."
    " Look on the front and back of the label for a number with % or g/L; or take another bottle,"
    " with a label. Only where you know that it is chlorine bleach: measure it with a test strip"
    " and give ppm."
)
AMOUNTS = {
    "amount_above": "{what} must be a number more than 0 and at most {high}{unit}; {why}.",
    "amount_from": "{what} must be a number from 0 to {high}{unit}; {why}.",
    "missing": "it is missing",
    "no_number": "what was given is no number",
    "outside": "{value}{unit} is not",
    "quantity": "{n}{unit}",
    "too_little": "{what} is too little to measure; from {least} on it would do.",
    "volume_unit": "The volume's unit must be one of {known}.",
}
WHAT = {
    "what_label_strength": "The label's strength",
    "what_bottle_age": "The bottle's age",
    "what_wanted": "What is wanted",
    "what_finished_volume": "The finished volume",
    "what_water": "The water",
    "what_product_strength": "The product's strength",
    "what_wanted_strength": "The wanted strength",
    "what_product_volume": "The product's volume",
    "what_water_volume": "The water's volume",
    "what_strength": "The strength",
    "what_powder": "The powder's available chlorine",
    "what_hypochlorite": "The sodium hypochlorite",
    "what_available": "The available chlorine",
    "what_hours_since": "The hours since mixing",
    "what_life": "The life in hours",
}
UNITS = {
    "unit_none": "",
    "unit_percent": " %",
    "unit_ppm": " ppm",
    "unit_days": " days",
    "unit_percent_sodium_hypochlorite_w_w": " % sodium hypochlorite",
    "unit_percent_available_chlorine": " % available chlorine",
    "unit_g_per_l_available_chlorine": " g/L available chlorine",
    "unit_ppm_available_chlorine": " ppm available chlorine",
    "unit_percent_by_volume": " % by volume",
    "unit_part_in_n": " parts in all",
    "unit_part_to_n": " parts of water",
    "unit_parts": " parts",
    "unit_ml": " mL",
    "unit_l": " L",
    "unit_us_fl_oz": " US fl oz",
    "unit_us_cup": " US cups",
    "unit_us_gal": " US gallons",
    "unit_metric_cup": " metric cups",
    "unit_imp_gal": " imperial gallons",
}
REFUSALS = {
    "label_unknown": LABEL_UNKNOWN,
    "label_unit": "The label's unit must be one of {known}.",
    "method": "Say whether the volume is the finished one (make_up_to) or water drawn (add_to).",
    "wanted_unit": "What is wanted must be one of {known}.",
    "not_a_strength": "What is wanted must be a number with its unit.",
    "below_one_part": "1 part in fewer than 1 cannot be: count the product among the parts, 2 or"
    " more.",
    "two_ways": "1:{n} is read in two ways. {one} {other} Say which is meant.",
    "reading": "{parts}: {product} mL of product with {water} mL of water, {ppm} ppm.",
    "reading_not_possible": "{parts}: not possible.",
    "part_in_n": "1 part in {n} parts in all",
    "part_to_n": "1 part to {n} parts of water",
    "too_strong": "The product itself has {most}, and water only weakens it: ask for at most that.",
    "never_reached": "Added to water it is always weaker than the product's own {most}: ask for"
    " less.",
    "one_in_one": "1 part in 1",
    "too_much_product": "That would take {litres} L of product: ask for a weaker solution or less"
    " water.",
    "no_parts": "No number of parts gives plain water; ask for more than 0 %.",
    "nothing_mixed": "Nothing is mixed: the product or the water must be more than 0.",
    "more_than_all": "Of the product at most the finished volume goes in: {final}.",
    "no_instant": "{field} must be a date and time with its offset, such as 2026-05-01T08:00:00Z.",
    "mixed_after_now": "mixed_at must not be after now; check both times.",
}
WARNINGS = {
    "undiluted": "This is the product itself, with no water in it.",
    "above_usual": "{ppm} ppm is above the usual strengths for seed ({low} to {high} ppm). Say why,"
    " and leave a part of the lot undipped.",
    "below_usual": "{ppm} ppm is below the usual strengths for seed ({low} to {high} ppm) and may"
    " not do its work.",
    "label_industrial": "This is trade strength, 10 % and more: it burns worse than household"
    " bleach. Check on the label that the unit is the right one: % and g/L differ tenfold.",
    "label_weak": "Few bottles are this weak: check whether the label says %, g/L or ppm.",
    "weight_percent": "Percent by weight is reckoned as if it were by volume; how heavy strong"
    " bleach is, is left out of account.",
    "bottle_age_unknown": "How old the bottle is, was not said: bleach weakens with heat, light and"
    " age, so take the result as a ceiling.",
    "bottle_old": "The bottle is {days} days old: bleach weakens with heat, light and age, so take"
    " the result as a ceiling. Measure it with a test strip, or take a fresh bottle.",
    "small_measure": "{product} mL of product is hard to measure: mix a larger volume, or use a"
    " syringe kept for this alone.",
    "large_volume": "{litres} L is much for seed: check the unit.",
}
CHILLS = {
    "as_it_is": "{words}",
    "hourly": "hourly_C must be a list of temperatures from -90 to 90 °C.",
    "band": "A band has a low and a high end in °C, the low one first.",
    "fahrenheit": "t_F must be a temperature in degrees Fahrenheit, above -459.67.",
    "readings": "readings must be a list of [time, temperature in °C], from -90 to 90 °C.",
    "ended_before": "ended_at must not be before started_at; check both times.",
}
WORDS: dict[str, str] = {
    **CHILLS, **CLIMATE, **AMOUNTS, **WHAT, **UNITS, **REFUSALS, **WARNINGS
}  # fmt: skip


def sentence(key: str, **values: Any) -> Sentence:
    """Return a sentence as it is carried: its key and what goes into its gaps."""
    return {"key": key, "values": values}


def say(said: Sentence) -> str:
    """Return a sentence in English.

    Raises:
        KeyError: there is no such sentence, or a gap of it stays empty.
    """
    values = {
        name: say(value) if isinstance(value, dict) else value
        for name, value in said["values"].items()
    }
    return WORDS[said["key"]].format(**values)
