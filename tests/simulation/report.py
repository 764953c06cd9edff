"""The figures as a table, with the aims that were missed."""

from tests.simulation import load, verdict
from tests.simulation.calendar import local
from tests.simulation.episodes import Key, Span
from tests.simulation.run import Run


def lines(run: Run) -> tuple[list[str], int]:
    """Return (lines to print, how many aims were missed)."""
    judged = verdict.judge(run)
    said = [
        f"{run.days} days from the demo's morning, seed {run.seed}; "
        f"{len(run.world.lots)} lots, {len(run.mirror.rows)} alerts, {len(run.mirror.rings)} rings",
        "",
        f"{'watch':22}{'true':>6}{'raised':>8}{'true,':>10}{'raised,':>10}{'on its':>8}"
        f"{'phone':>8}{'twice':>7}{'rings':>7}",
        f"{'':22}{'':>6}{'':>8}{'unraised':>10}{'untrue':>10}{'way':>8}{'off':>8}",
    ]
    rang = load.by_watch(run)
    for line in judged:
        said.append(
            f"{line.watch:22}{line.true:6}{line.raised:8}{len(line.unraised):10}"
            f"{len(line.untrue):10}{line.on_its_way:8}{line.on_a_phone_that_was_off:8}"
            f"{len(line.repeated):7}{rang[line.watch]:7}"
        )
    aims = _aims(run, judged)
    said += ["", *_load_lines(run), "", *(text for text, _ in aims)]
    for line in judged:
        said += [_where(run, *one, "unraised") for one in line.unraised[:3]]
        said += [_where(run, *one, "untrue") for one in line.untrue[:3]]
        said += [_where(run, *one, "twice") for one in line.repeated[:3]]
    return said, sum(not met for _, met in aims)


def _load_lines(run: Run) -> list[str]:
    said = [f"{'new a working day':22}{'ordinary days':>14}{'median':>8}{'95 %':>6}{'most':>6}"
            f"{'other days':>12}{'median':>8}{'95 %':>6}{'most':>6}"]  # fmt: skip
    for one in load.loads(run):
        row = f"{one.who:22}"
        for values, width in ((one.ordinary, 14), (one.others, 12)):
            middle, high, most = load.figures(values)
            row += f"{len(values):{width}}{middle:8.1f}{high:6.0f}{most:6}"
        said.append(row)
    shares = load.shares(run)
    said.append(
        "of what rings: "
        + ", ".join(f"P{p}{'+' if p == 3 else ''} {share:.0f} %" for p, share in shares.items())
        + f" (aim of the standard: about {', '.join(f'{s} %' for s in load.SHARES.values())})"
    )
    hours, watch = load.longest_unanswered(run)
    said.append(f"longest before anybody acted: {hours:.0f} h ({watch})")
    dried, silent, longest = verdict.unseen_dry(run)
    said.append(f"dried out {dried} times, unseen for at most {longest:.0f} h; untold: {silent}")
    return said


def _aims(run: Run, judged: list[verdict.Line]) -> list[tuple[str, bool]]:
    ordinary = [count for one in load.loads(run) for count in one.ordinary]
    middle, high, most = load.figures(ordinary)
    over = sum(count > load.AIM for count in ordinary)
    sums = [
        ("true and unraised", sum(len(line.unraised) for line in judged)),
        ("raised and untrue, unexplained", sum(len(line.untrue) for line in judged)),
        ("raised twice for one thing", sum(len(line.repeated) for line in judged)),
        ("alerts of one id raised twice", verdict.raised_twice(run)),
        ("dry and nobody told to look", verdict.unseen_dry(run)[1]),
    ]
    aims = [
        (f"{name:34}{found:6}  (aim: 0){_missed(found == 0)}", found == 0) for name, found in sums
    ]
    met = high <= load.AIM
    aims.append(
        (
            f"{'new alerts a person and working day':34}{high:5.0f}  (95th percentile of "
            f"{len(ordinary)} ordinary person-days, aim: at most {load.AIM}){_missed(met)}; "
            f"median {middle:.1f}, most {most}, over {load.AIM}: {over}",
            met,
        )
    )
    return aims


def _missed(met: bool) -> str:
    return "" if met else "  MISSED"


def _where(run: Run, key: Key, span: Span, what: str) -> str:
    lot = run.world.lots.get(key.subject)
    name = f"{lot.crop} in {lot.phase}" if lot else key.kind
    start, end = (f"{local(at):%d %b %H:%M}" for at in span)
    return f"  {what}: {key.watch}, {name} {key.subject[:8]}, {start} to {end}"
