"""Reference values for kerf compensation, by an independent polygon library.

Writes offsets.json beside itself. Run by hand, in an environment that has shapely (BSD licence):

    python3 -m venv /tmp/venv && /tmp/venv/bin/pip install shapely
    /tmp/venv/bin/python tests/reference/offsets.py

The shapes are our own and invented. Arcs are flattened to chords no further than 0.0002 mm from
them, and the library's own corner arcs to 512 chords a quarter turn; areas and lengths are good to
about that times the perimeter.
"""

import json
import math
import pathlib
import platform

import shapely
from shapely.geometry import LineString, Polygon
from shapely.ops import substring

SAGITTA_MM = 0.0002
SAMPLES = 40


def line(x, y):
    return {"to": [x, y]}


def arc(x, y, cx, cy, clockwise):
    return {"to": [x, y], "centre": [cx, cy], "clockwise": clockwise}


def flat(start, path):
    """The polygon, and each piece of its outline."""
    points, pieces, at = [], [], start
    for piece in path:
        first = len(points)
        to = piece["to"]
        if "centre" in piece:
            cx, cy = piece["centre"]
            r = math.dist(at, (cx, cy))
            a0 = math.atan2(at[1] - cy, at[0] - cx)
            a1 = math.atan2(to[1] - cy, to[0] - cx)
            sweep = (a1 - a0) % (2 * math.pi) or 2 * math.pi
            if piece["clockwise"]:
                sweep = sweep - 2 * math.pi or -2 * math.pi
            n = math.ceil(abs(sweep) / (2 * math.acos(1 - SAGITTA_MM / r)))
            points += [
                (cx + r * math.cos(a0 + sweep * k / n), cy + r * math.sin(a0 + sweep * k / n))
                for k in range(1, n)
            ]
        points.append(tuple(to))
        pieces.append(LineString([at, *points[first:]]))
        at = to
    return Polygon(points), pieces


def corners(points):
    return points[0], [line(*p) for p in points[1:] + points[:1]]


def rounded(w, h, r):
    return (r, 0), [
        line(w - r, 0), arc(w, r, w - r, r, False), line(w, h - r),
        arc(w - r, h, w - r, h - r, False), line(r, h), arc(0, h - r, r, h - r, False),
        line(0, r), arc(r, 0, r, r, False),
    ]


def star(n, outer, inner):
    return corners([
        (round(r * math.cos(math.pi * k / n), 6), round(r * math.sin(math.pi * k / n), 6))
        for k in range(2 * n) for r in [outer if k % 2 == 0 else inner]
    ])


def facets(n, r):
    return corners([
        (round(r * math.cos(2 * math.pi * k / n), 6), round(r * math.sin(2 * math.pi * k / n), 6))
        for k in range(n)
    ])


# All go anticlockwise.
SHAPES = {
    "rectangle": corners([(0, 0), (100, 0), (100, 50), (0, 50)]),
    "L": corners([(0, 0), (6, 0), (6, 2), (2, 2), (2, 6), (0, 6)]),
    "obround": ((0, 0), [line(30, 0), arc(30, 12, 30, 6, False), line(0, 12), arc(0, 0, 0, 6, False)]),
    "rounded plate": rounded(80, 50, 8),
    "star": star(5, 40, 18),
    "channel": corners([(0, 0), (60, 0), (60, 40), (45, 40), (45, 12), (15, 12), (15, 40), (0, 40)]),
    "bitten plate": ((0, 0), [
        line(80, 0), line(80, 40), line(55, 40), arc(25, 40, 40, 40, True), line(0, 40), line(0, 0),
    ]),
    "filleted L": ((0, 0), [
        line(60, 0), line(60, 20), line(25, 20), arc(20, 25, 25, 25, True), line(20, 60),
        line(0, 60), line(0, 0),
    ]),
    "arrow": corners([(0, 0), (50, 20), (0, 40), (12, 20)]),
    "circle": ((20, 0), [arc(20, 0, 0, 0, False)]),
    "circle in facets": facets(72, 20),
    "C": ((30, 0), [arc(-30, 0, 0, 0, False), line(-18, 0), arc(18, 0, 0, 0, True), line(30, 0)]),
    "keyhole": ((3, -20), [
        line(3, -7.416198), arc(-3, -7.416198, 0, 0, False), line(-3, -20), line(3, -20),
    ]),
    "D with a notch": ((0, -20), [
        arc(0, 20, 0, 0, False), line(0, 4), line(8, 0), line(0, -4), line(0, -20),
    ]),
    "neck": corners([(0, 0), (40, 0), (22, 20), (40, 40), (0, 40), (18, 20)]),
    "bottle": corners([
        (0, 0), (40, 0), (40, 30), (22, 32), (40, 34), (40, 60), (0, 60), (0, 34), (18, 32), (0, 30),
    ]),
}
OFFSETS_MM = [-4.5, -1.5, -0.725, 0.725, 1.5, 4.5]


def whole(shape, pieces, moved, by):
    """One outline, no hole closed off, and every piece of the shape has its part in it: somewhere
    inside the piece the moved outline is just as far from it as it was moved."""
    if moved.is_empty or moved.geom_type != "Polygon" or moved.interiors:
        return False
    inner = (substring(p, 0.01, 0.99, normalized=True) for p in pieces)
    return all(abs(moved.exterior.distance(p) - abs(by)) < 1e-3 for p in inner)


def measured(shape, pieces, by):
    moved = shape.buffer(by, quad_segs=512)
    if not whole(shape, pieces, moved, by):
        return {"by_mm": by, "whole": False}
    edge = moved.exterior
    return {
        "by_mm": by,
        "whole": True,
        "area_mm2": round(moved.area, 6),
        "length_mm": round(edge.length, 6),
        "samples": [
            [round(p.x, 5), round(p.y, 5)]
            for p in (edge.interpolate(k / SAMPLES, normalized=True) for k in range(SAMPLES))
        ],
    }


def main():
    shapes = []
    for name, (start, path) in SHAPES.items():
        shape, pieces = flat(start, path)
        assert shape.is_valid and shape.exterior.is_ccw, name
        shapes.append({
            "name": name,
            "start": list(start),
            "path": path,
            "area_mm2": round(shape.area, 6),
            "length_mm": round(shape.exterior.length, 6),
            "offsets": [measured(shape, pieces, by) for by in OFFSETS_MM],
        })
    source = (
        f"shapely {shapely.__version__} (GEOS {shapely.geos_version_string}), "
        f"Python {platform.python_version()}: Polygon.buffer(by, quad_segs=512), round joins"
    )
    out = pathlib.Path(__file__).with_name("offsets.json")
    text = ",\n  ".join(json.dumps(s) for s in shapes)
    out.write_text(f'{{"source": {json.dumps(source)},\n "shapes": [\n  {text}\n ]}}\n')
    for s in shapes:
        print(s["name"], [o["by_mm"] for o in s["offsets"] if not o["whole"]])


if __name__ == "__main__":
    main()
