"""The cautions: each with its source, the same on both sides and in every language that ships."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.calculations import CALCULATIONS
from lathhouse.domain.cautions import cautions_about, load_cautions
from lathhouse.domain.dilution import DILUTION

REFERENCE = Path(__file__).parents[1] / "reference"
VECTORS = json.loads((REFERENCE / "vectors_dilution.json").read_text("utf-8"))["vectors"]
EXAMPLES: dict[str, dict[str, Any]] = {
    "mixing_plan": {
        "product_strength": 40, "product_unit": "g_per_l_available_chlorine", "wanted": 15,
        "wanted_unit": "percent_by_volume", "volume": 4, "volume_unit": "l",
        "method": "make_up_to",
    },
    "solution_age": {
        "mixed_at": "2026-05-01T08:00:00Z", "now": "2026-05-01T09:00:00Z", "life_hours": 24,
    },
}  # fmt: skip
LOCALES = Path(__file__).parents[2] / "frontend" / "locales"
HAZARDS = ("bleach", "acid", "electricity", "toxic", "sprays")
# What must not be missing beside a mixing: the usual cautions (CDC; CCOHS; NDSU bleach pages).
BLEACH_SAYS = ("acids", "ammonia", "into water", "Open air", "gloves", "eyes", "label", "children",
               "sewer", "food")  # fmt: skip


def words_of(locale: Path) -> dict[str, str]:
    """Return a locale's words."""
    pairs = re.findall(r'^  ("[\w.]+"): (".*"),$', locale.read_text("utf-8"), flags=re.MULTILINE)
    return {json.loads(key): json.loads(text) for key, text in pairs}


@pytest.mark.parametrize("locale", sorted(LOCALES.glob("*.js")), ids=lambda file: file.stem)
def test_every_caution_is_said_in_every_language_that_ships(locale: Path):
    words = words_of(locale)
    for caution in load_cautions():
        assert words[f"caution.{caution['key']}"], caution["key"]
        if locale.stem == "en":
            assert words[f"caution.{caution['key']}"] == caution["says"]


@pytest.mark.parametrize("hazard", HAZARDS)
def test_both_sides_show_the_same_cautions_in_the_same_order(core_page: Page, hazard: str):
    theirs: Any = core_page.evaluate(
        """async (hazard) => {
          const { cautionsAbout } = await import("/core/cautions.js");
          return cautionsAbout(hazard).map(({ key, grave }) => [key, grave]);
        }""",
        hazard,
    )
    assert theirs == [[one["key"], one["grave"]] for one in cautions_about(hazard)]


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("sanitise_started", ("acids", "ammonia", "into water", "gloves", "eye", "label", "local")),
        ("soak_started", ("residual-current device", "dry hands")),
        ("aerated", ("residual-current device", "dry hands")),
        ("scarified", ("acid into water", "face shield", "trained", "label", "local rules")),
    ],
)
def test_every_act_that_can_hurt_carries_its_caution_on_the_phone(
    kind: str, words: tuple[str, ...]
):
    acts = (LOCALES.parent / "ui" / "acts.js").read_text("utf-8")
    shown = re.search(rf'CAUTIONS = \{{[^}}]*\b{kind}: "([\w.]+)"', acts)
    assert shown
    for word in words:
        assert word in words_of(LOCALES / "en.js")[shown[1]]


def test_the_bleach_cautions_leave_nothing_usual_out():
    said = " ".join(one["says"] for one in cautions_about("bleach"))
    for word in BLEACH_SAYS:
        assert word in said, word


@pytest.mark.parametrize("hazard", HAZARDS)
def test_label_local_rules_and_licensed_practice_come_before_every_caution(hazard: str):
    first = cautions_about(hazard)[0]
    assert first["key"] == "label_first"
    for word in ("label", "local rules", "licensed practice"):
        assert word in first["says"]


@pytest.mark.parametrize("name", ["mixing_plan", *DILUTION])
def test_every_calculation_with_bleach_carries_all_its_cautions(name: str):
    inputs = EXAMPLES.get(name) or next(
        vector["inputs"] for vector in VECTORS if vector["calculation"] == name
    )
    hazards = ("bleach", "acid") if name == "mixing_plan" else ("bleach",)
    carried = CALCULATIONS[name](inputs)["cautions"]
    assert carried == [one["says"] for one in cautions_about(*hazards)]


def test_pumps_are_on_a_residual_current_device_with_dry_hands():
    _, pump = cautions_about("electricity")
    assert "residual-current device" in pump["says"]
    assert "dry hands" in pump["says"]
