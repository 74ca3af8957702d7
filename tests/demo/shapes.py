"""Outlines and holes as paths of lines and arcs, with the kerf allowance in the numbers.

A path is a list of moves from a start point. A move is ("line", end) or ("arc", end, centre,
clockwise). All lengths in mm; a part's zero is its lower left corner.
"""

import math


def sub(a, b):
    return (a[0] - b[0], a[1] - b[1])


def unit(v):
    n = math.hypot(*v)
    return (v[0] / n, v[1] / n)


def along(p, d, s):
    return (p[0] + d[0] * s, p[1] + d[1] * s)


class Path:
    """A path with a start; lengths and places along it are exact, not flattened."""

    def __init__(self, start):
        self.start = start
        self.moves = []

    @property
    def end(self):
        return self.moves[-1][1] if self.moves else self.start

    def line(self, to):
        if math.dist(self.end, to) > 1e-9:
            self.moves.append(("line", to))

    def arc(self, to, centre, clockwise):
        self.moves.append(("arc", to, centre, clockwise))

    def pieces(self):
        """Each move with the point that it starts from."""
        at = self.start
        for move in self.moves:
            yield at, move
            at = move[1]

    def length(self):
        return sum(move_length(at, move) for at, move in self.pieces())

    def points(self, step):
        """Places along it, at most `step` mm apart."""
        yield self.start
        for at, move in self.pieces():
            n = max(1, math.ceil(move_length(at, move) / step))
            for k in range(1, n + 1):
                yield place(at, move, k / n)

    def moved(self, turn, dx, dy):
        """The same path, turned by quarter turns about zero and then moved."""

        def put(p):
            x, y = p
            for _ in range(turn):
                x, y = -y, x
            return (x + dx, y + dy)

        path = Path(put(self.start))
        for move in self.moves:
            if move[0] == "line":
                path.moves.append(("line", put(move[1])))
            else:
                path.moves.append(("arc", put(move[1]), put(move[2]), move[3]))
        return path


def sweep(at, move):
    """The angle that an arc turns through, radians, positive; equal ends are a full circle."""
    _, to, centre, clockwise = move
    a0 = math.atan2(at[1] - centre[1], at[0] - centre[0])
    a1 = math.atan2(to[1] - centre[1], to[0] - centre[0])
    turn = (a0 - a1 if clockwise else a1 - a0) % math.tau
    return math.tau if math.dist(at, to) < 1e-9 else turn


def move_length(at, move):
    if move[0] == "line":
        return math.dist(at, move[1])
    return sweep(at, move) * math.dist(at, move[2])


def place(at, move, part):
    if move[0] == "line":
        return (at[0] + (move[1][0] - at[0]) * part, at[1] + (move[1][1] - at[1]) * part)
    _, _, centre, clockwise = move
    angle = sweep(at, move) * part * (-1 if clockwise else 1)
    dx, dy = sub(at, centre)
    c, s = math.cos(angle), math.sin(angle)
    return (centre[0] + dx * c - dy * s, centre[1] + dx * s + dy * c)


# Past the start of its own kerf, so that the outline surely closes.
OVERBURN = 2.0


def outline(corners, kerf, edge, start, lead_r):
    """The path of an outline, clockwise, half a kerf outside of the part.

    `corners`: the part's corners clockwise as (x, y, radius); an inner corner is found by its
    turn. `edge`: the edge that leaves corner number `edge` carries the start, `start` mm from that
    corner. The lead-in is a quarter arc of `lead_r` from the scrap, so that it meets the path
    without a corner.
    """
    off = kerf / 2
    n = len(corners)
    edges = []  # direction and outward normal (left of travel) of the edge that leaves corner k
    for k in range(n):
        d = unit(sub(corners[(k + 1) % n][:2], corners[k][:2]))
        edges.append((d, (-d[1], d[0])))
    rounds = []  # tangent points and arc of each corner, on the offset path
    for k in range(n):
        (d1, n1), (d2, n2) = edges[k - 1], edges[k]
        x, y, r = corners[k]
        turn = d1[0] * d2[1] - d1[1] * d2[0]
        half = abs(math.atan2(turn, d1[0] * d2[0] + d1[1] * d2[1])) / 2
        t = r * math.tan(half)
        p1, p2 = along((x, y), d1, -t), along((x, y), d2, t)
        inner = turn > 0
        assert not inner or r > off, "an inner corner is tighter than half the kerf"
        centre = along(p1, n1, r if inner else -r)
        rounds.append((along(p1, n1, off), along(p2, n2, off), centre, not inner))
    d, normal = edges[edge]
    first = along(along(corners[edge][:2], d, start), normal, off)
    pierce = along(along(first, d, -lead_r), normal, lead_r)
    path = Path(pierce)
    path.arc(first, along(first, normal, lead_r), False)
    for i in range(1, n + 1):
        into, out, centre, clockwise = rounds[(edge + i) % n]
        path.line(into)
        path.arc(out, centre, clockwise)
    path.line(along(first, d, OVERBURN))
    return path


def hole(x, y, diameter, kerf, lead):
    """The path of a round hole, anticlockwise, half a kerf inside; pierced `lead` mm from the
    finished edge, led in along the radius, ended where the circle began."""
    r = (diameter - kerf) / 2
    path = Path((x + diameter / 2 - lead, y))
    path.line((x + r, y))
    path.arc((x + r, y), (x, y), False)
    return path


def obround(x, y, length, width, kerf, lead):
    """The path of a slot with round ends along X, anticlockwise, half a kerf inside."""
    r = (width - kerf) / 2
    h = (length - width) / 2
    path = Path((x, y - width / 2 + lead))
    path.line((x, y - r))
    path.line((x + h, y - r))
    path.arc((x + h, y + r), (x + h, y), False)
    path.line((x - h, y + r))
    path.arc((x - h, y - r), (x - h, y), False)
    path.line((x, y - r))
    return path


def lead_in_hole(width, thickness):
    """How far from the finished edge a hole is pierced, mm: far enough for the splash, and short
    of the middle."""
    return min(max(4.0, 1.5 * thickness), width / 2 - 0.8)
