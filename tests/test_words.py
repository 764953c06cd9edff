"""Every word on the screen comes from the locale, and every word that is asked for is there."""

import re
from pathlib import Path
from typing import Any

import pytest

from lathhouse.domain.watches import load_rules
from tests.browser import FRONTEND

LOCALE = FRONTEND / "locales" / "en.js"
# Words of screens that come after the round: kept out of the first paint.
LATER = LOCALE.parent / "later" / LOCALE.name
# What the app shows by itself, without the words that come with a screen.
EARLY = ("app.js", "store/start.js", "store/updates.js", "store/deriving.js", "ui/keeper.js")
# Keys that are put together at run time: what stands before the first gap.
LITERAL = re.compile(r'\bt\(\s*"([a-z_.\-0-9]+)"')
EITHER = re.compile(r'\? "([a-z_]+\.[a-z_.\-0-9]+)" : "([a-z_]+\.[a-z_.\-0-9]+)"')
BUILT = re.compile(r"`([a-z_]+\.(?:[a-z_\-]+\.)*)\$\{")
UNDER = re.compile(r'wordsUnder\("([a-z_.]+)"\)')
# Answers to choices: their lists name the key, and the answer is put behind it.
ANSWERS = ("cause.", "fungus.", "health.", "method.", "root_fill.", "roots.", "test.", "where.")
QUOTED = re.compile(r'"([a-z_]+\.[a-z_.\-0-9]+)"')


def words_of(*files: Path) -> list[str]:
    """Return the keys of these files of words."""
    text = "\n".join(file.read_text(encoding="utf-8") for file in files)
    return re.findall(r'^  "([^"]+)":', text, re.MULTILINE)


def words() -> set[str]:
    """Return the keys of the locale."""
    return set(words_of(LOCALE, LATER))


def views() -> str:
    """Return the text of everything that shows something."""
    files = [FRONTEND / "app.js", *FRONTEND.glob("screens/*.js"), *FRONTEND.glob("ui/*.js")]
    return "\n".join(file.read_text(encoding="utf-8") for file in files)


def test_every_word_that_a_screen_asks_for_is_in_the_locale() -> None:
    """A missing word would show its key to the grower."""
    text = views()
    asked = set(LITERAL.findall(text)) | {key for pair in EITHER.findall(text) for key in pair}
    assert sorted(asked - words()) == []


def test_no_word_is_kept_that_no_screen_asks_for() -> None:
    """What nobody reads is translated for nothing."""
    text = views()
    built = (*BUILT.findall(text), *UNDER.findall(text), *ANSWERS)
    asked = set(QUOTED.findall(text))
    unused = [key for key in words() if key not in asked and not key.startswith(built)]
    assert sorted(unused) == []


def test_what_is_shown_without_a_screen_asks_for_no_word_that_comes_with_one() -> None:
    """The round would show a key where its word comes later; and no key stands in both files."""
    files = {file for name in EARLY for file in imported_by(FRONTEND / name)}
    text = "\n".join(file.read_text(encoding="utf-8") for file in files)
    built = tuple(BUILT.findall(text))
    later = words_of(LATER)
    assert [key for key in later if f'"{key}"' in text or key.startswith(built)] == []
    assert sorted(words_of(LOCALE, LATER)) == sorted(words())


def imported_by(file: Path, found: frozenset[Path] = frozenset()) -> frozenset[Path]:
    """Return a module and all that comes with it, without the words."""
    if file in found or file == LOCALE:
        return found
    found |= {file}
    for name in re.findall(r'(?:from|import) "(\.[^"]+)"', file.read_text(encoding="utf-8")):
        found = imported_by((file.parent / name).resolve(), found)
    return found


@pytest.mark.parametrize("kind", ["lot_started", "looked", "counted", "voided", "treated", "sold"])
def test_every_kind_of_record_has_a_name(kind: str) -> None:
    """The history names what was done."""
    assert f"act.{kind}" in words()


def keys_and_gaps(locale: str) -> dict[str, set[str]]:
    """Return the gaps, such as {n} and {n|lot|lots}, of each key of a locale's text."""
    lines = re.findall(r'^  "([^"]+)":(.*)$', locale, re.MULTILINE)
    return {
        key: {f"{{{name}}}" for name in re.findall(r"\{(\w+)[|}]", sentence)}
        for key, sentence in lines
    }


def test_every_language_has_the_same_keys_and_fills_the_same_gaps() -> None:
    """A language is a file beside `en.js`."""
    english = keys_and_gaps(LOCALE.read_text(encoding="utf-8"))
    assert len(english) > 300
    for file in (*LOCALE.parent.glob("*.js"), *LATER.parent.glob("*.js")):
        ours = LATER if file.parent == LATER.parent else LOCALE
        expected = keys_and_gaps(ours.read_text(encoding="utf-8"))
        assert keys_and_gaps(file.read_text(encoding="utf-8")) == expected, file
    assert {file.name for file in LATER.parent.iterdir()} == {
        file.name for file in LOCALE.parent.glob("*.js")
    }


def test_a_language_that_lacks_a_word_or_a_gap_is_not_the_same() -> None:
    english = keys_and_gaps('  "a.b": "{n} lots",\n  "a.c": "none",\n')
    assert english == {"a.b": {"{n}"}, "a.c": set()}
    assert keys_and_gaps('  "a.b": "lots",\n  "a.c": "none",\n') != english
    assert keys_and_gaps('  "a.b": "{n} lots",\n') != english


def named_in(rule: dict[str, Any]) -> tuple[list[list[Any]], set[str], list[Any]]:
    """Return a rule's conditions, the facts that it counts from, ends at or shows, and its runs."""
    parts = [rule, *rule.get("cases", [])]
    conditions = [condition for part in parts for condition in part.get("when", [])]
    clocks = [part["clock"] for part in parts if "clock" in part]
    facts = {path for clock in clocks if isinstance(clock, list) for path in clock}
    runs = [clock for clock in clocks if isinstance(clock, dict) and "run_of" in clock]
    for clock in clocks:
        if isinstance(clock, dict):
            facts |= {clock[name] for name in clock if name.endswith("_after")}
    facts |= {part["until"] for part in parts if "until" in part}
    facts |= {term[end] for p in parts for term in p.get("unless", []) for end in ("fact", "from")}
    specs = [spec for p in parts for spec in (p.get("after") or {}).values() if spec]
    facts |= {spec[name] for spec in specs for name in ("fact", "at", "before") if name in spec}
    return conditions, facts, runs


@pytest.mark.parametrize("rule", load_rules(), ids=lambda rule: str(rule["id"]))
def test_every_part_of_a_shipped_watch_can_be_told_in_words(rule: dict[str, Any]) -> None:
    """No condition, fact or run of a rule is shown to the owner as it is stored."""
    conditions, facts, runs = named_in(rule)
    known = words()

    def is_told(fact: str, how: str, value: Any = "undefined") -> bool:
        own = ""
        if isinstance(value, list):
            own = "." + "_".join(map(str, value))
        elif isinstance(value, bool | str):
            own = f".{value}".lower() if isinstance(value, bool) else f".{value}"
        return f"case.{fact}.{how}{own}" in known or {f"fact.{fact}", f"how.{how}"} <= known

    untold = [str(condition) for condition in conditions if not is_told(*condition)]
    untold += [fact for fact in facts if f"fact.{fact}" not in known]
    starts = tuple(key for key in known if key.startswith("clock.run."))
    told = {key.split(".")[2] for key in starts}
    untold += [run["run_of"] for run in runs if run["run_of"] not in told]
    assert {f"watch.{rule['id']}", f"ends.{rule['id']}"} <= known
    assert untold == []
