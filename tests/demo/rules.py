"""Rules of the trade that the demonstration sheets keep, worked out from the drawing alone.

A second opinion beside vetting, coarse and slow: places along the paths, plain distances. Each
limit is the one that vetting uses (common practice, no source).
"""

import math

STEP = 0.5


def on_sheet(sheet):
    """From program to sheet coordinates."""
    turn = sheet["rotation"] // 90
    ox, oy = sheet["origin"]
    return lambda path: path.moved(turn, ox, oy)


def faults(sheet, cuts):
    """Everything that is wrong with a sheet, in words."""
    put = on_sheet(sheet)
    w, t = sheet["kerf"], sheet["thickness"]
    paths = [put(cut["path"]) for cut in cuts]
    places = [list(path.points(STEP)) for path in paths]
    yield from totals(sheet, paths)
    yield from edges(sheet, places, w, t)
    yield from clamp(sheet, places)
    yield from pierces(cuts, paths, places, w, t)
    yield from traverses(cuts, paths, places)


def totals(sheet, paths):
    if len(paths) != sheet["cuts"]:
        yield f"{len(paths)} cuts, the order says {sheet['cuts']}"
    length = sum(path.length() for path in paths)
    if abs(length / sheet["cut_mm"] - 1) > 0.02:
        yield f"{length:.0f} mm of cut, the order says {sheet['cut_mm']} within 2 %"


def edges(sheet, places, w, t):
    margin = max(5.0, t) + w / 2
    for k, points in enumerate(places, 1):
        for x, y in points:
            near = min(x, y, sheet["sheet"][0] - x, sheet["sheet"][1] - y)
            if near < margin:
                yield f"cut {k} is {near:.1f} mm from the sheet's edge at {x:.1f} {y:.1f}"
                break


def clamp(sheet, places):
    # 25 mm: the torch's body.
    for k, points in enumerate(places, 1):
        near = min(math.dist(p, sheet["clamp"]) for p in points)
        if near < 25 + sheet["kerf"]:
            yield f"cut {k} comes within {near:.1f} mm of the clamp"


def pierces(cuts, paths, places, w, t):
    splash = max(1.5 * w, 0.8 * w + 1.0 + 0.3 * t)
    for k, path in enumerate(paths):
        lead = path.moves[0]
        joint = lead[1]
        # A quarter arc that meets the path without a corner starts one radius off it.
        edge = math.dist(path.start, joint if lead[0] == "line" else lead[2])
        if edge + w / 2 < splash:
            yield f"cut {k + 1} is pierced {edge:.2f} mm from its own path"
        for j in range(k):
            near = min(math.dist(path.start, p) for p in places[j]) - w / 2
            if near < w + 1.5 + STEP:
                yield f"cut {k + 1} is pierced {near:.1f} mm from the kerf of cut {j + 1}"
        past = math.dist(joint, path.end)
        if past > (3.0 if cuts[k]["kind"] == "outline" else 1.0):
            yield f"cut {k + 1} ends {past:.1f} mm past its start"


def traverses(cuts, paths, places):
    """No straight way from the end of a cut to the next pierce passes over a free part."""
    free = []
    for k in range(len(paths) - 1):
        if cuts[k]["kind"] == "outline":
            free.append((k + 1, places[k]))
        a, b = paths[k].end, paths[k + 1].start
        n = max(1, math.ceil(math.dist(a, b) / STEP))
        for i in range(n + 1):
            p = (a[0] + (b[0] - a[0]) * i / n, a[1] + (b[1] - a[1]) * i / n)
            over = next((cut for cut, ring in free if inside(p, ring)), None)
            if over is not None:
                near = min(math.dist(p, q) for q in dict(free)[over])
                if near > 2 * STEP:
                    yield f"the traverse after cut {k + 1} passes over the part that cut {over} freed"
                    break


def inside(p, ring):
    """Even-odd."""
    within = False
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1]):
        if (y0 > p[1]) != (y1 > p[1]) and p[0] < x0 + (p[1] - y0) * (x1 - x0) / (y1 - y0):
            within = not within
    return within
