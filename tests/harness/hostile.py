"""Small files that would keep a machine busy, each by name; and a sound case around them."""

from __future__ import annotations

import re

from mutate import ROOT


def without(text: str, table: str, following: str) -> str:
    """A case text without one table and what stands below it."""
    return re.sub(rf"\[{table}\][\s\S]*?\[{following}\]", f"[{following}]", text)


def hostile_files() -> dict[str, str]:
    """Text by name. Each must be refused."""
    sound = (ROOT / "cases" / "inline5_side.toml").read_text("utf-8")
    names = ".".join("abcdefghij")
    return {
        "dotted key of 50 000 parts": "a" + ".a" * 50_000 + " = 1\n",
        "6000 dotted keys": "\n".join(f"a{i}{'.a' * 14} = 1" for i in range(6000)),
        "1990 dotted keys": "\n".join(f"engine.x{i}.{names} = 1" for i in range(1990)),
        "200 000 unknown keys": "\n".join(f"k{i} = 1" for i in range(200_000)),
        "1900 keys that resemble one": "\n".join(f"stationz{i} = 1" for i in range(1900)) + sound,
        "text of 50 MB": 'title = "' + "x" * 50_000_000 + '"',
        "20 000 repeated tables": "[[runner]]\ncylinder = 1\n" * 20_000,
        "450 repeated tables": sound + "[[runner]]\ncylinder = 1\n" * 450,
        "450 plenums of one name": sound + '[[plenum]]\nname = "p"\n' * 450,
        "450 tubes": sound + "[[balance_tube]]\n" * 450,
        "2000 brackets": "a = " + "[" * 2000 + "]" * 2000,
        "2000 braces": "a = " + "{a=" * 2000 + "1" + "}" * 2000,
        "number of 400 digits": "a = " + "9" * 400,
        "number of 4400 digits": "a = " + "9" * 4400,
        "fraction of 4400 digits": "a = 0." + "9" * 4400,
        "hexadecimal number of 4400 digits": "a = 0x" + "f" * 4400,
        "number of 90 digits": sound.replace("_ratio = 9.2", "_ratio = " + "9" * 90),
        "quantity with 9000 blanks": sound.replace('"82.5 mm"', '"1' + " " * 9000 + 'x"', 1),
        "19 000 speeds": sound.replace("rpm = [", "rpm = [" + "1000, " * 19_000),
        "5000 stations": re.sub(r"stations = .*", "stations = [" + '"1 mm",' * 5000 + "]", sound),
        "quarter of a megabyte of quotes": '"' * 262_000,
        "quarter of a megabyte of backslashes": 'a = "' + "\\" * 262_000,
        "quarter of a megabyte of blank lines": "\n" * 262_000,
        "quarter of a megabyte of comments": "#\n" * 131_000,
        "quarter of a megabyte of equals signs": "=" * 262_000,
        "quarter of a megabyte of dots": "." * 262_000,
        "quotes that never close": 'a = """' + '""x' * 80_000,
        "escape in a title": sound.replace('title = "', 'title = "\\u001b[31m'),
        "NUL in a title": sound.replace('title = "', 'title = "\\u0000'),
        "turned writing in a title": sound.replace('title = "', 'title = "\\u202e'),
        "no character in a title": sound.replace('title = "', 'title = "\\uffff'),
        "line end in a title": sound.replace('title = "', 'title = "a\\n'),
        "escape in a key": '"\\u001b[2J" = 1\n' + sound,
        "no stations": re.sub(r"stations = .*\n", "", sound),
        "empty list of entries": "entry = []\n" + without(sound, "entry", "runners"),
        "empty list of plenums": "plenum = []\n" + without(sound, "plenum", "entry"),
        "no runner at all": without(sound, "runners", "bench"),
        "empty list of runners": "runner = []\n" + without(sound, "runners", "bench"),
        "empty table of runners": without(sound, "runners", "bench") + "\n[runners]\n",
        "two runners for five cylinders": re.sub(
            r"stations = .*", 'stations = ["55 mm", "143 mm"]', sound),
        "runner of no cylinder": re.sub(r"stations = .*\n", "", sound) + "\n[[runner]]\n",
        "runner of a cylinder too many": sound + '\n[[runner]]\ncylinder = 6\nstation = "440 mm"\n',
    }
