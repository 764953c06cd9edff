"""The figures as a table, with the aims that were missed."""

from tests.simulation import load, verdict
from tests.simulation.calendar import HOUR_MS, local
from tests.simulation.episodes import Key, Span
from tests.simulation.rings import Board
from tests.simulation.run import Run
from tests.simulation.yard import COLD_C, FROST_LOW_C, HOT_HIGH_C

COLUMNS = (
    ("true", 6), ("raised", 8), ("unraised", 10), ("untrue", 8), ("on way", 8), ("phone off", 11),
    ("twice", 7), ("listed", 8), ("rang", 6),
)  # fmt: skip
WHERE_MAX = 3


def lines(run: Run) -> tuple[list[str], int]:
    """Return (lines to print, how many aims were missed)."""
    judged = verdict.judge(run)
    aims = _aims(run, judged)
    said = [
        f"{run.days} days from the demo's morning, seed {run.seed}: {len(run.world.lots)} lots, "
        f"{run.sent} events sent, {len(run.mirror.rows)} alerts",
        "",
        *_table(run, judged),
        *(f"  ? {watch}: {why}" for watch, why in verdict.NO_TRUTH.items()),
        *(f"  0 {watch}: {why}" for watch, why in verdict.NEVER_HERE.items()),
        "",
        *_load_lines("new on the list", run, run.mirror.listed),
        *_load_lines("new that rings", run, run.mirror.ringing),
        *_message_lines(run),
        *_other_lines(run),
        "",
        *(text for text, _ in aims),
    ]
    for line in judged:
        for what in ("unraised", "untrue", "repeated"):
            spans = getattr(line, what)[:WHERE_MAX]
            said += [_where(run, key, span, what) for key, span in spans]
    for dry in verdict.unseen_dry(run)[:WHERE_MAX]:
        key = Key(f"dry, {dry.phase}", "lot", dry.lot)
        said.append(_where(run, key, (dry.start, dry.end), "nobody sent"))
    return said, sum(not met for _, met in aims)


def _table(run: Run, judged: list[verdict.Line]) -> list[str]:
    listed, rang = load.by_watch(run.mirror.listed), load.by_watch(run.mirror.ringing)
    said = [f"{'watch':20}" + "".join(f"{name:>{width}}" for name, width in COLUMNS)]
    for line in judged:
        values = (
            line.true, line.raised, len(line.unraised), len(line.untrue), line.on_its_way,
            line.on_a_phone_that_was_off, len(line.repeated), listed[line.watch], rang[line.watch],
        )  # fmt: skip
        row = f"{line.watch:20}"
        for value, (name, width) in zip(values, COLUMNS, strict=True):
            known = line.modelled or name in ("raised", "listed", "rang")
            row += f"{value if known else '?':>{width}}"
        said.append(row)
    return said


def _load_lines(name: str, run: Run, board: Board) -> list[str]:
    heads = "".join(f"{head:>8}" for head in ("days", "median", "95 %", "most"))
    said = [f"{name:20}{'ordinary':>10}{heads}{'other':>10}{heads}"]
    for one in load.loads(run, board):
        row = f"{one.who:20}"
        for values in (one.ordinary, one.others):
            middle, high, most = load.figures(values)
            row += f"{'':10}{len(values):8}{middle:8.1f}{high:8.0f}{most:8}"
        said.append(row)
    return said


def _message_lines(run: Run) -> list[str]:
    """Return the messages that each phone really got: to the first in line, on to the next."""
    days = [d for d in range(run.days) if run.calendar.is_working(d) and d not in run.out_of_order]
    said = []
    for name, values in run.post.counts(days).items():
        middle, high, most = load.figures(values)
        row = f"{f'messages, {name}':20}{'':10}{len(values):8}{middle:8.1f}{high:8.0f}{most:8}"
        said.append(row)
    return said


def _other_lines(run: Run) -> list[str]:
    usual = ", ".join(f"{share} %" for share in load.SHARES.values())
    hours, watch = load.longest_unanswered(run)
    spells = run.world.nature.dry_spells
    longest = max((spell.end - spell.start for spell in spells), default=0) / HOUR_MS
    return [
        f"of what is new on the list: {_shares(run.mirror.listed)} (the standards: about {usual})",
        f"of what rings: {_shares(run.mirror.ringing)} (a P3 rings only as an alarm, a P4 never)",
        f"longest before anybody acted on what rang: {hours:.0f} h ({watch})",
        _weather_line(run),
        f"truly dried out: {len(spells)} times, at most {longest:.0f} h unseen",
    ]


def _weather_line(run: Run) -> str:
    weather, yard = run.world.weather, run.world.yard
    nights = sum(0 <= day < run.days and low_c <= FROST_LOW_C for day, low_c in yard.lows.items())
    days = sum(0 <= day < run.days and high_c >= HOT_HIGH_C for day, high_c in yard.highs.items())
    frosts = sum(low_c <= COLD_C for low_c in weather.lows[: run.days])
    hot = sum(high_c >= HOT_HIGH_C for high_c in weather.highs[: run.days])
    return (
        f"nights of frost: {nights} as was forecast last, {frosts} of {COLD_C:.0f} °C or lower;"
        f" hot days: {days} as was forecast last, {hot} of {HOT_HIGH_C:.0f} °C or more"
    )


def _shares(board: Board) -> str:
    found = load.shares(board).items()
    return ", ".join(f"P{p}{'+' if p == 3 else ''} {share:.0f} %" for p, share in found)


def _aims(run: Run, judged: list[verdict.Line]) -> list[tuple[str, bool]]:
    counts = [
        ("true and unraised", sum(len(line.unraised) for line in judged)),
        ("raised and untrue, unexplained", sum(len(line.untrue) for line in judged)),
        ("raised twice for one thing", sum(len(line.repeated) for line in judged)),
        ("one alert raised twice", verdict.raised_twice(run)),
        ("dry, and nobody told to look", len(verdict.unseen_dry(run))),
    ]
    # The list is for information: what is on it without ringing is the round's own work.
    aims = [(f"{name:34}{n:6}  (aim: 0){_missed(n == 0)}", n == 0) for name, n in counts]
    return [
        *aims,
        _load_aim("that ring", run, run.mirror.ringing),
    ]


def _load_aim(what: str, run: Run, board: Board) -> tuple[str, bool]:
    ordinary = [count for one in load.loads(run, board) for count in one.ordinary]
    middle, high, most = load.figures(ordinary)
    over = sum(count > load.AIM for count in ordinary)
    name = f"new a person-day {what}"
    met = high <= load.AIM
    text = (
        f"{name:34}{high:6.0f}  (95th percentile of {len(ordinary)} ordinary ones, aim: at most "
        f"{load.AIM}){_missed(met)}; median {middle:.1f}, most {most}, over {load.AIM}: {over}"
    )
    return text, met


def _missed(met: bool) -> str:
    return "" if met else "  MISSED"


def _where(run: Run, key: Key, span: Span, what: str) -> str:
    lot = run.world.lots.get(key.subject)
    name = f"{lot.crop} in {lot.phase}" if lot else key.kind
    start, end = (f"{local(at):%d %b %H:%M}" for at in span)
    return f"  {what}: {key.watch}, {name} {key.subject[:8]}, {start} to {end}"
