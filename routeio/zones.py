"""Zones: areas in which vaults may not stand, or can be reached, from a polygon layer of any system."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import shapely
from shapely.geometry.base import BaseGeometry

from mechanics.errors import FloatArray
from routeio import wire
from routeio.findings import Finding, InputRefusedError, Where
from routeio.firstbytes import reader_for
from routeio.isolation import answered
from routeio.limits import Limits
from routeio.survey import Ground


@dataclass(frozen=True)
class ZoneLayer:
    """Where zones are.

    Parameters
    ----------
    file : Path
        A GIS file.
    layer : str or None
        Name; None for the only one in the file.
    """

    file: Path
    layer: str | None = None


def read_zones(zones: ZoneLayer, ground: Ground) -> tuple[BaseGeometry, list[Finding]]:
    """Return the area of all zones of a layer, in the survey's metres.

    Parameters
    ----------
    zones : ZoneLayer
        As stated.
    ground : Ground
        Of the survey.

    Returns
    -------
    geometry
        Their union; empty where the layer holds no area.
    list of Finding
        ``zones-projected``, ``zones-skipped``.

    Raises
    ------
    InputRefusedError
        ``zones-unreadable``, ``missing-layer``, ``zones-no-crs``, or that of a reader that was stopped.
    """
    where = Where(file=zones.file.name, layer=zones.layer or "")
    if reader_for(zones.file)[0] != "gis":
        raise InputRefusedError(
            "wrong-format", "zones are read from a GIS layer, and this file is none", where,
            "save them as GeoPackage, Shapefile or GeoJSON",
        )  # fmt: skip
    request = {"layer": zones.layer}
    values, arrays = wire.received_arrays(answered(["routeio.zone_layer"], request, zones.file, Limits()))
    facts = values["zones"]
    data, ends = arrays["wkb"].tobytes(), np.cumsum([0, *facts["sizes"]])
    shapes = shapely.from_wkb([data[a:b] or None for a, b in itertools.pairwise(ends)], on_invalid="ignore")
    areas = [s if s is not None and s.geom_type in ("Polygon", "MultiPolygon") else None for s in shapes]
    lost = [i for i, a in zip(facts["ids"], areas, strict=True) if a is None]
    findings = []
    if lost:
        findings.append(
            Finding(
                "zones-skipped", "warning",
                f"{len(lost)} features of the zones are no polygons and are left out: {', '.join(lost[:5])}", where,
                "draw every zone as a closed polygon",
            )
        )  # fmt: skip
    union = shapely.union_all(shapely.make_valid(np.array([a for a in areas if a is not None], dtype=object)))
    projected, said = _projected(union, facts["crs"], ground, where)
    return projected, findings + said


def _projected(
    area: BaseGeometry, crs: str | None, ground: Ground, where: Where
) -> tuple[BaseGeometry, list[Finding]]:
    scale = ground.metres_per_unit
    if crs is None or ground.crs is None:
        if crs is None and ground.crs is None:
            return shapely.transform(area, lambda xy: xy * scale), []
        whose, key = ("the zones", "assign it") if crs is None else ("the route", "state route.crs")
        raise InputRefusedError(
            "zones-no-crs", f"{whose} have no coordinate reference system, so where zones lie on the route is not known"
            if crs is None else f"{whose} has no coordinate reference system, so where zones lie on it is not known",
            where, f"{key} (such as EPSG:2287), or save both in the same one",
        )  # fmt: skip
    own, there = pyproj.CRS.from_user_input(crs), pyproj.CRS.from_user_input(ground.crs)
    if own.equals(there, ignore_axis_order=True):
        return shapely.transform(area, lambda xy: xy * scale), []
    carry = pyproj.Transformer.from_crs(own, there, always_xy=True)

    def move(points: FloatArray) -> FloatArray:
        return np.column_stack(carry.transform(points[:, 0], points[:, 1])) * scale

    moved = shapely.transform(shapely.segmentize(area, _longest(area)), move)
    if not np.all(np.isfinite(shapely.get_coordinates(moved))):
        raise InputRefusedError(
            "zones-no-crs", "the zones do not lie where the route's coordinate reference system is made for", where,
            "check the coordinate reference system of the zones",
        )  # fmt: skip
    said = Finding(
        "zones-projected", "info", f"the zones are in {own.name!r} and are carried over to {there.name!r}", where, "none needed"
    )  # fmt: skip
    return moved, [said]


def _longest(area: BaseGeometry) -> float:
    """Edges are carried over in parts, since a straight one in one system is none in another."""
    low_x, low_y, high_x, high_y = area.bounds if not area.is_empty else (0.0, 0.0, 1.0, 1.0)
    return max(high_x - low_x, high_y - low_y, 1e-9) / 100.0
