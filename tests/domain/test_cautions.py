"""The cautions: each with its source, the same on both sides and in every language that ships."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.cautions import cautions_about, load_cautions

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


def test_the_bleach_cautions_leave_nothing_usual_out():
    said = " ".join(one["says"] for one in cautions_about("bleach"))
    for word in BLEACH_SAYS:
        assert word in said, word
    assert cautions_about("bleach")[0]["key"] == "label_first"


def test_pumps_are_on_a_residual_current_device_with_dry_hands():
    (pump,) = cautions_about("electricity")
    assert "residual-current device" in pump["says"]
    assert "dry hands" in pump["says"]
