"""Make the sample route: one invented feeder, as a drawing and as a GIS layer.

The design below is exact: every straight and every curve by its length, angle and radius. From it come

- ``harbour.dxf``, the drawing a designer would leave: US survey feet, polylines with bulges here, loose lines
  and arcs there, small gaps, vaults as blocks with attributes, much that is not duct;
- ``harbour.gpkg``, the same route as a GIS would hold it: curves as chords, Z on the lines, vault points;
- :func:`truth`, the shape of every span as a :class:`mechanics.Chain`, for the tests.

Nothing here is a real place. The coordinates lie in open water, and every name is made up.

Run ``python sample_routes/make_sample.py [FOLDER]`` to write both files.
"""

from __future__ import annotations

import itertools
import math
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import ezdxf
import geopandas as gpd
from ezdxf.document import Drawing
from ezdxf.layouts.layout import Modelspace
from shapely.geometry import LineString, Point

from mechanics.chain import Chain

CRS = "EPSG:2287"  # a state-plane zone in US survey feet
ORIGIN = (1_893_400.0, 722_150.0)  # of SUB-A; open water in that zone [ft]
METRES_PER_FOOT = 1200 / 3937  # the US survey foot, by its definition
FIRST_HEADING = math.radians(24.0)
CHORD_STEP = math.radians(6.0)  # turn between neighbouring vertices where a curve is drawn by chords


# --- the design ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Run:
    """A straight: its length in plan. [ft]"""

    plan: float


@dataclass(frozen=True)
class Bend:
    """A curve in plan: turn, left positive [deg], and centreline radius. [ft]"""

    turn: float
    radius: float
    sharp: bool = False  # drawn as a bare corner; the job's sweep makes the curve


@dataclass(frozen=True)
class Sag:
    """A curve in elevation, sag or crest: the grade it ends on [%], and its radius. [ft]"""

    grade: float
    radius: float


Piece = Run | Bend | Sag


@dataclass(frozen=True)
class Span:
    """Duct between two vaults, and the vault it ends at.

    ``invert`` is the elevation there [ft]: the span then falls or rises evenly. None means that the pieces have
    grades of their own, from ``grade`` [%] on. ``swing`` is how far the duct beyond turns inside that vault. [deg]
    """

    vault: str
    invert: float | None
    pieces: tuple[Piece, ...]
    grade: float = 0.0
    swing: float = 0.0
    size: str = "5"
    type: str = "PVC 40"
    street: str = ""


@dataclass(frozen=True)
class VaultKind:
    """What kind of vault stands where, how deep, and whether it has room for splices."""

    block: str
    type: str
    depth: float
    splice: bool = True


MANHOLE = VaultKind("MANHOLE", "6x12 manhole", 9.5)
HANDHOLE = VaultKind("HANDHOLE", "4x6 handhole", 4.5, splice=False)
TERMINAL = VaultKind("TERMINAL", "termination", 3.5)

START = ("SUB-A", 631.0)
DESIGN = (
    Span("MH-1", 629.6, (Run(22), Bend(90, 5), Run(64), Bend(-45, 12.5), Run(58), Bend(-45, 12.5), Run(70)),
         street="Substation Yard"),
    Span("MH-2", 626.9, (Run(210), Bend(-22.5, 25), Run(84), Bend(22.5, 25), Run(190)), street="Kiln Street"),
    Span("MH-3", 623.8, (Run(502), Bend(90, 12.5), Run(46)), street="Kiln Street"),
    Span("MH-4", 620.6, (Run(252), Bend(11.25, 25), Run(292)), street="Foundry Lane"),
    Span("MH-5", 616.8, (Run(72), Bend(-90, 25), Run(236), Bend(-30, 12.5, sharp=True), Run(150)),
         street="Mill Road"),
    Span("MH-6", None, (Run(38), Sag(-12, 120), Run(82), Sag(0, 200), Run(258), Sag(12, 200), Run(84),
                        Sag(1.5, 120), Run(40)), grade=-0.8, size="6", type="HDPE 40", street="River Crossing"),
    Span("MH-7", 624.5, (Run(126), Bend(60, 12.5), Run(118), Bend(-60, 12.5), Run(216)), street="Ropewalk"),
    Span("MH-8", 640.8, (Run(220), Bend(75, 25), Run(274)), street="Lantern Rise"),
    Span("MH-9", None, (Run(64), Sag(10, 250), Run(88), Bend(-60, 25), Run(104), Sag(-6, 200), Run(148),
                        Sag(-1.3, 250), Run(58)), grade=3.2, street="Lantern Hill"),
    Span("MH-10", 648.0, (Run(300), Bend(-45, 12.5), Run(36), Bend(45, 12.5), Run(206)), street="Cooper Street"),
    Span("MH-11", 644.6, (Run(58), Bend(-90, 12.5), Run(306), Bend(22.5, 25), Run(120)), swing=-9,
         street="Chandler Street"),
    Span("MH-12", 641.0, (Run(230), Bend(30, 12.5), Run(42), Bend(-30, 12.5), Run(276)), street="Chandler Street"),
    Span("MH-13", 637.6, (Run(488), Bend(90, 12.5), Run(50)), street="Chandler Street"),
    Span("MH-14", 633.4, (Run(150), Bend(-45, 12.5), Run(30), Bend(45, 12.5), Run(204), Bend(-22.5, 25), Run(124)),
         street="Saltbox Avenue"),
    Span("MH-15", 628.8, (Run(176), Bend(11.25, 25), Run(120), Bend(-11.25, 25), Run(166), Bend(-90, 12.5),
                          Run(44)), street="Saltbox Avenue"),
    Span("MH-16", 624.9, (Run(120), Bend(-30, 12.5), Run(70), Bend(60, 12.5), Run(84), Bend(-30, 12.5), Run(214)),
         street="Breakwater Road"),
    Span("RISER-9", 623.2, (Run(64), Bend(45, 12.5), Run(50), Bend(-45, 12.5), Run(72), Bend(90, 3), Run(11)),
         street="Breakwater Road"),
)  # fmt: skip
KINDS = {"SUB-A": TERMINAL, "RISER-9": TERMINAL, "MH-4": HANDHOLE, "MH-11": HANDHOLE, "MH-14": HANDHOLE}


@dataclass(frozen=True)
class Leg:
    """One piece of the design with its place: start, heading and grades; z from where the span starts. [ft, rad]"""

    x: float
    y: float
    z: float
    heading: float
    plan: float
    turn: float = 0.0
    grade_in: float = 0.0
    grade_out: float = 0.0
    sharp: bool = False

    @property
    def length(self) -> float:
        """Length along the centreline in 3-D. [ft]"""
        bend = self.grade_out - self.grade_in
        if bend:
            return self.plan * bend / (math.sin(self.grade_out) - math.sin(self.grade_in))
        return self.plan / math.cos(self.grade_in)

    def at(self, part: float) -> tuple[float, float, float]:
        """Return the point at a fraction of the curve."""
        bend = self.grade_out - self.grade_in
        if bend:
            radius = self.length / bend
            grade = self.grade_in + part * bend
            along = radius * (math.sin(grade) - math.sin(self.grade_in))
            up = radius * (math.cos(self.grade_in) - math.cos(grade))
        else:
            along = part * self.plan
            up = along * math.tan(self.grade_in)
        chord, half = along, 0.0
        if self.turn and part:
            half = part * self.turn / 2
            chord = along * math.sin(half) / half
        return (
            self.x + chord * math.cos(self.heading + half),
            self.y + chord * math.sin(self.heading + half),
            self.z + up,
        )

    def chords(self) -> list[tuple[float, float, float]]:
        """Return vertices after the start, ending with the end: one for a straight, chords for a curve."""
        count = max(1, math.ceil((abs(self.turn) + abs(self.grade_out - self.grade_in)) / CHORD_STEP - 1e-9))
        if self.turn or self.grade_out != self.grade_in:
            count = max(count, 5)  # slight curves too are drawn as curves
        if self.sharp:
            tangent = self.plan / self.turn * math.tan(self.turn / 2)
            corner = replace(self, turn=0.0, plan=tangent).at(1.0)
            return [(corner[0], corner[1], (self.z + self.at(1.0)[2]) / 2)]
        return [self.at(k / count) for k in range(1, count + 1)]


@dataclass(frozen=True)
class Laid:
    """A span with its legs in place, from vault ``start`` to vault ``span.vault``."""

    start: str
    span: Span
    legs: tuple[Leg, ...]

    @property
    def end(self) -> tuple[float, float, float]:
        """Where it ends. [ft]"""
        return self.legs[-1].at(1.0)

    @property
    def longest(self) -> Leg:
        """Its longest straight."""
        return max((leg for leg in self.legs if not leg.turn), key=lambda leg: leg.plan)

    def vertices(self) -> list[tuple[float, float, float]]:
        """Return the span as chords."""
        first = self.legs[0]
        points = [(first.x, first.y, first.z)]
        for leg in self.legs:
            if leg.sharp:
                points.pop()  # the straights run on to the bare corner
            points += leg.chords()
        return points


def _legs(span: Span, start: tuple[float, float, float], heading: float) -> tuple[Leg, ...]:
    """Lay one span's pieces end to end."""
    if span.invert is None:
        grade = math.atan(span.grade / 100)
    else:
        plan = sum(p.plan if isinstance(p, Run) else _arc(p) for p in span.pieces if not isinstance(p, Sag))
        grade = math.atan2(span.invert - start[2], plan)
    legs = []
    x, y, z = start
    for piece in span.pieces:
        leg = Leg(x, y, z, heading, 0.0, grade_in=grade, grade_out=grade)
        if isinstance(piece, Run):
            leg = replace(leg, plan=piece.plan)
        elif isinstance(piece, Bend):
            leg = replace(leg, plan=_arc(piece), turn=math.radians(piece.turn), sharp=piece.sharp)
        else:
            after = math.atan(piece.grade / 100)
            leg = replace(leg, plan=piece.radius * abs(math.sin(after) - math.sin(grade)), grade_out=after)
        legs.append(leg)
        x, y, z = leg.at(1.0)
        heading += leg.turn
        grade = leg.grade_out
    return tuple(legs)


def _arc(bend: Bend) -> float:
    return bend.radius * math.radians(abs(bend.turn))


def lay_out() -> list[Laid]:
    """Lay the whole design out on the map.

    Returns
    -------
    list of Laid
        The spans in order, in survey feet.
    """
    laid = []
    tag, point, heading = START[0], (*ORIGIN, START[1]), FIRST_HEADING
    for span in DESIGN:
        legs = _legs(span, point, heading)
        laid.append(Laid(tag, span, legs))
        tag, point = span.vault, legs[-1].at(1.0)
        heading = legs[-1].heading + legs[-1].turn + math.radians(span.swing)
    return laid


def truth() -> dict[tuple[str, str], Chain]:
    """Return the exact shape of every span.

    Returns
    -------
    dict of (str, str) to Chain
        From vault and to vault, to the chain between them in that direction. [m, rad]
    """
    return {
        (laid.start, laid.span.vault): Chain(
            length=[leg.length * METRES_PER_FOOT for leg in laid.legs],
            grade_in=[leg.grade_in for leg in laid.legs],
            grade_out=[leg.grade_out for leg in laid.legs],
            turn=[leg.turn for leg in laid.legs],
        )
        for laid in lay_out()
    }


# --- the drawing --------------------------------------------------------------------------------------------

# How each stretch of spans was drawn: one light polyline (or one drawn from the far end), loose pieces, 3D.
DRAWN = (
    (0, 3, "polyline"), (3, 5, "loose"), (5, 6, "3d"), (6, 8, "backwards"), (8, 9, "3d"),
    (9, 12, "polyline"), (12, 14, "loose"), (14, 16, "polyline"), (16, 17, "loose"),
)  # fmt: skip
LAYERS = {"DUCT-BANK": 1, "DUCT-BORE": 6, "VAULT": 3, "STREET-CL": 8, "RIVER-BANK": 5, "TEXT": 7, "DIM": 2, "TITLE": 7}  # fmt: skip
# What a hurried hand leaves at the ends of pieces, along and across. [ft]
SLIPS = ((0.03, 0.0), (-0.02, 0.01), (0.0, 0.0), (0.05, -0.02), (-0.04, 0.0), (0.02, 0.02), (0.0, -0.01))


def write_dxf(path: Path) -> None:
    """Write the route as a designer's drawing.

    Parameters
    ----------
    path : Path
        Where to.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    fixed = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True  # no dates, so the same design gives the same file
    try:
        _drawing(lay_out()).saveas(path)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = fixed


def _drawing(laid: list[Laid]) -> Drawing:
    doc = ezdxf.new("R2013", setup=True)
    doc.header["$INSUNITS"] = 21  # US survey feet
    doc.header["$MEASUREMENT"] = 0
    for name, colour in LAYERS.items():
        doc.layers.add(name, color=colour)
    _define_blocks(doc)
    msp = doc.modelspace()
    _draw_around(msp, laid)
    slip = itertools.cycle(SLIPS)
    for first, last, how in DRAWN:
        part = laid[first:last]
        layer = {"layer": "DUCT-BORE" if part[0].span.type.startswith("HDPE") else "DUCT-BANK"}
        if how == "3d":
            msp.add_polyline3d(part[0].vertices(), dxfattribs=layer)
        elif how == "loose":
            _draw_loose(msp, part, layer, slip)
        else:
            points = _bulged(part)
            if how == "backwards":
                points = _backwards(points)
            (x, y, bulge), (dx, dy) = points[0], next(slip)
            points[0] = (x + dx, y + dy, bulge)
            msp.add_lwpolyline(points, format="xyb", dxfattribs=layer)
    _draw_vaults(msp, laid)
    for name in ("LAYOUT", "ACDBPLACEHOLDER"):  # else written in the order of a set, which changes
        doc.classes.add_class(name)
    return doc


def _bulged(part: list[Laid]) -> list[tuple[float, float, float]]:
    """Return polyline vertices with bulges; a vault passed in a straight line gets no vertex of its own."""
    legs: list[Leg] = []
    for laid in part:
        for leg in laid.legs:
            through = legs and not legs[-1].turn and not leg.turn and leg is laid.legs[0]
            if through and laid.start == "MH-2":
                legs[-1] = replace(legs[-1], plan=legs[-1].plan + leg.plan)
            else:
                legs.append(leg)
    end = part[-1].end
    return [(leg.x, leg.y, math.tan(leg.turn / 4)) for leg in legs] + [(end[0], end[1], 0.0)]


def _backwards(points: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    bulges = [-bulge for _, _, bulge in points[-2::-1]] + [0.0]
    return [(x, y, bulge) for (x, y, _), bulge in zip(points[::-1], bulges, strict=True)]


def _draw_loose(
    msp: Modelspace, part: list[Laid], layer: dict[str, str], slip: Iterator[tuple[float, float]]
) -> None:
    """Draw lines and arcs, every other line from its far end."""
    legs = [leg for laid in part for leg in laid.legs]
    corners = [leg.chords()[0][:2] if leg.sharp else None for leg in legs]
    count = 0
    for k, leg in enumerate(legs):
        if leg.sharp:
            continue
        if leg.turn:
            centre = _beside((leg.x, leg.y), leg.heading, leg.plan / leg.turn)
            angles = [
                math.degrees(math.atan2(y - centre[1], x - centre[0]))
                for x, y, _ in (leg.at(0.0), leg.at(1.0))
            ]
            if leg.turn < 0:
                angles.reverse()  # an arc is always drawn anticlockwise
            msp.add_arc(centre, abs(leg.plan / leg.turn), angles[0], angles[1], dxfattribs=layer)
            continue
        start = (corners[k - 1] if k else None) or leg.at(0.0)[:2]
        end = (corners[k + 1] if k + 1 < len(legs) else None) or leg.at(1.0)[:2]
        ends = [_slipped(start, leg.heading, next(slip)), _slipped(end, leg.heading, next(slip))]
        count += 1
        if count % 2 == 0:
            ends.reverse()
        msp.add_line(ends[0], ends[1], dxfattribs=layer)


def _beside(point: tuple[float, float], heading: float, left: float) -> tuple[float, float]:
    """Return the point that lies ``left`` of ``point``, looking along ``heading``."""
    return point[0] - left * math.sin(heading), point[1] + left * math.cos(heading)


def _aside(leg: Leg, left: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the ends of a line along ``leg``, to its left."""
    return _beside(leg.at(0.0)[:2], leg.heading, left), _beside(leg.at(1.0)[:2], leg.heading, left)


def _slipped(point: tuple[float, float], heading: float, slip: tuple[float, float]) -> tuple[float, float]:
    along, across = slip
    x, y = _beside(point, heading, across)
    return x + along * math.cos(heading), y + along * math.sin(heading)


def _define_blocks(doc: Drawing) -> None:
    for name, (length, width) in (("MANHOLE", (12, 6)), ("HANDHOLE", (6, 4)), ("TERMINAL", (4, 4))):
        block = doc.blocks.new(name)
        x, y = length / 2, width / 2
        block.add_lwpolyline([(-x, -y), (x, -y), (x, y), (-x, y)], close=True)
        block.add_circle((0, 0), 1.5)
        for row, tag in enumerate(("TAG", "TYPE", "RIM", "INVERT", "SPLICE")):
            block.add_attdef(tag, (x + 1, y - 2 * row), height=1.6)


@dataclass(frozen=True)
class Placed:
    """A vault in its place. [ft]"""

    tag: str
    kind: VaultKind
    x: float
    y: float
    invert: float
    heading: float

    @property
    def attributes(self) -> dict[str, str]:
        """As a drawing or a table holds them."""
        return {
            "TAG": self.tag,
            "TYPE": self.kind.type,
            "RIM": f"{self.invert + self.kind.depth:.2f}",
            "INVERT": f"{self.invert:.2f}",
            "SPLICE": "yes" if self.kind.splice else "no",
        }


def vaults(laid: list[Laid]) -> list[Placed]:
    """Return the vaults in order.

    Parameters
    ----------
    laid : list of Laid
        The spans.

    Returns
    -------
    list of Placed
        One more than there are spans.
    """
    first = laid[0].legs[0]
    places = [(laid[0].start, (first.x, first.y, first.z), first.heading)]
    for span in laid:
        last = span.legs[-1]
        places.append((span.span.vault, span.end, last.heading + last.turn))
    return [Placed(tag, KINDS.get(tag, MANHOLE), *point, heading) for tag, point, heading in places]


def _draw_vaults(msp: Modelspace, laid: list[Laid]) -> None:
    for vault in vaults(laid):
        insert = msp.add_blockref(
            vault.kind.block,
            (vault.x, vault.y),
            dxfattribs={"layer": "VAULT", "rotation": math.degrees(vault.heading)},
        )
        insert.add_auto_attribs(vault.attributes)


def _draw_around(msp: Modelspace, laid: list[Laid]) -> None:
    """Draw what a reader of ducts must pass over: streets, river banks, labels, a dimension, the title."""
    for span in laid:
        for leg in span.legs:
            if leg.turn == 0 and leg.plan > 150:
                msp.add_line(*_aside(leg, 17.0), dxfattribs={"layer": "STREET-CL"})
        longest = span.longest
        middle = longest.at(0.5)
        rotation = math.degrees(longest.heading)
        for text, height, left in ((span.span.street.upper(), 6.0, 20.0), (_label(span.span), 3.0, -8.0)):
            place = _beside(middle[:2], longest.heading, left)
            look = {"layer": "TEXT", "rotation": rotation}
            msp.add_text(text, height=height, dxfattribs=look).set_placement(place)
    crossing = laid[5]
    for part in (0.18, 0.82):
        points = [crossing.legs[0].at(0.0), crossing.end]
        x, y = (points[0][i] + part * (points[1][i] - points[0][i]) for i in (0, 1))
        heading = crossing.legs[0].heading
        bank = [_beside((x + 14 * math.sin(k), y), heading, 60.0 * k) for k in (-3, -2, -1, 1, 2, 3)]
        msp.add_lwpolyline(bank, dxfattribs={"layer": "RIVER-BANK"})
    run = laid[2].legs[0]
    msp.add_aligned_dim(
        p1=run.at(0.0)[:2],
        p2=run.at(1.0)[:2],
        distance=24,
        override={"dimtxt": 4, "dimasz": 3},
        dxfattribs={"layer": "DIM"},
    ).render()
    x, y = ORIGIN[0] + 3300, ORIGIN[1] - 200
    msp.add_lwpolyline(
        [(x, y), (x + 1500, y), (x + 1500, y + 320), (x, y + 320)], close=True, dxfattribs={"layer": "TITLE"}
    )
    title = (
        "HARBOUR FEEDER 15 kV\\PDuct bank plan, SUB-A to RISER-9\\PUS survey feet. Invented route, for show."
    )
    msp.add_mtext(title, dxfattribs={"layer": "TITLE", "char_height": 36, "insert": (x + 40, y + 280)})


def _label(span: Span) -> str:
    return f"6 - {span.size} IN {span.type}" + (
        ", BORED" if span.type.startswith("HDPE") else ", CONC. ENCASED"
    )


# --- the GIS layers -----------------------------------------------------------------------------------------

JOINED = ("MH-1", "MH-2")  # these two spans are one feature, drawn through the vault between them
REVERSED = ("MH-4", "MH-6", "MH-10", "MH-15")  # features whose line runs the other way, by start vault


def write_gpkg(path: Path) -> None:
    """Write the route as a GIS holds it.

    Parameters
    ----------
    path : Path
        Where to; replaced whole.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    laid = lay_out()
    path.unlink(missing_ok=True)
    lines: list[LineString] = []
    rows: list[dict[str, object]] = []
    for number, span in enumerate(laid):
        points = span.vertices()
        if span.start == JOINED[1]:
            lines[-1] = LineString([*lines[-1].coords, *points[1:]])
            continue
        lines.append(LineString(points[::-1] if span.start in REVERSED else points))
        rows.append(_row(f"D-{101 + number}", span.span, "P"))
    for number in (2, 10):  # an old bank beside the new one, out of use
        lines.append(LineString([(*p, laid[number].end[2]) for p in _aside(laid[number].longest, -6.0)]))
        rows.append({**_row(f"D-{201 + number}", laid[number].span, "A"), "size": "4"})
    placed = vaults(laid)
    table = {
        "tag": [v.tag for v in placed],
        "kind": [v.kind.type for v in placed],
        "rim": [round(v.invert + v.kind.depth, 2) for v in placed],
        "invert": [round(v.invert, 2) for v in placed],
        "splice": ["yes" if v.kind.splice else "no" for v in placed],
    }
    streets = [LineString(_aside(span.longest, 17.0)) for span in laid]
    for layer, data, geometry in (
        ("ducts", rows, lines),
        ("vaults", table, [Point(v.x, v.y, v.invert) for v in placed]),
        ("street_centrelines", {"name": [span.span.street for span in laid]}, streets),
    ):
        gpd.GeoDataFrame(data, geometry=geometry, crs=CRS).to_file(path, layer=layer, driver="GPKG")


def _row(identity: str, span: Span, status: str) -> dict[str, object]:
    return {
        "duct_id": identity,
        "size": span.size,
        "type": span.type,
        "ducts": 6,
        "spare": 3,
        "status": status,
        "street": span.street,
    }


def main(folder: Path) -> None:
    """Write both forms into a folder.

    Parameters
    ----------
    folder : Path
        Must exist.

    Raises
    ------
    OSError
        A file cannot be written.
    """
    os.environ.setdefault("OGR_CURRENT_DATE", "2025-01-01T00:00:00Z")  # the same design gives the same file
    write_dxf(folder / "harbour.dxf")
    write_gpkg(folder / "harbour.gpkg")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
