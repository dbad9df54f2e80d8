"""A survey as a GeoPackage 1.3: ducts, their segments with the four numbers of each, and vaults."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
import pyogrio
import pyogrio.raw
import shapely

from mechanics.centreline import place
from mechanics.chain import Chain
from routeio.survey import Duct, Survey

Row = Mapping[str, Any]
_FOUR = ("length_m", "grade_in_rad", "grade_out_rad", "turn_rad")


def write(survey: Survey, path: Path, chord: float) -> None:
    """Write a survey as a GeoPackage.

    Parameters
    ----------
    survey : Survey
        As read.
    path : Path
        Not there yet.
    chord : float
        How far a chord may lie from its curve; stated with every line. [m]
    """
    scale = 1.0 / survey.ground.metres_per_unit
    lines = [place(d.chain, d.start, d.heading, chord) for d in survey.ducts]
    shapes = [_shape(p.points * scale, d.elevated) for d, p in zip(survey.ducts, lines, strict=True)]
    kind = "LineString Z" if any(d.elevated for d in survey.ducts) else "LineString"
    ducts = [
        _duct_row(d, chord) | {"geometry": shapely.LineString(shape)}
        for d, shape in zip(survey.ducts, shapes, strict=True)
    ]
    segments = [
        row | {"geometry": shapely.LineString(shape[line.segment[k] : line.segment[k + 1] + 1])}
        for duct, line, shape in zip(survey.ducts, lines, shapes, strict=True)
        for k, row in enumerate(_segment_rows(duct))
    ]
    vaults = [
        {
            "tag": v.tag, "kind": v.kind, "rim_m": v.rim, "invert_m": v.invert, "splice": v.splice, "feed": v.feed,
            "pull": v.pull, "source_layer": v.where.layer, "source_id": v.where.id,
            "geometry": shapely.Point(v.x * scale, v.y * scale, np.nan if v.z is None else v.z * scale),
        }
        for v in survey.vaults
    ]  # fmt: skip
    outlines = [
        {"tag": v.tag, "geometry": shapely.transform(v.footprint, lambda xy: xy * scale)}
        for v in survey.vaults
        if v.footprint is not None
    ]
    for name, geometry, rows in (
        ("ducts", kind, ducts),
        ("segments", kind, segments),
        ("vaults", "Point Z" if any(v.z is not None for v in survey.vaults) else "Point", vaults),
        ("vault_outlines", "Unknown", outlines),
    ):
        if rows:
            frame = pandas.DataFrame.from_records(
                [{k: v for k, v in r.items() if k != "geometry"} for r in rows]
            )
            write_layer(path, name, geometry, frame, [r["geometry"] for r in rows], survey.ground.crs)


def write_layer(
    path: Path,
    name: str,
    geometry_type: str,
    values: pandas.DataFrame,
    shapes: Sequence[Any],
    crs: str | None,
) -> None:
    """Write a layer into a GeoPackage of version 1.3, made where there is none.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Of the layer.
    geometry_type : str
        As the library names it; taken as flat where no shape has an elevation.
    values : DataFrame
        A row a feature.
    shapes : sequence of shapely geometries or None
        One a row.
    crs : str or None
        Authority code or WKT; None for an undefined Cartesian one, in the words of the standard.

    Raises
    ------
    pyproj.exceptions.CRSError
        No such system.
    pyogrio.errors.DataSourceError
        The file cannot be written.
    """
    if not any(has_height(shape) for shape in shapes):
        geometry_type = geometry_type.removesuffix(" Z")
        shapes = [None if shape is None else shapely.force_2d(shape) for shape in shapes]
    frame = geopandas.GeoDataFrame(values, geometry=list(shapes), crs=crs)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="'crs' was not provided")
        frame.to_file(
            path,
            layer=name,
            driver="GPKG",
            engine="pyogrio",
            mode="a" if path.exists() else "w",
            geometry_type=geometry_type,
            dataset_options={} if path.exists() else {"VERSION": "1.3"},
            layer_options={} if crs else {"SRID": "-1"},
        )


def has_height(shape: Any) -> bool:
    """Return whether a shape has an elevation at any of its points.

    Parameters
    ----------
    shape : shapely geometry or None
        Any.

    Returns
    -------
    bool
        False for NaN all over.
    """
    if shape is None or not shape.has_z:
        return False
    return not bool(np.isnan(shapely.get_coordinates(shape, include_z=True)[:, 2]).all())


def chains(path: Path) -> dict[str, Chain]:
    """Return the chains in the segments layer of a GeoPackage of :func:`write`.

    Parameters
    ----------
    path : Path
        The GeoPackage.

    Returns
    -------
    dict of str to Chain
        By the duct's id.
    """
    if "segments" not in pyogrio.list_layers(path)[:, 0]:
        return {}
    meta, _, _, data = pyogrio.raw.read(path, layer="segments", read_geometry=False)
    columns = dict(zip(meta["fields"], data, strict=True))
    which, names = pandas.factorize(columns["duct"])
    order = np.lexsort((columns["segment"], which))
    four = np.column_stack([columns[name][order] for name in _FOUR])
    pieces = np.split(four, np.flatnonzero(np.diff(which[order])) + 1)
    return {str(name): Chain(*piece.T) for name, piece in zip(names, pieces, strict=True)}


def _shape(points: np.ndarray, elevated: bool) -> np.ndarray:
    return points if elevated else points[:, :2]


def _duct_row(duct: Duct, chord: float) -> dict[str, Any]:
    f = duct.fields
    return {
        "duct": duct.id, "from_vault": duct.start_vault, "to_vault": duct.end_vault,
        "length_m": duct.chain.total_length, "size": f.size, "type": f.type, "inside_diameter_m": f.inside_diameter,
        "friction": f.friction, "count": f.count, "free": f.free, "recorded_length_m": f.recorded_length,
        "start_x_m": duct.start[0], "start_y_m": duct.start[1], "start_z_m": duct.start[2] if duct.elevated else None,
        "heading_rad": duct.heading, "chord_error_m": chord, "source_layer": duct.where.layer,
        "source_id": duct.where.id,
    }  # fmt: skip


def _segment_rows(duct: Duct) -> list[dict[str, Any]]:
    c = duct.chain
    radius = np.divide(1.0, c.curvature, out=np.full(len(c), np.nan), where=c.curvature > 0.0)
    return [
        {
            "duct": duct.id, "segment": k + 1, **dict(zip(_FOUR, four, strict=True)), "radius_m": float(radius[k]),
            "how": duct.origins[k].how, "source_id": duct.origins[k].id,
        }
        for k, four in enumerate(zip(*(a.tolist() for a in (c.length, c.grade_in, c.grade_out, c.turn)), strict=True))
    ]  # fmt: skip
