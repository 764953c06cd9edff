"""The morning list as one page of HTML that stands alone: to print from a mail or a browser.

Black on white, in two columns, on A4 and US letter alike; nothing in it is fetched.
"""

from html import escape
from typing import Any

from lathhouse.domain.morning_text import (
    above,
    alarm_line,
    below,
    filled,
    running_blank,
    running_line,
    sentence,
    title,
)
from lathhouse.domain.morning_words import WORDS

Row = dict[str, Any]
People = dict[str, str]

STYLE = """
@page { margin: 12mm; }
body { font: 10.5pt/1.25 Arial, Helvetica, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 190mm; }
.columns { columns: 2; column-gap: 8mm; } h1 { font-size: 15pt; margin: 0 0 1mm; }
h2 { font-size: 12pt; margin: 0 0 0.5mm; break-after: avoid; display: flex; justify-content: space-between; gap: 3mm; }
p { margin: 0.5mm 0; } section { margin-top: 3mm; } ul { margin: 0; padding: 0; list-style: none; }
.alarms { border: 1.5pt solid #000; padding: 1mm 2mm; } .alarms li, .running li, .part li { margin: 1mm 0; break-inside: avoid; } .part li { margin: 0.4mm 0; padding-left: 4mm; text-indent: -4mm; }
.lot { display: grid; grid-template-columns: 6mm 1fr; break-inside: avoid; border-top: 0.75pt solid #000; padding: 0.8mm 0 1mm; }
.box { font-size: 14pt; line-height: 1; } .at { font-weight: normal; } .blanks { display: flex; gap: 2mm; margin-top: 1mm; }
.blanks span { flex: 1 1 0; min-height: 8.5mm; border: 0.75pt solid #000; padding: 0 1mm; font-size: 8pt; } .blanks .note { flex-grow: 2; }
.lines { height: 24mm; margin-top: 3mm; border: 0.75pt solid #000; padding: 0 1mm; break-inside: avoid; }
.scan { margin-top: 3mm; break-inside: avoid; } .scan svg { width: 32mm; height: 32mm; }
"""  # noqa: E501 - a style sheet reads best with a rule a line
BLANKS = ("moisture", "mould", "up", "note")


def page(found: Row, people: People, scan: str = "", drawing: str = "") -> str:
    """Return the whole document of what `domain.morning.morning` found.

    Args:
        scan: how it is typed in afterwards, if that is said.
        drawing: an SVG to scan that opens this very list for typing in, if one is wanted.
    """
    made = filled(WORDS["made"], time=found["made"]["time"])
    body = [f"<h1>{escape(title(found, WORDS))}</h1>"]
    body += [f"<p>{escape(made)} {escape(WORDS['walker'])}</p>"]
    body += [f"<p>{escape(WORDS['legend'])}</p>", '<div class="columns">']
    body += [*_alarms(found, people), *_running(found), *_parts(above(found, WORDS, people))]
    for stop in found["stops"]:
        body += _stop(stop, people)
    if not found["stops"]:
        body.append(f"<p>{escape(WORDS['none'])}</p>")
    if found["lots_left"]:
        body.append(f"<p>{escape(filled(WORDS['more'], n=found['lots_left']))}</p>")
    if found["nothing_due"]:
        places = ", ".join(found["nothing_due"])
        body.append(f"<p>{escape(filled(WORDS['nothing_in'], places=places))}</p>")
    body += _parts(below(found, WORDS))
    body.append(f'<p class="lines">{escape(WORDS["notes"])}</p>')
    if scan:
        body.append(f'<p class="scan">{escape(scan)}<br>{drawing}</p>')
    body.append("</div>")
    head = f'<meta charset="utf-8"><title>{escape(title(found, WORDS))}</title>'
    return (
        f'<!doctype html><html lang="en"><head>{head}<style>{STYLE}</style></head>'
        f"<body>{''.join(body)}</body></html>"
    )


def _alarms(found: Row, people: People) -> list[str]:
    if not found["alarms"]:
        return []
    said = [f"<li>{escape(alarm_line(one, WORDS, people))}</li>" for one in found["alarms"]]
    left = found["alarms_left"]
    more = [f"<p>{escape(filled(WORDS['more'], n=left))}</p>"] if left else []
    head = f"<h2>{escape(WORDS['alarms'])}</h2><ul>"
    return ['<section class="alarms">', head, *said, "</ul>", *more, "</section>"]


def _running(found: Row) -> list[str]:
    if not found["running"]:
        return []
    said = [
        f'<li><span class="box">☐</span> {escape(running_line(one, WORDS, found["day"]))}'
        f" {escape(running_blank(one, WORDS))}</li>"
        for one in found["running"]
    ]
    left = found["running_left"]
    more = [f"<p>{escape(filled(WORDS['more'], n=left))}</p>"] if left else []
    head = f'<section class="running"><h2>{escape(WORDS["running"])}</h2><ul>'
    return [head, *said, "</ul>", *more, "</section>"]


def _parts(parts: list[tuple[str, list[str]]]) -> list[str]:
    found = []
    for head, lines in parts:
        said = [f"<li>{escape(line.replace('[ ]', '☐', 1))}</li>" for line in lines]
        found += [
            f'<section class="part"><h2>{escape(WORDS[head])}</h2><ul>',
            *said,
            "</ul></section>",
        ]
    return found


def _stop(stop: Row, people: People) -> list[str]:
    name = escape(f"{stop['number']}. {stop['name'] or WORDS['loose']}")
    at = f'<span class="at">{escape(WORDS["at"])}</span>'
    said = [f"<p>! {escape(sentence(one, WORDS, people))}</p>" for one in stop["says"]]
    rows = [_lot(lot, people) for lot in stop["lots"]]
    head = f"<section><h2><span>{name}</span>{at}</h2>"
    return [head, *said, "<ul>", *rows, "</ul></section>"] if rows else [head, *said, "</section>"]


def _lot(lot: Row, people: People) -> str:
    name = f"<strong>{escape(lot['label'])}</strong> {escape(lot['crop'])}"
    name += "" if lot["todo"] else f" {escape(WORDS['look'])}"
    said = [f"<p>{escape(sentence(one, WORDS, people))}</p>" for one in lot["todo"]]
    asked = [one for one in BLANKS if one != "up" or lot["counts"]]
    blanks = [f'<span class="{one}">{escape(WORDS[f"head_{one}"])}</span>' for one in asked]
    return (
        f'<li class="lot"><span class="box">☐</span><div><p>{name}</p>{"".join(said)}'
        f'<p class="blanks">{"".join(blanks)}</p></div></li>'
    )
