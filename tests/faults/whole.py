"""The phone's modules as one script, so that an app which is started very often starts fast.

Each module stays as it is shipped, in a function of its own; only its lines of import and export
are said in another way. One test runs schedules on the modules as they are, one file each.
"""

import re
from pathlib import Path
from posixpath import dirname, join, normpath

BRACED = re.compile(r"(?:^|(?<=;))import\s*\{([^}]*)\}\s*from\s*\"([^\"]+)\";?", re.M)
STARRED = re.compile(r"^import \* as (\w+) from \"([^\"]+)\";$", re.M)
HANDED_ON = re.compile(r"export\s*\{([^}]*)\}\s*from\s*\"([^\"]+)\";?")
LISTED = re.compile(r"export\s*\{([^}]*)\};?")
NAMED = re.compile(r"^export ((?:async function|function|class|const) (\w+))", re.M)
LATER = re.compile(r"\bimport\(\"([^\"]+)\"\)")
BEGIN = """"use strict";
(() => {
const texts = new Map(), made = new Map();
const define = (path, run) => texts.set(path, run);
const need = (path) => {
  if (!made.has(path)) {
    if (!texts.has(path)) throw new Error(`${path} is needed in a ring, or is not there`);
    const run = texts.get(path);
    texts.delete(path);
    made.set(path, run());
  }
  return made.get(path);
};
const needLater = async (path) => need(path);
"""
END = "})();\n"


def whole(front: Path, first: str) -> str:
    """Return one script that does what the page does whose first module is `first`."""
    told: dict[str, str] = {}
    waiting = [first]
    while waiting:
        path = waiting.pop()
        if path not in told:
            told[path], needed = told_otherwise(
                (front / path[1:]).read_text(encoding="utf-8"), path
            )
            waiting += needed
    rest = [
        f"define({path!r}, () => {{\n{text}\n}});\n" for path, text in told.items() if path != first
    ]
    return BEGIN + "".join(rest) + f"void (async () => {{\n{told[first]}\n}})();\n" + END


def told_otherwise(text: str, path: str) -> tuple[str, list[str]]:
    """Return a module's text as the inside of a function, and the paths of what it needs."""
    needed: list[str] = []
    given: list[str] = []

    def at(name: str) -> str:
        needed.append(normpath(join(dirname(path), name)))
        return f'"{needed[-1]}"'

    def hand_on(match: re.Match[str]) -> str:
        given.extend(f"{new}: need({at(match[2])}).{old}" for old, new in pairs(match[1]))
        return ""

    def listed(match: re.Match[str]) -> str:
        given.extend(f"{new}: {old}" for old, new in pairs(match[1]))
        return ""

    def named(match: re.Match[str]) -> str:
        given.append(match[2])
        return match[1]

    text = BRACED.sub(lambda m: f"const {{ {taken(m[1])} }} = need({at(m[2])});", text)
    text = STARRED.sub(lambda m: f"const {m[1]} = need({at(m[2])});", text)
    text = HANDED_ON.sub(hand_on, text)
    text = NAMED.sub(named, LISTED.sub(listed, text))
    text = LATER.sub(lambda m: f"needLater({at(m[1])})", text)
    return f"{text}\nreturn {{ {', '.join(given)} }};", needed


def pairs(names: str) -> list[tuple[str, str]]:
    """Return what stands between braces as (old name, new name)."""
    said = [name.split(" as ") for name in names.replace("\n", " ").split(",") if name.strip()]
    return [(old[0].strip(), old[-1].strip()) for old in said]


def taken(names: str) -> str:
    return ", ".join(f"{old}: {new}" for old, new in pairs(names))
