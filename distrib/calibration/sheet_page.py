"""The trim sheet for the wall of the dyno cell: one page, black and white, large type, blanks.

Self-contained HTML that prints on A4 and Letter. Lean and rich are marked by letters, not colour.
"""

from __future__ import annotations

from html import escape

import numpy as np

from distrib.calibration.cell_words import NEED_WORDS, raise_base
from distrib.calibration.gate import GATE
from distrib.calibration.sheet import TrimTable, number, set_words
from distrib.fuelling.verdict import WORDS

STYLE = """
@page { margin: 12mm; }
body { font: 13pt/1.35 sans-serif; color: #000; background: #fff; max-width: 190mm;
  margin: 6mm auto; padding: 0 4mm; }
h1 { font-size: 20pt; margin: 0 0 2mm; }
h2 { font-size: 15pt; margin: 6mm 0 2mm; break-after: avoid; }
table { border-collapse: collapse; width: 100%; break-inside: avoid; }
th, td { border: 0.3mm solid #000; padding: 1mm 1.5mm; text-align: right; font-size: 12pt; }
th { background: #eee; } td.word, th.word { text-align: left; }
td.blank { min-width: 14mm; } td { white-space: nowrap; }
td.trim { font-weight: bold; font-size: 14pt; }
.box { display: inline-block; width: 4mm; height: 4mm; border: 0.4mm solid #000;
  vertical-align: -0.6mm; margin-right: 2mm; }
.ticked::after { content: "\\2713"; position: relative; top: -1.6mm; }
ul { list-style: none; padding: 0; margin: 1mm 0; } li { margin: 1mm 0; }
.caution { border: 0.6mm solid #000; padding: 2mm 3mm; margin: 3mm 0; }
.sign { display: flex; gap: 8mm; margin-top: 6mm; } .sign div { flex: 1;
  border-top: 0.3mm solid #000; padding-top: 1mm; font-size: 11pt; }
"""

LETTER = {"lean": "L", "watch": "W", "rich": "R", "backward": "B", "even": "-", "": ""}


def to_html(table: TrimTable) -> str:
    """The sheet as one HTML page."""
    parts = [
        "<!doctype html>", '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>Trim sheet: {escape(table.title)}</title><style>{STYLE}</style></head><body>",
        f"<h1>Trim sheet: {escape(table.title)}</h1>",
        f"<p>{escape(_facts(table))}</p>",
        _cautions(table), _gate(table), _sets(table),
    ]
    for i, j in table.cells():
        parts.append(f"<h2>{_cell_title(table, i, j)}</h2>")
        parts.append(_cell(table, i, j))
    parts.append(_legend())
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


def _cell_title(table: TrimTable, i: int, j: int) -> str:
    return f"{table.rpm[i]:.0f} rpm, {table.pressure_pa[j] / 1e3:.0f} kPa absolute"


def _facts(table: TrimTable) -> str:
    origin = (f"predicted, not measured (model: {table.model})"
              if table.evidence == "predicted" else "from measured data")
    return (
        f"Trims {origin}. Policy {table.policy}, step {table.step:g}. "
        f"Percent on {table.trim_on}, + adds fuel. {table.fuel}, lambda target "
        f"{table.lambda_target:g}. Case {table.case_hash[:12]}."
    )


def _cautions(table: TrimTable) -> str:
    texts = (*table.cautions, *table.flips)
    if not texts:
        return ""
    return '<div class="caution"><ul>' + "".join(
        f"<li>{escape(t)}</li>" for t in texts
    ) + "</ul></div>"


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


def _cell(table: TrimTable, i: int, j: int) -> str:
    """Table of one cell: cylinders down, blanks to the right."""
    head = (
        "<tr><th>cyl</th><th>from entry<br>mm</th><th>air<br>%</th><th>band<br>%</th>"
        '<th class="word">mark</th><th>need<br>%</th><th>trim<br>%</th><th>in engine<br>%</th>'
        "<th>lambda</th><th>exh.<br>degC</th><th>knock</th><th>lambda,<br>injectors<br>swapped</th></tr>"
    )
    rows = []
    for c, cylinder in enumerate(table.cylinders):
        at = (i, j, c)
        band = f"{number(table.low_percent[at], 1, True)} .. " \
               f"{number(table.high_percent[at], 1, True)}"
        trim = number(table.trim_shown[at], 1, True) or "refused"
        blank = '<td class="blank"></td>' * 5
        rows.append(
            f"<tr><td>{cylinder}</td><td>{table.distance_from_entry_m[c] * 1e3:.0f}</td>"
            f"<td>{number(table.deviation_percent[at], 1, True)}</td>"
            f"<td>{band if np.isfinite(table.low_percent[at]) else ''}</td>"
            f'<td class="word">{LETTER[str(table.verdict[at])]}</td>'
            f"<td>{number(table.needed_percent[at], 1, True)}</td>"
            f'<td class="trim">{trim}</td>{blank}</tr>'
        )
    first = raise_base(float(table.base_percent[i, j]))
    foot = f"<p><b>{first[0].upper()}{first[1:]}.</b></p>" if first else ""
    if table.sets:
        foot += _set_table(table, i, j)
    elif table.duty is not None and table.duty_cylinder is not None:
        foot += (f"<p>Injector duty at most {table.duty[i, j] * 100:.0f} % "
                 f"(cylinder {table.duty_cylinder[i, j]}).</p>")
    return f"<table>{head}{''.join(rows)}</table>{foot}"


def _legend() -> str:
    pairs = "; ".join(f"{LETTER[v]} = {words}" for v, words in WORDS.items())
    return (f"<p>{escape(pairs)}. Band: where the figure lies, given what is uncertain. "
            f"{escape(NEED_WORDS)}. Injectors swapped: all moved on by one cylinder, sensors left "
            "in place.</p>")


def to_text(table: TrimTable) -> str:
    """The sheet as plain text for a terminal or a dot-matrix printer."""
    out = [f"Trim sheet: {table.title}", _facts(table), ""]
    out.extend(f"! {text}" for text in (*table.cautions, *table.flips))
    out.append("")
    out.append("confirm before using any trim:" if not table.gate.passed else "confirmed:")
    done = {item.key for item in table.gate.confirmed}
    out.extend(f"[{'x' if item.key in done else ' '}] {item.text}" for item in GATE)
    out.extend(f"set {k}: {set_words(item)}" for k, item in enumerate(table.sets, start=1))
    for i, j in table.cells():
        out += ["", _cell_title(table, i, j),
                "cyl  from entry mm   air %   mark   trim %   in engine %   lambda   exh degC"]
        for c, cylinder in enumerate(table.cylinders):
            at = (i, j, c)
            out.append(
                f"{cylinder:>3}  {table.distance_from_entry_m[c] * 1e3:>13.0f}  "
                f"{number(table.deviation_percent[at], 1, True):>6}   "
                f"{LETTER[str(table.verdict[at])]:^4}   "
                f"{number(table.trim_shown[at], 1, True) or 'refused':>6}   "
                "____________  _______  ________"
            )
        first = raise_base(float(table.base_percent[i, j]))
        out.extend([first] if first else [])
    return "\n".join(out) + "\n"
