"""Case files with random mistakes: what people, editors, programs and ill will do to a file."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]

VALUES = (
    "", '""', '" "', "true", "false", "0", "-1", "1", "2", "3", "7", "1000000", "1e308",
    "-1e308", "1e400",
    "nan", "inf", "-inf", "9" * 30, "9" * 400, "0." + "3" * 400, "0x" + "f" * 40, "1e-320",
    "[]", "{}",
    "[[]]", "[[[]]]", "[1, [2, [3]]]", '["1 mm", 2, true]', "{ value = 4 }", "{ a = { b = 1 } }",
    '{ value = 4, reason = "because" }', "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z",
    '"0 mm"', '"-5 mm"', '"1e-9 mm"', '"1e300 mm"', '"1e-300 m"', '"1/3 in"', '"2 7/8 in"',
    '"99999999999/3 in"', '"82.5"', '"82,5 mm"', '"82.5 furlongs"', '"0 Pa absolute"',
    '"-3 bar gauge"', '"900 bar gauge"', '"1 bar vacuum"', '"0 K"', '"-300 degC"', '"1e6 degC"',
    '"0 deg"', '"90 deg"', '"720 deg"', '"-1e9 deg"', '"0 cfm"', '"1e9 cfm"', '"100 percent"',
    '"-5 percent"', '"main"', '"other"', '"side"', '"center"', '"ducted"', '"cylinder-1"', '"far"',
    '"round"', '"rectangle"', '"sharp"', '"bell"', '"re-entrant"', '"none"', '"V8"', '"inline-5"',
    '"flat-4"', '"inline-3"', "[1, 2, 3]", "[1, 1, 1, 1]", "[4, 3, 2, 1]", "[0]", "[-1, 99]",
    "[1e9]", '["55 mm"]', '["55 mm", "55 mm", "55 mm", "55 mm", "55 mm"]', '["-1 mm", "9 km"]',
    '"a\\u001b[31mred"', '"line\\nline"', '"\\u0000"', '"\\u202Eabc"', '"\\uFFFF"', '"é漢😀"',
    "'''\n'''", '"""a\nb"""', "'<script>'", '"' + "x" * 5000 + '"', '"' + "mm " * 400 + '"',
)
"""Values of every kind, most of them wrong at most places."""
NOISE = ("\x00", "\x1b[2J", "\t", "\r", "\r\n", "\n", "=", "[", "]", "{", "}", '"', "'", '"""',
         "#", ",", ".", "\\", "é",
         "\ufeff", "\u2028", "\u202e", "0", "9", "-", "e", "mm", " ", "\x7f", "\x85")
KEYS = ("stations", "cylinder", "bore", "length", "plenum", "title", "at", "end", "x" * 300,
        '"a b"', '""', '"\\u001b"', "a.b.c", ".".join(["d"] * 60), "rpm", "diameter", "name")
HEADERS = ("[runner]", "[[runner]]", "[[runners]]", "[[plenum]]", "[[entry]]", "[engine]",
           "[[engine]]", "[plenum.sections]",
           "[[plenum.sections]]", "[[fuel.stage]]", "[fuel.stage]", "[[balance_tube]]",
           "[limits]", "[losses]",
           "[[review]]", "[search]", "[bench]", "[x.y.z]", "[[drawing.service]]", "[uncertainty]")

Lines = list[str]
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


def sources() -> list[str]:
    """Texts to spoil: demo cases, starters, and the files with one mistake each."""
    from distrib.case.starters import STARTERS
    from distrib.case.template import starter

    files = [path for folder in ("cases", "tests/bad")
             for path in sorted((ROOT / folder).glob("*.toml"))]
    texts = [path.read_text("utf-8") for path in files]
    made = [_bare(starter(layout, entry)) for layout in STARTERS for entry in ("side", "center")]
    whole = texts[:4] + made
    return whole * 16 + texts[4:]  # most mutants start from a file that is sound


def _bare(text: str) -> str:
    """A starter without the lines that only explain."""
    return "\n".join(line for line in text.split("\n") if not line.lstrip().startswith("#"))


def _at(lines: Sequence[str], rng: np.random.Generator) -> int:
    return int(rng.integers(len(lines)))


def _pick(items: Sequence[str], rng: np.random.Generator) -> str:
    return items[int(rng.integers(len(items)))]


def _pairs(lines: Lines) -> list[int]:
    return [i for i, line in enumerate(lines) if "=" in line] or [0]


def drop_line(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    return lines[:i] + lines[i + 1:]


def double_line(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    return [*lines[:i], lines[i], *lines[i:]]


def move_line(lines: Lines, rng: np.random.Generator) -> Lines:
    line = lines[(i := _at(lines, rng))]
    rest = lines[:i] + lines[i + 1:] or [""]
    j = _at(rest, rng)
    return [*rest[:j], line, *rest[j:]]


def drop_table(lines: Lines, rng: np.random.Generator) -> Lines:
    heads = [i for i, line in enumerate(lines) if line.lstrip().startswith("[")] or [0]
    k = int(rng.integers(len(heads)))
    end = heads[k + 1] if k + 1 < len(heads) else len(lines)
    return lines[:heads[k]] + lines[end:]


def double_table(lines: Lines, rng: np.random.Generator) -> Lines:
    heads = [i for i, line in enumerate(lines) if line.lstrip().startswith("[")] or [0]
    k = int(rng.integers(len(heads)))
    end = heads[k + 1] if k + 1 < len(heads) else len(lines)
    return lines + lines[heads[k]:end] * int(rng.choice([1, 1, 2, 40]))


def drop_head(lines: Lines, rng: np.random.Generator) -> Lines:
    heads = [i for i, line in enumerate(lines) if line.lstrip().startswith("[")] or [0]
    i = heads[int(rng.integers(len(heads)))]
    return lines[:i] + lines[i + 1:]


def other_value(lines: Lines, rng: np.random.Generator) -> Lines:
    found = _pairs(lines)
    i = found[int(rng.integers(len(found)))]
    return [*lines[:i], f"{lines[i].partition('=')[0]}= {_pick(VALUES, rng)}", *lines[i + 1:]]


def other_number(lines: Lines, rng: np.random.Generator) -> Lines:
    found = [i for i in _pairs(lines) if _NUMBER.search(lines[i])] or [0]
    i = found[int(rng.integers(len(found)))]
    hits = list(_NUMBER.finditer(lines[i]))
    if not hits:
        return lines
    hit = hits[int(rng.integers(len(hits)))]
    factor = float(rng.choice([0.0, 1e-3, 0.1, 0.5, 0.9, 0.97, 1.03, 1.1, 2.0, 10.0, 1e3, -1.0]))
    value = float(hit[0]) * factor
    text = f"{value:g}" if "." in hit[0] or rng.random() < 0.3 else f"{value:.0f}"
    return [*lines[:i], lines[i][:hit.start()] + text + lines[i][hit.end():], *lines[i + 1:]]


def new_key(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    return [*lines[:i], f"{_pick(KEYS, rng)} = {_pick(VALUES, rng)}", *lines[i:]]


def new_table(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    more = [f"{_pick(KEYS, rng)} = {_pick(VALUES, rng)}" for _ in range(int(rng.integers(4)))]
    return [*lines[:i], _pick(HEADERS, rng), *more, *lines[i:]]


def noise(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    j = int(rng.integers(len(lines[i]) + 1))
    return [*lines[:i], lines[i][:j] + _pick(NOISE, rng) + lines[i][j:], *lines[i + 1:]]


def drop_character(lines: Lines, rng: np.random.Generator) -> Lines:
    i = _at(lines, rng)
    j = int(rng.integers(len(lines[i]) + 1))
    return [*lines[:i], lines[i][:j] + lines[i][j + 1:], *lines[i + 1:]]


def cut_short(lines: Lines, rng: np.random.Generator) -> Lines:
    return lines[:1 + _at(lines, rng)]


def swap_values(lines: Lines, rng: np.random.Generator) -> Lines:
    found = _pairs(lines)
    i, j = (found[int(k)] for k in rng.integers(len(found), size=2))
    out = list(lines)
    out[i] = f"{lines[i].partition('=')[0]}={lines[j].partition('=')[2]}"
    out[j] = f"{lines[j].partition('=')[0]}={lines[i].partition('=')[2]}"
    return out


MISTAKES: tuple[Callable[[Lines, np.random.Generator], Lines], ...] = (
    drop_line, double_line, move_line, drop_table, double_table, drop_head, other_value,
    other_value, other_number, other_number, other_number, new_key, new_table, noise,
    drop_character, cut_short, swap_values)


def mutant(texts: Sequence[str], number: int) -> str:
    """Text of mutant `number`: one of `texts` with one to three mistakes; the same every time."""
    rng = np.random.default_rng([31, number])
    lines = _pick(texts, rng).split("\n")
    for _ in range(int(rng.choice([1, 1, 1, 1, 2, 2, 3]))):
        lines = MISTAKES[int(rng.integers(len(MISTAKES)))](lines, rng) or [""]
    return "\n".join(lines)
