"""Grouping findings for lists and messages: one entry for a place, not one for each of its lots.

Nothing is lost by it: a group holds every finding it stands for, and never says less than the worst
of them. The twin of `core/grouping.js`.
"""

from typing import Any

Finding = dict[str, Any]
Group = dict[str, Any]

LEVELS = ("due", "late", "alarm")
# What a place's own finding says for its lots too: who walks there looks at each of them. Ours.
STANDS_FOR: dict[str, tuple[str, ...]] = {
    "round-missing": ("look-due", "cold-look", "round-missing"),
    "chamber-band": ("look-due", "cold-look"),
}
# Done on one walk through the nursery in one morning: one entry, whatever the places. Ours.
NURSERY_WIDE = ("cover-left-on",)


def group(findings: list[Finding]) -> list[Group]:
    """Return groups, the gravest first, of findings that another rule does not hide.

    The same watch at lots of the same place is one group; a place that nobody walked, or a fridge
    outside its band, takes in the looks that are due there, unless one of those is graver than it.
    A nursery nobody walked takes in its places. Covers that are still on are one entry for the
    nursery, whatever the places. What is shelved is grouped apart from what is not, but for what
    its place stands for: who leaves the place until later leaves the looks in it, too.

    A group is {key, watch, place, level, priority, since, state, findings, folded}: `findings` its
    own, the gravest first, and `folded` those of other watches that it stands for.
    """
    shown = [one for one in findings if not one.get("hidden_by")]
    heads = [one for one in shown if one["watch"] in STANDS_FOR and one["lot"] is None]
    # What is open stands before what is left: nothing open is put away that shows elsewhere.
    heads.sort(key=lambda one: (_is_shelved(one), _key(one)))
    own: dict[str, list[Finding]] = {}
    folded: dict[str, list[Finding]] = {}
    for one in shown:
        head = next((head for head in heads if _stands_for(head, one)), None)
        into, by = (folded, head) if head else (own, one)
        into.setdefault(_key(by), []).append(one)
    for key in [key for key in folded if key not in own]:
        # The place itself was taken in by the nursery, with all that it stood for.
        above = next(at for at, held in folded.items() if key in map(_key, held))
        folded[above] += folded.pop(key)
    groups = [_group(key, own[key], folded.get(key, [])) for key in own]
    return sorted(groups, key=lambda one: (_gravity(one), one["key"]))


def _is_shelved(finding: Finding) -> bool:
    return finding.get("state") == "shelved"


def _key(finding: Finding) -> str:
    subject = finding["subject"]
    where = finding["place"] or f"{subject['kind']}:{subject['id']}"
    where = "every place" if finding["watch"] in NURSERY_WIDE else where
    kind = "lots" if subject["kind"] == "lot" else subject["kind"]
    return f"{finding['watch']}|{where}|{kind}|{'shelved' if _is_shelved(finding) else 'open'}"


def _stands_for(head: Finding, one: Finding) -> bool:
    if one is head or one["watch"] not in STANDS_FOR[head["watch"]]:
        return False
    if (_is_shelved(one) and not _is_shelved(head)) or _rank(head) < _rank(one):
        return False
    if head["subject"]["kind"] == "nursery":
        return bool(one["subject"]["kind"] == "place")
    return bool(one["lot"] is not None and one["place"] == head["place"])


def _rank(finding: Finding) -> int:
    return LEVELS.index(finding["level"])


def _gravity(one: dict[str, Any]) -> tuple[int, int, str]:
    return -LEVELS.index(one["level"]), one["priority"], one["since"]


def _group(key: str, own: list[Finding], folded: list[Finding]) -> Group:
    findings = sorted(own, key=lambda one: (_gravity(one), one["subject"]["id"]))
    first = findings[0]
    answered = all(one.get("state") == "acknowledged" for one in findings)
    state = "shelved" if _is_shelved(first) else "acknowledged" if answered else "open"
    return {
        "key": key,
        "watch": first["watch"],
        "place": first["place"] if len({one["place"] for one in findings}) == 1 else None,
        "level": first["level"],
        "priority": first["priority"],
        "since": min(one["since"] for one in findings),
        "state": state,
        "findings": findings,
        "folded": sorted(folded, key=lambda one: (_gravity(one), one["subject"]["id"])),
    }
