"""The morning list as one page of HTML that stands alone: to print from a mail or a browser.

Black on white, 11 points and more, on A4 and US letter alike; nothing in it is fetched.
"""

from html import escape
from typing import Any

from lathhouse.domain.morning import alarm_line, filled, sentence, title
from lathhouse.domain.morning_words import WORDS

Row = dict[str, Any]
People = dict[str, str]

STYLE = """
@page { margin: 12mm; }
body { font: 11pt/1.3 Arial, Helvetica, sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 190mm; }
h1 { font-size: 16pt; margin: 0 0 2mm; } h2 { font-size: 13pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0; } .alarms { border: 1.5pt solid #000; padding: 1mm 3mm; } .alarms ul { margin: 1mm 0; padding-left: 5mm; }
table { width: 100%; border-collapse: collapse; } td, th { box-sizing: border-box; } th, td { border: 0.75pt solid #000; padding: 1mm 1.5mm; vertical-align: top; text-align: left; }
th { font-size: 11pt; } tr { break-inside: avoid; } thead { display: table-header-group; }
.box { width: 7mm; font-size: 15pt; line-height: 1; } .name { width: 36mm; } .blank { width: 12mm; } .note { width: 22mm; } .none { background: #ddd; print-color-adjust: exact; }
.alarms h2 { margin: 1mm 0; } td { height: 9mm; }
.at { float: right; font-weight: normal; } .lines { height: 22mm; border-bottom: 0.75pt solid #000; }
"""  # noqa: E501 - a style sheet reads best with a rule a line


def page(found: Row, people: People) -> str:
    """Return the whole document of what `domain.morning.morning` found."""
    body = [f"<h1>{escape(title(found, WORDS))}</h1>", f"<p>{escape(WORDS['walker'])}</p>"]
    body += [f"<p>{escape(WORDS['legend'])}</p>", *_alarms(found, people)]
    for stop in found["stops"]:
        body += _stop(stop, people)
    if not found["stops"]:
        body.append(f"<p>{escape(WORDS['none'])}</p>")
    if found["lots_left"]:
        body.append(f"<p>{escape(filled(WORDS['more'], n=found['lots_left']))}</p>")
    if found["nothing_due"]:
        places = ", ".join(found["nothing_due"])
        body.append(f"<p>{escape(filled(WORDS['nothing_in'], places=places))}</p>")
    body.append(f'<p class="lines">{escape(WORDS["notes"])}</p>')
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
    return ['<div class="alarms">', head, *said, "</ul>", *more, "</div>"]


def _stop(stop: Row, people: People) -> list[str]:
    name = f"{stop['number']}. {stop['name'] or WORDS['loose']}"
    at = f'<span class="at">{escape(WORDS["at"])}</span>'
    said = [f"<p>! {escape(sentence(one, WORDS, people))}</p>" for one in stop["says"]]
    head = [f"<h2>{at}{escape(name)}</h2>", *said]
    if not stop["lots"]:
        return head
    names = ("", "lot", "todo", "moisture", "mould", "up", "note")
    columns = "".join(f"<th>{escape(WORDS[f'head_{one}'] if one else '')}</th>" for one in names)
    rows = [_lot(lot, people) for lot in stop["lots"]]
    return [*head, f"<table><thead><tr>{columns}</tr></thead><tbody>", *rows, "</tbody></table>"]


def _lot(lot: Row, people: People) -> str:
    said = [escape(sentence(one, WORDS, people)) for one in lot["todo"]] or [escape(WORDS["look"])]
    name = f"<strong>{escape(lot['label'])}</strong> {escape(lot['crop'])}"
    up = "blank" if lot["counts"] else "blank none"
    blanks = f'<td class="blank"></td><td class="blank"></td><td class="{up}"></td>'
    return (
        f'<tr><td class="box">☐</td><td class="name">{name}</td><td>{"<br>".join(said)}</td>'
        f'{blanks}<td class="note"></td></tr>'
    )
