"""The trim sheet for the wall of the dyno cell: one page, black and white, large type, blanks.

Self-contained HTML that prints on A4 and Letter. Lean and rich are marked by letters, not colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from distrib.calibration.cell_words import NEED_MEASURED, NEED_WORDS, lambda_text, raise_base
from distrib.calibration.gate import GATE
from distrib.calibration.round_words import MEASURED_WORDS
from distrib.calibration.sheet import TrimTable, number, set_words, stop_texts, target_words
from distrib.fuelling.verdict import WORDS

STYLE = """
@page { margin: 12mm; }
body { font: 12pt/1.3 sans-serif; color: #000; background: #fff; max-width: 186mm;
  margin: 6mm auto; }
h1 { font-size: 18pt; margin: 0 0 1mm; }
h2 { font-size: 14pt; margin: 4mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0; }
table { border-collapse: collapse; width: 100%; table-layout: fixed; break-inside: avoid; }
th, td { border: 0.3mm solid #000; padding: 1mm 0.7mm; text-align: right; font-size: 10pt;
  overflow-wrap: anywhere; }
th { background: #eee; font-size: 8.5pt; } td.word, th.word { text-align: left; }
td.why { text-align: left; font-size: 8.5pt; line-height: 1.15; }
td.trim { font-weight: bold; font-size: 13pt; }
.box { display: inline-block; width: 4mm; height: 4mm; border: 0.4mm solid #000;
  vertical-align: -0.6mm; margin-right: 2mm; }
.ticked::after { content: "\\2713"; position: relative; top: -1.6mm; }
ul { list-style: none; padding: 0; margin: 1mm 0; } li { margin: 1mm 0; }
.caution { border: 0.6mm solid #000; padding: 1mm 3mm; margin: 2mm 0; }
.stop { border: 1.2mm solid #000; padding: 1mm 3mm; margin: 2mm 0; font-size: 14pt;
  font-weight: bold; }
.sign { display: flex; gap: 8mm; margin-top: 6mm; } .sign div { flex: 1;
  border-top: 0.3mm solid #000; padding-top: 1mm; font-size: 11pt; }
@media print { body { max-width: none; margin: 0; } }
"""

LETTER = {"lean": "L", "watch": "W", "rich": "R", "backward": "B", "even": "-", "": ""}
FIRST_WORDS = {
    "predicted": "An estimate, not a measurement: a starting point. Check every cylinder before "
                 "load. An even prediction does not make it safe to lean out.",
    "measured": "Fuel comes off a cylinder only where lambda, exhaust and knock agree over two "
                "runs. Enter all of them: 0 for no knock."}
"""What stands above the tables; the rest of the cautions and what to confirm follow them."""


def to_html(table: TrimTable) -> str:
    """The sheet as one HTML page."""
    parts = [
        "<!doctype html>", '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>Trim sheet: {escape(table.title)}</title><style>{STYLE}</style></head><body>",
        f"<h1>Trim sheet: {escape(table.title)}</h1>",
        *(f'<div class="stop">{escape(text)}</div>' for text in stop_texts(table)),
        f"<p>{escape(_facts(table))}</p>", f'<div class="caution">{escape(_first(table))}</div>',
    ]
    for i, j in table.cells():
        parts.append(f"<h2>{_cell_title(table, i, j)}</h2>")
        parts.append(_measured_cell(table, i, j) if table.measured is not None
                     else _cell(table, i, j))
    parts += [_legend(table), _gate(table), _cautions(table), _sets(table)]
    if table.limits:
        items = "".join(f"<li>{escape(text)}</li>" for text in table.limits)
        parts.append(f"<h2>Limits and where they come from</h2><ul>{items}</ul>")
    if table.assumed:
        items = "".join(f"<li>{escape(text)}</li>" for text in table.assumed)
        parts.append(f"<h2>Assumed, not given</h2><ul>{items}</ul>")
    parts.append(
        '<div class="sign"><div>date, time</div><div>fuel</div><div>weather</div>'
        "<div>signature</div></div></body></html>"
    )
    return "\n".join(parts) + "\n"


def _first(table: TrimTable) -> str:
    """What stands above the tables, with what is still to be confirmed."""
    words = FIRST_WORDS[table.evidence]
    if table.gate.passed:
        return words
    return f"{words} To confirm before any trim: {len(table.gate.open)} items below the tables."


def _cell_title(table: TrimTable, i: int, j: int) -> str:
    title = f"{table.rpm[i]:.0f} rpm, {table.pressure_pa[j] / 1e3:.0f} kPa absolute"
    title += f", target lambda {lambda_text(table.target_at(i, j))}"
    if table.measured is not None and np.isfinite(table.measured.mean_lambda[i, j]):
        title += f", mean {table.measured.mean_lambda[i, j]:.3f}"
    return title


def _facts(table: TrimTable) -> str:
    origin = (f"predicted, not measured (model: {table.model})"
              if table.evidence == "predicted" else "from measured data")
    return (
        f"Trims {origin}. Policy {table.policy}, step {table.step:g}. "
        f"Percent on {table.trim_on}, + adds fuel. {table.fuel}, lambda target "
        f"{target_words(table)}. Case {table.case_hash[:12]}."
    )


def _cautions(table: TrimTable) -> str:
    texts = (*table.cautions, *table.flips)
    if not texts:
        return ""
    items = "".join(f"<li>{escape(t)}</li>" for t in texts)
    return f'<h2>Cautions</h2><div class="caution"><ul>{items}</ul></div>'


def _gate(table: TrimTable) -> str:
    done = {item.key for item in table.gate.confirmed}
    lines = "".join(
        f'<li><span class="box{" ticked" if item.key in done else ""}"></span>'
        f"{escape(item.text)}</li>" for item in GATE
    )
    head = "Confirmed" if table.gate.passed else "Confirm before using any trim"
    return f"<h2>{head}</h2><ul>{lines}</ul>"


def _sets(table: TrimTable) -> str:
    """The injector sets, where there are several."""
    if not table.sets:
        return ""
    items = "".join(f"<li>{escape(set_words(item))}</li>" for item in table.sets)
    return f"<h2>Injector sets</h2><ul>{items}</ul>"


def _set_table(table: TrimTable, i: int, j: int) -> str:
    """Pulse and duty of every set at one cell."""
    if not table.sets:
        return ""
    rows = []
    for item in table.sets:
        pulse = dead = duty = ""
        if item.total_pulse_s is not None and item.dead_time_s is not None:
            pulse = number(item.total_pulse_s[i, j] * 1e3, 2)
            dead = number(item.dead_time_s * 1e3, 2)
        if item.duty is not None and item.duty_cylinder is not None:
            whose = item.duty_cylinder[i, j]
            duty = f"{item.duty[i, j] * 100:.0f} ({f'cylinder {whose}' if whose else 'all'})"
        trims = ", ".join(number(t, 1, True) or "refused" for t in item.trim_percent[i, j])
        rows.append(
            f'<tr><td class="word">{escape(item.name)}</td><td>{item.share * 100:.4g}</td>'
            f"<td>{trims if item.trimmed else 'none'}</td><td>{pulse}</td><td>{dead}</td>"
            f"<td>{duty}</td></tr>")
    head = ('<tr><th class="word">set</th><th>of the<br>fuel %</th><th>trim % by cylinder</th>'
            "<th>pulse<br>ms</th><th>dead<br>ms</th><th>duty %</th></tr>")
    return f"<table>{head}{''.join(rows)}</table>"


def _head(columns: Sequence[tuple[str, float, str]]) -> str:
    """Head of a table whose columns have a heading, a width in percent, and a class."""
    widths = "".join(f'<col style="width: {width:g}%">' for _, width, _ in columns)
    names = "".join(f'<th{f" class={kind}" if kind else ""}>{name}</th>'
                    for name, _, kind in columns)
    return f"<colgroup>{widths}</colgroup><tr>{names}</tr>"


def _cell(table: TrimTable, i: int, j: int) -> str:
    """Table of one predicted cell: cylinders down, blanks to the right."""
    head = _head((
        ("cyl", 4, ""), ("from<br>entry<br>mm", 7, ""), ("air<br>%", 8, ""), ("band<br>%", 16, ""),
        ("mark", 7, "word"), ("need<br>%", 8, ""), ("trim<br>%", 8, ""), ("in engine<br>%", 9, ""),
        ("lambda", 9, ""), ("exh.<br>degC", 7, ""), ("knock<br>(0 none)", 8, ""),
        ("lambda,<br>inj.<br>swapped", 9, "")))
    rows = []
    for c, cylinder in enumerate(table.cylinders):
        at = (i, j, c)
        band = f"{number(table.low_percent[at], 1, True)} .. " \
               f"{number(table.high_percent[at], 1, True)}"
        trim = number(table.trim_shown[at], 1, True) or "refused"
        rows.append(
            f"<tr><td>{cylinder}</td><td>{table.distance_from_entry_m[c] * 1e3:.0f}</td>"
            f"<td>{number(table.deviation_percent[at], 1, True)}</td>"
            f"<td>{band if np.isfinite(table.low_percent[at]) else ''}</td>"
            f'<td class="word">{LETTER[str(table.verdict[at])]}</td>'
            f"<td>{number(table.needed_percent[at], 1, True)}</td>"
            f'<td class="trim">{trim}</td>{"<td></td>" * 5}</tr>'
        )
    return f"<table>{head}{''.join(rows)}</table>{_foot(table, i, j)}"


def _measured_cell(table: TrimTable, i: int, j: int) -> str:
    """Table of one measured cell: as read, what follows and why, blanks for the next run."""
    assert table.measured is not None
    head = _head((
        ("cyl", 4, ""), ("lambda<br>read", 8, ""), ("air<br>%", 7, ""), ("mark", 6, "word"),
        ("fuel<br>now %", 7, ""), ("need<br>%", 8, ""), ("fuel<br>next %", 8, ""),
        ("why", 19, "word"), ("in engine<br>%", 9, ""), ("lambda", 9, ""), ("exh.<br>degC", 7, ""),
        ("knock<br>(0 none)", 8, "")))
    rows = []
    for c, cylinder in enumerate(table.cylinders):
        at = (i, j, c)
        entered = table.measured.pending.cells(at)[:4]
        rows.append(
            f"<tr><td>{cylinder}</td><td>{number(table.measured.lambda_read[at], 3)}</td>"
            f"<td>{number(table.deviation_percent[at], 1, True)}</td>"
            f'<td class="word">{LETTER[str(table.verdict[at])]}</td>'
            f"<td>{number(table.measured.trim_now[at], 1, True)}</td>"
            f"<td>{number(table.needed_percent[at], 1, True)}</td>"
            f'<td class="trim">{number(table.trim_shown[at], 1, True)}</td>'
            f'<td class="why">{escape(str(table.measured.why[at]))}</td>'
            + "".join(f"<td>{escape(text)}</td>" for text in entered) + "</tr>")
    return f"<table>{head}{''.join(rows)}</table>{_foot(table, i, j)}"


def _foot(table: TrimTable, i: int, j: int) -> str:
    """What stands below a table: a move of the base map, sets of injectors, the highest duty."""
    first = raise_base(float(table.base_percent[i, j]))
    foot = f"<p><b>{first[0].upper()}{first[1:]}.</b></p>" if first else ""
    if table.sets:
        foot += _set_table(table, i, j)
    elif (table.duty is not None and table.duty_cylinder is not None
          and np.isfinite(table.duty[i, j])):
        foot += (f"<p>Injector duty at most {table.duty[i, j] * 100:.0f} % "
                 f"(cylinder {table.duty_cylinder[i, j]}).</p>")
    return foot


def _legend(table: TrimTable) -> str:
    words = WORDS.items() if table.measured is None else MEASURED_WORDS.items()
    pairs = "; ".join(f"{LETTER[v]} = {text}" for v, text in words)
    if table.measured is not None:
        return f"<p>{escape(pairs)}. {escape(NEED_MEASURED)}.</p>"
    return (f"<p>{escape(pairs)}. Band: where the figure lies, given what is uncertain. "
            f"{escape(NEED_WORDS)}. Injectors swapped: all moved on by one cylinder, sensors left "
            "in place.</p>")
