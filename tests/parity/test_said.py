"""The sentences of alerts are filled in alike on both sides, with the right number and no "?"."""

from itertools import pairwise
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.watches import fill, load_rules
from tests.parity.twins import called_in_browser

SITE = {"offsets": [["2026-01-01T00:00:00.000Z", 600]], "working_days": [1], "hemisphere": "south"}
FACTS = {"n": 1, "m": 12, "half": 0.5, "at": "2026-09-09T14:30:00.000Z", "none": None}


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("{n} {n|lot|lots}", "1 lot"),
        ("{m} {m|lot|lots}, {half} {half|day|days}", "12 lots, 0.5 days"),
        ("{none} {none|lot|lots}", "? lots"),
        ("since {at|date|it was sown} {at|time}", "since 10 September 00:30"),
        ("since {none|date|it was sown}", "since it was sown"),
        ("since {none|date}", "since ?"),
    ],
)
def test_a_gap_takes_the_word_that_goes_with_its_figure(core_page: Page, template: str, said: str):
    theirs = called_in_browser(core_page, "watches", "fill", template, FACTS, SITE)["value"]
    assert [fill(template, FACTS, SITE), theirs] == [said, said]


def counted(template: str) -> list[str]:
    """Return the figures of a sentence that stand before a word with a fixed plural."""
    words = template.replace("}", "} ").split()
    plurals = ("lots", "days", "hours", "looks", "plants", "places")
    pairs = pairwise(words)
    return [one for one, word in pairs if one.startswith("{") and word.strip(",.)") in plurals]


def test_no_alert_says_one_lots():
    rules: list[dict[str, Any]] = [dict(rule) for rule in load_rules()]
    parts = [part for rule in rules for part in (rule, *rule.get("cases", []))]
    assert [wrong for part in parts for wrong in counted(part.get("says", ""))] == []


def test_the_locale_takes_the_word_that_goes_with_a_figure(core_page: Page):
    """A figure may come as it is shown."""
    asked = """async (figures) => { const { t } = await import('/ui/html.js');
      return figures.map((n) => t("alerts.lots", { n })); }"""
    said = core_page.evaluate(asked, [1, "1", 0, 12, "1,200", None])
    assert said == ["1 lot", "1 lot", "0 lots", "12 lots", "1,200 lots", "? lots"]
