"""The sheets of the Withy Lane yard order. INVENTED DATA - not for cutting metal.

Everything here is invented, the chart values (feed in mm/min, kerf in mm) included. `cuts`,
`cut_mm`: the order's own list, which the drawn programs must meet.
"""

from shapes import hole, lead_in_hole, obround, outline


def rectangle(w, h, r):
    """Clockwise from the lower right corner, so that edge 0 is the bottom one."""
    return [(w, 0, r), (0, 0, r), (0, h, r), (w, h, r)]


def round_holes(sheet, places, diameter):
    lead = lead_in_hole(diameter, sheet["thickness"])
    return [("hole", hole(x, y, diameter, sheet["kerf"], lead)) for x, y in places]


def bottom_outline(sheet, corners, start, lead_r):
    return ("outline", outline(corners, sheet["kerf"], 0, start, lead_r))


def hinge_plate(sheet):
    return [
        *round_holes(sheet, [(20, 20), (20, 70)], 13),
        *round_holes(sheet, [(70, 45)], 26),
        *round_holes(sheet, [(120, 70), (120, 20)], 13),
        bottom_outline(sheet, rectangle(140, 90, 12), 70, 6),
    ]


def latch_plate(sheet):
    # The slot in the right edge is 18 wide and 45 deep; its inner corners are rounded by 4.
    corners = [
        *rectangle(180, 110, 8),
        (180, 64, 0),
        (135, 64, 4),
        (135, 46, 4),
        (180, 46, 0),
    ]
    lead = lead_in_hole(17, sheet["thickness"])
    return [
        *round_holes(sheet, [(25, 25), (25, 85)], 17),
        ("slot", obround(90, 55, 45, 17, sheet["kerf"], lead)),
        bottom_outline(sheet, corners, 90, 8),
    ]


def garden_corner(sheet):
    corners = [(150, 0, 0), (0, 0, 0), (0, 150, 0), (50, 150, 0), (50, 50, 3), (150, 50, 0)]
    places = [(25, 130), (25, 95), (25, 60), (60, 25), (95, 25), (130, 25)]
    return [*round_holes(sheet, places, 9), bottom_outline(sheet, corners, 75, 6)]


def guard_bracket(sheet):
    return [
        *round_holes(sheet, [(12, 20), (48, 20)], 7),
        bottom_outline(sheet, rectangle(60, 40, 4), 30, 4),
    ]


def row_marker(sheet):
    return [
        *round_holes(sheet, [(60, 68)], 10),
        bottom_outline(sheet, rectangle(120, 80, 6), 60, 4),
    ]


SHEETS = [
    {
        "file": "hinge-plates",
        "name": "sheet A, gate hinge plates",
        "part": hinge_plate,
        "part_size": (140, 90),
        "grid": (3, 2),
        "pitch": (160, 110),
        "first": (20, 30),
        "material": "mild-steel",
        "thickness": 5,
        "amps": 40,
        "feed": 1100,
        "kerf": 1.45,
        "sheet": (600, 400),
        "origin": (0, 0),
        "rotation": 0,
        "clamp": (560, 360),
        "cuts": 36,
        "cut_mm": 4198,
    },
    {
        "file": "latch-plates",
        "name": "sheet B, crush latch plates",
        "part": latch_plate,
        "part_size": (180, 110),
        "grid": (2, 1),
        "pitch": (205, 0),
        "first": (0, 0),
        "material": "mild-steel",
        "thickness": 8,
        "amps": 55,
        "feed": 800,
        "kerf": 1.80,
        "sheet": (450, 260),
        "origin": (32, 40),
        "rotation": 0,
        "clamp": (225, 215),
        "cuts": 8,
        "cut_mm": 1774,
    },
    {
        "file": "garden-corners",
        "name": "sheet C, garden-bed corners",
        "part": garden_corner,
        "part_size": (150, 150),
        "grid": (4, 2),
        "pitch": (175, 175),
        "first": (0, 0),
        "material": "mild-steel",
        "thickness": 3,
        "amps": 40,
        "feed": 2200,
        "kerf": 1.33,
        "sheet": (1000, 700),
        "origin": (40, 40),
        "rotation": 0,
        "clamp": (940, 640),
        "cuts": 56,
        "cut_mm": 6301,
    },
    {
        "file": "guard-brackets",
        "name": "sheet D, splash-guard brackets",
        "part": guard_bracket,
        "part_size": (60, 40),
        "grid": (4, 3),
        "pitch": (72, 54),
        "first": (0, 0),
        "material": "stainless",
        "thickness": 2,
        "amps": 25,
        "feed": 1900,
        "kerf": 1.02,
        "sheet": (320, 220),
        "origin": (22, 18),
        "rotation": 0,
        "clamp": (160, 204),
        "cuts": 36,
        "cut_mm": 2984,
    },
    {
        # Drawn lying and laid on the sheet by a quarter turn.
        "file": "row-markers",
        "name": "sheet E, row markers",
        "part": row_marker,
        "part_size": (120, 80),
        "grid": (2, 5),
        "pitch": (140, 100),
        "first": (0, 0),
        "material": "aluminium",
        "thickness": 3,
        "amps": 40,
        "feed": 4100,
        "kerf": 1.43,
        "sheet": (600, 300),
        "origin": (500, 20),
        "rotation": 90,
        "clamp": (560, 150),
        "cuts": 20,
        "cut_mm": 4306,
    },
]
