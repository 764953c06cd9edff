"""Raised against true: what was missed, what was said wrongly, what was said twice, and why."""

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise

from lathhouse.domain.watches import load_rules
from tests.simulation.calendar import HOUR_MS, MINUTE_MS
from tests.simulation.episodes import Key, Span, minus, union, widened
from tests.simulation.nature import DrySpell
from tests.simulation.run import Run

# A tick comes at the very moment; a minute is for what is recorded within the same visit.
SLACK_MS = MINUTE_MS
# The fridge is read every hour, and stays told of until two readings are well inside.
LATE_MS = {"chamber-band": 125 * MINUTE_MS}
# Two reckonings of one sunrise differ by up to a minute and a quarter, beside the usual minute.
SUN_MS = {"frost-tonight": 3 * MINUTE_MS, "cover-left-on": 3 * MINUTE_MS}
# Of these nothing independent is known here, and why.
NO_TRUTH = {
    "promise-at-risk": (
        "it rests on an interval of statistics, which a second hand would only copy; its check"
        " values are in tests/reference/vectors_work.json"
    ),
}
# These are never true in this world, so that whatever is raised of them is untrue.
NEVER_HERE = {
    "re-entry": "nobody sprays, and the demo's one interval is over",
    "ec-band": "no owner has set a band",
    "record-gap": "every record comes whole",
    "backup-old": "each night's backup is made",
    "after-closing": "nobody records anything of a closed lot",
}
# A record that came within this time was on its way from the rows to the shed.
ON_ITS_WAY_MS = 2 * HOUR_MS


@dataclass
class Line:
    """How a watch did."""

    watch: str
    modelled: bool = True
    true: int = 0
    raised: int = 0
    unraised: list[tuple[Key, Span]] = field(default_factory=list)
    untrue: list[tuple[Key, Span]] = field(default_factory=list)
    on_its_way: int = 0
    on_a_phone_that_was_off: int = 0
    repeated: list[tuple[Key, Span]] = field(default_factory=list)


def judge(run: Run) -> list[Line]:
    """Return a line for each watch that ships, also for one that was neither true nor raised."""
    true, stood = run.world.truth.done, run.mirror.stood
    lines = {rule["id"]: Line(rule["id"], rule["id"] not in NO_TRUTH) for rule in load_rules()}
    for key in sorted(true.keys() | stood.keys()):
        line = lines[key.watch]
        was, said = since(run.calendar.start_ms, true.get(key, [])), stood.get(key, [])
        line.true += len(was)
        line.raised += len(said)
        if line.modelled:
            _compare(run, key, was, said, line)
    return sorted(lines.values(), key=lambda line: line.watch)


def _compare(run: Run, key: Key, was: list[Span], said: list[Span], line: Line) -> None:
    edge = SUN_MS.get(key.watch, SLACK_MS)
    late = LATE_MS.get(key.watch, edge)
    unsent = union(widened(run.world.unsent.get(key.subject, []), 0, SLACK_MS))
    missed = _longer(minus(was, widened(said, late, edge)))
    wrong = _longer(minus(said, widened(was, edge, late)))
    # Said for less than a minute: the record came in while it rang.
    line.on_its_way += len(minus(said, widened(was, 0, late))) - len(
        _longer(minus(said, widened(was, 0, late)))
    )
    for spans, found in ((missed, line.unraised), (wrong, line.untrue)):
        for span in spans:
            if minus([span], unsent):
                found.append((key, span))
            elif span[1] - span[0] <= ON_ITS_WAY_MS:
                line.on_its_way += 1
            else:
                line.on_a_phone_that_was_off += 1
    for span in was:
        times = [one for one in union(said) if one[0] < span[1] and one[1] > span[0]]
        if len(times) > 1 and not _gaps_explained(times, unsent):
            line.repeated.append((key, span))


def since(start: int, spans: list[Span]) -> list[Span]:
    """Return what of some spans lies after the run's beginning."""
    return [(max(start, low), high) for low, high in spans if high > start]


def _gaps_explained(times: list[Span], unsent: list[Span]) -> bool:
    gaps = [(one[1], other[0]) for one, other in pairwise(times)]
    return not minus(gaps, unsent)


def _longer(spans: list[Span]) -> list[Span]:
    return [span for span in spans if span[1] - span[0] > SLACK_MS]


def unseen_dry(run: Run) -> list[DrySpell]:
    """Return the true dryness that nobody saw for longer than a look may take, and nobody was sent.

    Nobody can know of dryness that nobody saw. What must hold is that then something stood, on the
    lot or on its place, that sends a person there.
    """
    found = []
    for spell in run.world.nature.dry_spells:
        late = spell.start + round(spell.look_days * 24 * HOUR_MS) + SLACK_MS
        told = [
            span
            for key, spans in run.mirror.stood.items()
            if key.subject in (spell.lot, spell.place)
            for span in spans
        ]
        if late < spell.end and not _touch(told, (late, spell.end)):
            found.append(spell)
    return found


def _touch(spans: list[Span], span: Span) -> bool:
    return any(start < span[1] and end > span[0] for start, end in spans)


def raised_twice(run: Run) -> int:
    """Return how many alerts went from cleared to raised again under one id."""
    again = Counter(
        row["id"]
        for row in run.mirror.rows.values()
        for note in row["history"]
        if note["what"] == "raised"
    )
    return sum(1 for times in again.values() if times > 1)
