"""Thousands of random mixings and dilutions, in Python and in one page of a browser."""

import functools
import json
import math
import random
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from lathhouse.domain.amounts import CannotMix, shown
from lathhouse.domain.bottle import PRODUCT_UNITS
from lathhouse.domain.dilution import DILUTION
from lathhouse.domain.mixing import METHODS, WANTED_UNITS, plan_mix
from lathhouse.domain.mixing_words import WARNINGS, WORDS, say
from lathhouse.domain.volumes import ML_PER
from tests.browser import FRONTEND, core_page_of
from tests.parity.twins import first_difference

SEED = 4
MIXINGS, DILUTIONS, NUMBERS = 3000, 2000, 3000
# The same sums in the same order give the same double, so nothing here is compared "nearly".
RUN = """async (text) => {
  const { mixings, dilutions, numbers } = JSON.parse(text);
  const names = ["core/amounts", "core/dilution", "core/mixing", "ui/sentence"];
  const [amounts, dilution, mixing, { say }] = await Promise.all(
    names.map((name) => import(`/${name}.js`)));
  const tried = (work) => {
    try {
      return work();
    } catch (error) {
      if (!(error instanceof amounts.CannotMix)) throw error;
      const { field, said, readings } = error;
      return { refused: say(said), said, field, readings };
    }
  };
  return JSON.stringify({
    mixings: mixings.map((inputs) => tried(() => {
      const mixed = mixing.planMix(inputs);
      return { ...mixed, warned: mixed.warnings.map(say) };
    })),
    dilutions: dilutions.map(([name, inputs]) => tried(() => dilution.DILUTION[name](inputs))),
    numbers: numbers.map(([value, digits]) => amounts.shown(value, digits)),
  });
}"""
# In the phone's core: file, what stands there, what is planted.
PLANTED = {
    "one part more": ("mixing.js", 'unit === "part_in_n" ? wanted : wanted + 1', "wanted"),
    "why is asked early": ("mixing.js", "share.ppm > ASKS_WHY_PPM", "share.ppm >= ASKS_WHY_PPM"),
    "water into bleach": (
        "mixing.js", '[water, "bleach_into_water",', '["bleach_into_water", water,'),
    "weight is available chlorine": ("bottle.js", "weight ? availableChlorine(value) :", ""),
    "nothing is an amount": ("amounts.js", "nought && value === 0", "value === 0"),
    "thousands stand together": ("amounts.js", '+$)/g, ","', '+$)/g, ""'),
}  # fmt: skip
NO_AMOUNTS = [None, "", "unknown", "5", True, -1, 0, 1e300, [], {}]
FIELDS = {
    "product_strength_percent": 100, "wanted_strength_percent": 100, "final_volume_ml": 1e6,
    "water_volume_ml": 1e6, "product_volume": 1e4, "water_volume": 1e4, "final_volume": 1e4,
    "strength_percent": 100, "powder_available_chlorine_percent": 100, "wanted_ppm": 1e5,
    "water_us_gal": 1e4, "sodium_hypochlorite_percent": 100, "available_chlorine_percent": 95,
    "hours_since_mixed": 48, "life_hours": 48,
}  # fmt: skip


def number(pick: random.Random, high: float) -> float:
    """Return an amount, often round and often at the end of what may be."""
    kind = pick.random()
    if kind < 0.3:
        return float(pick.randint(1, max(1, int(high))))
    if kind < 0.4:
        return pick.choice([high, high * 1.0001, 0.0, 1e-9, 1e-12])
    if kind < 0.7:
        return float(math.exp(pick.uniform(math.log(1e-4), math.log(high))))
    return pick.uniform(0, high)


def any_answer(pick: random.Random, right: Any) -> Any:
    """Return what was right, or now and then what no person should have sent."""
    return pick.choice(NO_AMOUNTS) if pick.random() < 0.03 else right


def random_mixing(pick: random.Random) -> dict[str, Any]:
    unit = pick.choice(sorted(PRODUCT_UNITS))
    wanted_unit = pick.choice([*sorted(WANTED_UNITS), "ratio"])
    tops = {"ppm": 40_000, "percent_available_chlorine": 5, "percent_by_volume": 101}
    wanted: Any = number(pick, tops.get(wanted_unit, 40))
    if wanted_unit == "ppm" and pick.random() < 0.1:
        wanted = pick.choice([4_000, 10_000])  # where a warning begins, and where it asks why
    if pick.random() < 0.1:
        wanted = f"{pick.randint(0, 3)}{pick.choice([':', ' / ', 'in'])}{pick.randint(0, 30)}"
    volume_unit = pick.choice(sorted(ML_PER))
    answers = {
        "product_strength": number(pick, PRODUCT_UNITS[unit][0] * pick.choice([0.05, 0.15, 1])),
        "product_unit": unit,
        "bottle_age_days": pick.choice([None, 0, 30, 179.9, 180, 400.5]),
        "wanted": wanted,
        "wanted_unit": wanted_unit,
        "volume": number(pick, pick.choice([2e4, 1e6]) / ML_PER[volume_unit]),
        "volume_unit": volume_unit,
        "method": pick.choice(METHODS),
    }
    return {name: any_answer(pick, right) for name, right in answers.items()}


def random_dilution(pick: random.Random) -> tuple[str, dict[str, Any]]:
    name = pick.choice(sorted(set(DILUTION) - {"solution_age"}))
    inputs = {field: any_answer(pick, number(pick, top)) for field, top in FIELDS.items()}
    return name, inputs


def random_number(pick: random.Random) -> tuple[float, int]:
    kind = pick.random()
    if kind < 0.4:
        # Ties: the two cores must round the same way.
        return pick.randint(-100_000, 100_000) / pick.choice([2, 4, 8, 16, 20]), pick.randint(1, 9)
    value = pick.choice([-1, 1]) * math.exp(pick.uniform(-16, 36))
    return value, pick.randint(1, 9)


def tried(work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    try:
        return work()
    except CannotMix as error:
        told = {"said": error.said, "field": error.field, "readings": error.readings}
        return {"refused": error.says, **told}


def mixed(inputs: dict[str, Any]) -> dict[str, Any]:
    found = plan_mix(inputs)
    return {**found, "warned": [say(warning) for warning in found["warnings"]]}


@functools.cache
def cases() -> dict[str, list[Any]]:
    """Return the random cases, by what is done with them."""
    pick = random.Random(SEED)
    return {
        "mixings": [random_mixing(pick) for _ in range(MIXINGS)],
        "dilutions": [random_dilution(pick) for _ in range(DILUTIONS)],
        "numbers": [random_number(pick) for _ in range(NUMBERS)],
    }


@functools.cache
def in_python() -> dict[str, list[Any]]:
    """Return what the Python core makes of them."""
    mixings, dilutions, numbers = cases().values()
    return {
        "mixings": [tried(lambda one=one: mixed(one)) for one in mixings],
        "dilutions": [tried(lambda one=one: DILUTION[one[0]](one[1])) for one in dilutions],
        "numbers": [shown(value, digits) for value, digits in numbers],
    }


def difference(page: Page) -> str | None:
    """Return the first case that a page's core sees otherwise, with where they part, or None."""
    theirs = json.loads(page.evaluate(RUN, json.dumps(cases())))
    for kind, answers in in_python().items():
        for case, mine, other in zip(cases()[kind], answers, theirs[kind], strict=True):
            part = first_difference(mine, other)
            if part is not None:
                return f"seed {SEED}, {kind}, {case}: {part}"
    return None


def test_both_sides_mix_dilute_and_write_numbers_the_same(core_page: Page):
    assert difference(core_page) is None


def test_the_cases_hold_answers_and_refusals_enough():
    answered = [one for one in in_python()["mixings"] if "refused" not in one]
    assert MIXINGS / 4 < len(answered) < MIXINGS * 3 / 4
    assert sum("refused" not in one for one in in_python()["dilutions"]) > DILUTIONS / 4
    warned = {warning["key"] for one in answered for warning in one["warnings"]}
    assert warned == set(WARNINGS)


@pytest.mark.parametrize("change", PLANTED)
def test_a_change_planted_in_the_phones_core_is_reported(browser: Browser, change: str):
    name, before, after = PLANTED[change]
    text = (FRONTEND / "core" / name).read_text(encoding="utf-8")
    assert text.count(before) == 1
    with core_page_of(browser, {f"/core/{name}": text.replace(before, after)}) as page:
        assert difference(page) is not None


def test_us_measures_are_shown_in_the_unit_of_a_handy_size(core_page: Page):
    """A cup holds 236.6 mL and a US gallon 3,785 (NIST Handbook 44, Appendix C)."""
    asked = [["us_gal", 15], ["us_fl_oz", 240], ["us_cup", 3786], ["imp_gal", 15], ["l", 3786]]
    theirs = core_page.evaluate(
        "async (asked) => (({ ownUnit }) => asked.map(([unit, ml]) => ownUnit(unit, ml)))"
        "(await import('/screens/mixing_draft.js'))",
        asked,
    )
    assert theirs == ["us_fl_oz", "us_cup", "us_gal", "imp_gal", None]


def test_every_sentence_is_in_the_phones_words_with_the_same_gaps(core_page: Page):
    theirs = core_page.evaluate(
        "async (keys) => (({ words }) => keys.map((key) => words[`mix.says.${key}`]))"
        "(await import('/locales/en.js'))",
        list(WORDS),
    )
    assert theirs == list(WORDS.values())
