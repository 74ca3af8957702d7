#!/usr/bin/env python3
"""Draws the demonstration programs and setups under config/demo. INVENTED DATA.

    tests/demo/make_demo.py            write the files
    tests/demo/make_demo.py --check    fail if the files differ from what would be written, or if
                                       a sheet breaks a rule of the trade that vetting looks for

Python's standard library only; the same output on every machine.
"""

import pathlib
import sys

sys.dont_write_bytecode = True  # a check leaves nothing behind

from rules import faults
from sheets import SHEETS

DEMO = pathlib.Path(__file__).resolve().parents[2] / "config" / "demo"
LABEL = "INVENTED DATA - not for cutting metal"


def number(value):
    """At most four decimals, no trailing zeros, no minus zero."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def cuts_of(sheet):
    """The cuts in order: every hole of the sheet first, then the outlines; far row first, left to
    right, so that no traverse passes over a part that is already free."""
    columns, rows = sheet["grid"]
    holes, outlines = [], []
    for row in reversed(range(rows)):
        for column in range(columns):
            part = row * columns + column + 1
            x = sheet["first"][0] + column * sheet["pitch"][0]
            y = sheet["first"][1] + row * sheet["pitch"][1]
            for kind, path in sheet["part"](sheet):
                cut = {"kind": kind, "part": part, "at": (x, y), "path": path.moved(0, x, y)}
                (outlines if kind == "outline" else holes).append(cut)
    return holes + outlines


def feed_of(sheet, cut):
    """Round holes under 32 mm or 6 thicknesses at 0.6 of the chart's feed."""
    if cut["kind"] == "hole":
        (start, circle) = list(cut["path"].pieces())[-1]
        diameter = 2 * abs(start[0] - circle[2][0]) + sheet["kerf"]
        if diameter < 32 or diameter < 6 * sheet["thickness"]:
            return 0.6 * sheet["feed"]
    return sheet["feed"]


def program(sheet):
    columns, rows = sheet["grid"]
    w, h = sheet["part_size"]
    lines = [
        f"({LABEL})",
        f"(Withy Lane yard order, {sheet['name']}: {columns * rows} parts {w} x {h} mm)",
        f"({sheet['material']} {sheet['thickness']} mm, {sheet['amps']} A, kerf {number(sheet['kerf'])}"
        " mm in the numbers)",
        "(every hole first, then the outlines, far row first and left to right)",
        "G21 G90 G17 G40",
    ]
    feed_now = None
    for k, cut in enumerate(cuts_of(sheet), 1):
        feed = feed_of(sheet, cut)
        path = cut["path"]
        lines.append(f"(cut {k}: part {cut['part']}, {cut['kind']})")
        lines.append(f"G00 X{number(path.start[0])} Y{number(path.start[1])}")
        lines.append("M03")
        for at, move in path.pieces():
            word, to = move[0], move[1]
            if word == "line":
                block = "G01"
                if number(to[0]) != number(at[0]):
                    block += f" X{number(to[0])}"
                if number(to[1]) != number(at[1]):
                    block += f" Y{number(to[1])}"
            else:
                i, j = move[2][0] - at[0], move[2][1] - at[1]
                block = f"{'G02' if move[3] else 'G03'} X{number(to[0])} Y{number(to[1])}"
                block += f" I{number(i)} J{number(j)}"
            if feed != feed_now:
                block += f" F{number(feed)}"
                feed_now = feed
            lines.append(block)
        lines.append("M05")
    lines.append("M02")
    return "\n".join(lines) + "\n"


def setup(sheet):
    def pair(p):
        return f"[{number(p[0])}, {number(p[1])}]"

    chart = f"{sheet['material']} {sheet['thickness']} mm {sheet['amps']} A"
    return f"""\
# {LABEL}
# Withy Lane yard order, {sheet['name']}.
material = "{sheet['material']}"
thickness = {sheet['thickness']}
sheet = {pair(sheet['sheet'])}
# Where the program's zero lies on the sheet, and how the program is turned about it.
origin = {pair(sheet['origin'])}
rotation = {sheet['rotation']}
# In the skeleton: it stays in one piece with the sheet to the end, and no path comes near.
clamp = {pair(sheet['clamp'])}
chart = "{chart}"
"""


def main():
    check = sys.argv[1:] == ["--check"]
    if sys.argv[1:] and not check:
        sys.exit(__doc__)
    wrong = []
    for sheet in SHEETS:
        wrong += [f"{sheet['file']}: {f}" for f in faults(sheet, cuts_of(sheet))]
        for name, text in (
            (f"{sheet['file']}.nc", program(sheet)),
            (f"{sheet['file']}.toml", setup(sheet)),
        ):
            path = DEMO / name
            if not check:
                path.write_text(text)
            elif not path.exists() or path.read_text() != text:
                wrong.append(f"config/demo/{name} is not what tests/demo/make_demo.py writes: run it")
    for line in wrong:
        print(line, file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
