"""Shapes of a drawing's entities: each as vertices with bulges, in the coordinates of the layout it stands in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from ezdxf.entities import DXFTagStorage
from ezdxf.math import OCS, BSpline

from mechanics.errors import FloatArray
from routeio.affine import moved
from routeio.biarcs import Curve, fitted
from routeio.findings import Where
from routeio.ground import check_in_reach

if TYPE_CHECKING:
    from ezdxf.entities import Attrib, DXFEntity

#: Kinds that are lines, or curves that can be followed.
LINES = frozenset({"LINE", "ARC", "LWPOLYLINE", "POLYLINE", "CIRCLE", "ELLIPSE", "SPLINE"})
#: A spline with more than this many control points is no drawn curve.
_MOST_CONTROL_POINTS = 100_000
_MESH, _POLYFACE, _POLYLINE_3D = 16, 64, 8
_FRAME_POINT = 16


@dataclass(frozen=True, eq=False)
class Shape:
    """The shape of one entity.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        Vertices, in file units.
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    closed : bool
        Whether the last vertex is the first by the entity's own word.
    off : float or None
        Where a curve had to be replaced by arcs and straights: how far it lies from them at most. [file units]
    """

    points: FloatArray
    bulge: FloatArray
    closed: bool = False
    off: float | None = None


def layer_of(entity: DXFEntity) -> str:
    """Return the layer of an entity, also of kinds the library does not know.

    Parameters
    ----------
    entity : DXFEntity
        Any.

    Returns
    -------
    str
        ``0`` where it says none.
    """
    if isinstance(entity, DXFTagStorage):
        return str(entity.graphic_properties().get("layer", "0"))
    return str(entity.dxf.get("layer", "0")) if entity.dxf.is_supported("layer") else "0"


def is_hidden(entity: DXFEntity) -> bool:
    """Return whether an entity is hidden by itself, whatever its layer (DXF group code 60).

    Parameters
    ----------
    entity : DXFEntity
        Any.

    Returns
    -------
    bool
        False for kinds the library does not know.
    """
    return entity.dxf.is_supported("invisible") and bool(entity.dxf.get("invisible", 0))


class NotALineError(ValueError):
    """An entity that gives no line; the message says why."""


def attributes_of(insert: DXFEntity) -> list[Attrib]:
    """Return the attributes of an INSERT, those that recovery threw away left out.

    Parameters
    ----------
    insert : DXFEntity
        The INSERT.

    Returns
    -------
    list of Attrib
        Its ATTRIBs.
    """
    return [attrib for attrib in insert.attribs if attrib.is_alive]  # type: ignore[attr-defined]


def place_of(entity: DXFEntity, name: str) -> tuple[float, float, float]:
    """Return a point or vector of an entity that must have it.

    Parameters
    ----------
    entity : DXFEntity
        Any.
    name : str
        Of the attribute.

    Returns
    -------
    tuple of 3 floats
        As written.

    Raises
    ------
    NotALineError
        Where it is missing.
    """
    value = entity.dxf.get(name)
    if value is None:
        raise NotALineError(f"it has no {name.replace('_', ' ')}")
    return float(value.x), float(value.y), float(value.z)


def number_of(entity: DXFEntity, name: str) -> float:
    """Return a number of an entity that must have it.

    Parameters
    ----------
    entity : DXFEntity
        Any.
    name : str
        Of the attribute.

    Returns
    -------
    float
        As written, or its default.

    Raises
    ------
    NotALineError
        Where it is missing.
    """
    value = entity.dxf.get_default(name)
    if value is None:
        raise NotALineError(f"it has no {name.replace('_', ' ')}")
    return float(value)


def shape_of(entity: DXFEntity, tolerance: float, metres_per_unit: float, where: Where) -> Shape:
    """Return the shape of an entity of a kind in :data:`LINES`.

    Parameters
    ----------
    entity : DXFEntity
        The entity.
    tolerance : float
        How far chords may lie from a curve that bulges cannot say. [file units]
    metres_per_unit : float
        For the check that all numbers are places on the ground. [m]
    where : Where
        For refusals.

    Returns
    -------
    Shape
        In the coordinates of the layout or block the entity stands in.

    Raises
    ------
    NotALineError
        Meshes, polylines of fewer than two vertices, broken curves.
    InputRefusedError
        ``bad-number``.
    """
    kind = entity.dxftype()
    if kind == "LWPOLYLINE":
        shape = _light_polyline(entity)
    elif kind == "LINE":
        shape = _line(entity)
    elif kind in {"ARC", "CIRCLE"}:
        shape = _arc(entity, metres_per_unit, where)
    elif kind == "POLYLINE":
        shape = _polyline(entity)
    elif kind == "ELLIPSE":
        shape = _ellipse(entity, tolerance, metres_per_unit, where)
    elif kind == "SPLINE":
        shape = _spline(entity, tolerance, metres_per_unit, where)
    else:
        raise NotALineError(f"{kind} is not a line")
    check_in_reach(shape.points, metres_per_unit, where)
    _check_bulges(shape, metres_per_unit, where)
    if kind not in {"LINE", "ELLIPSE", "SPLINE"} and not _is_3d(entity):
        shape = _to_world(entity, shape, tolerance, metres_per_unit, where)
    return shape


def _check_bulges(shape: Shape, metres_per_unit: float, where: Where) -> None:
    check_in_reach(shape.bulge, 1.0, where)
    if (np.abs(shape.bulge) > 1.0).any():
        # how far an arc stands off its chord, to within a factor; up to a half circle no farther than the chord
        chord = np.hypot(*np.diff(shape.points[:, :2], axis=0).T)
        check_in_reach(shape.bulge * chord, metres_per_unit, where)


def _is_3d(entity: DXFEntity) -> bool:
    return entity.dxftype() == "POLYLINE" and bool(int(entity.dxf.flags) & _POLYLINE_3D)


def _to_world(
    entity: DXFEntity, shape: Shape, tolerance: float, metres_per_unit: float, where: Where
) -> Shape:
    """Carry a shape from the coordinates of its own plane to the world's."""
    if not entity.dxf.hasattr("extrusion"):
        return shape
    extrusion = np.array(entity.dxf.extrusion.xyz)
    if (extrusion == (0.0, 0.0, 1.0)).all():
        return shape
    check_in_reach(extrusion, 1.0, where)
    if not np.linalg.norm(extrusion) > 1e-12:
        return shape
    ocs = OCS(entity.dxf.extrusion)
    matrix = np.eye(4)
    matrix[:3, :3] = [ocs.ux.xyz, ocs.uy.xyz, ocs.uz.xyz]
    points, bulge, off = moved(shape.points, shape.bulge, matrix, tolerance)
    check_in_reach(points, metres_per_unit, where)
    return Shape(points, bulge, shape.closed, off)


def _line(entity: DXFEntity) -> Shape:
    return Shape(np.array([place_of(entity, "start"), place_of(entity, "end")]), np.zeros(1))


def _light_polyline(entity: DXFEntity) -> Shape:
    values = np.frombuffer(entity.lwpoints.values, dtype=np.float64).reshape(-1, 5)  # type: ignore[attr-defined]
    points = np.full((values.shape[0], 3), float(entity.dxf.get("elevation", 0.0)))
    points[:, :2] = values[:, :2]
    return _run(points, values[:, 4], bool(int(entity.dxf.get("flags", 0)) & 1))


def _polyline(entity: DXFEntity) -> Shape:
    flags = int(entity.dxf.flags)
    if flags & (_MESH | _POLYFACE):
        raise NotALineError("a mesh, not a line")
    # the frame of a fitted curve is not the curve
    every = [v for v in entity.vertices if v.is_alive]  # type: ignore[attr-defined]
    vertices = [v for v in every if not int(v.dxf.flags) & _FRAME_POINT]
    points = np.array([place_of(v, "location") for v in vertices]).reshape(-1, 3)
    bulge = np.array([float(v.dxf.get("bulge", 0.0)) for v in vertices])
    if flags & _POLYLINE_3D:
        bulge = np.zeros(len(vertices))
    elif entity.dxf.hasattr("elevation"):
        points[:, 2] = float(entity.dxf.elevation.z)
    return _run(points, bulge, bool(flags & 1))


def _run(points: FloatArray, bulge: FloatArray, closed: bool) -> Shape:
    """Vertices, each with the bulge of the leg that leaves it, as legs."""
    if points.shape[0] < 2:
        raise NotALineError(f"only {points.shape[0]} vertex" if points.shape[0] else "no vertex")
    if closed:
        return Shape(np.vstack((points, points[:1])), np.array(bulge), True)
    return Shape(points, np.array(bulge[:-1]))


def _arc(entity: DXFEntity, metres_per_unit: float, where: Where) -> Shape:
    radius = number_of(entity, "radius")
    x, y, z = place_of(entity, "center")
    full = entity.dxftype() == "CIRCLE"
    angles = np.array(
        [0.0, 360.0] if full else [number_of(entity, "start_angle"), number_of(entity, "end_angle")]
    )
    check_in_reach(np.array([x, y, z, radius]), metres_per_unit, where)
    check_in_reach(angles, 1.0, where)
    if not radius > 0.0:
        raise NotALineError(f"radius {radius:g}")
    turn = math.radians((angles[1] - angles[0]) % 360.0)
    if full or turn < 1e-12:
        full, turn = True, 2.0 * math.pi
    legs = 2 if turn > 0.99 * math.pi else 1
    bearing = math.radians(angles[0]) + turn * np.arange(legs + 1) / legs
    points = np.column_stack(
        (
            x + radius * np.cos(bearing),
            y + radius * np.sin(bearing),
            np.full(legs + 1, z),
        )
    )
    if full:
        points[-1] = points[0]
    return Shape(points, np.full(legs, math.tan(turn / legs / 4.0)), full)


def _ellipse(entity: DXFEntity, tolerance: float, metres_per_unit: float, where: Where) -> Shape:
    dxf = entity.dxf
    centre, major = np.array(place_of(entity, "center")), np.array(place_of(entity, "major_axis"))
    extrusion = np.array(dxf.get("extrusion", (0.0, 0.0, 1.0)))
    ratio, start, end = (number_of(entity, name) for name in ("ratio", "start_param", "end_param"))
    check_in_reach(np.concatenate((centre, major)), metres_per_unit, where)
    check_in_reach(np.array([*extrusion, ratio, start, end]), 1.0, where)
    size = float(np.linalg.norm(major))
    normal = float(np.linalg.norm(extrusion))
    if not (size > 0.0 and normal > 0.0 and ratio != 0.0):
        raise NotALineError("an ellipse without size")
    minor = np.cross(extrusion / normal, major) * ratio
    check_in_reach(minor, metres_per_unit, where)
    turn = (end - start) % (2.0 * math.pi)
    full = turn < 1e-9
    turn = 2.0 * math.pi if full else turn
    # the most curved places are where the axes meet the ellipse: spans end there
    quarters = np.arange(math.ceil(start / (0.5 * math.pi)), math.floor((start + turn) / (0.5 * math.pi)) + 1)
    params = np.unique(np.concatenate(([start], 0.5 * math.pi * quarters, [start + turn])))
    params = params[(params >= start) & (params <= start + turn)]

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        c, s = np.cos(t)[:, None], np.sin(t)[:, None]
        return centre + c * major + s * minor, c * minor - s * major

    fit = fitted(curve, params, tolerance)
    points = fit.points
    if full:
        points[-1] = points[0]
    return Shape(points, fit.bulge, full, fit.off)


def _spline(entity: DXFEntity, tolerance: float, metres_per_unit: float, where: Where) -> Shape:
    control = np.array(entity.control_points, dtype=np.float64).reshape(-1, 3)  # type: ignore[attr-defined]
    through = np.array(entity.fit_points, dtype=np.float64).reshape(-1, 3)  # type: ignore[attr-defined]
    numbers = [np.asarray(list(entity.knots)), np.asarray(list(entity.weights))]  # type: ignore[attr-defined]
    check_in_reach(control, metres_per_unit, where)
    check_in_reach(through, metres_per_unit, where)
    for values in numbers:
        check_in_reach(values, 1.0, where)
    if max(control.shape[0], through.shape[0]) > _MOST_CONTROL_POINTS:
        raise NotALineError(f"a spline of {control.shape[0]} control points")
    degree = int(entity.dxf.get("degree", 3))
    if not 1 <= degree <= 11:
        raise NotALineError(f"a spline of degree {degree}")
    try:
        spline = entity.construction_tool()  # type: ignore[attr-defined]
        knots = np.asarray(spline.knots(), dtype=np.float64)
        # of a spline whose knots are not doubled at its ends, the first and last spans are no part
        first, last = knots[spline.degree], knots[-spline.degree - 1]
        fit = fitted(_along(spline), np.unique(np.clip(knots, first, last)), tolerance)
    except (ValueError, TypeError, ZeroDivisionError, IndexError) as error:
        raise NotALineError(f"a spline that cannot be followed: {error}") from error
    points, bulge = fit.points, fit.bulge
    closed = bool(entity.closed)  # type: ignore[attr-defined]
    if closed and not np.array_equal(points[0], points[-1]):
        points, bulge = np.vstack((points, points[:1])), np.append(bulge, 0.0)
    return Shape(points, bulge, closed, fit.off)


def _along(spline: BSpline) -> Curve:
    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        both = np.array([[v.xyz for v in row] for row in spline.derivatives(t.tolist(), 1)])
        return both[:, 0], both[:, 1]

    return curve
