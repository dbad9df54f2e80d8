"""GeoParquet: columns of a table with geometries among them; needs pyarrow, which is not installed by default."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from pyproj.exceptions import CRSError

from routeio.findings import InputRefusedError, Where
from routeio.gis_filter import matching
from routeio.layer_facts import Facts, Features

try:
    import pyarrow  # type: ignore[import-not-found, import-untyped, unused-ignore]
    import pyarrow.parquet as parquet  # type: ignore[import-not-found, import-untyped, unused-ignore]
except ImportError:
    pyarrow = None
    parquet = None


def facts(path: Path) -> Facts:
    """Return what a file says of itself.

    Parameters
    ----------
    path : Path
        A GeoParquet file.

    Returns
    -------
    Facts
        Names, kind, count and CRS.

    Raises
    ------
    InputRefusedError
        ``reader-missing``, ``damaged-layer``.
    """
    known, geo = _opened(path)
    column = geo["columns"][geo["primary_column"]]
    kinds = {str(kind).split()[0] for kind in column.get("geometry_types", ())}
    return Facts(
        tuple(name for name in known.schema_arrow.names if name not in geo["columns"]),
        next(iter(kinds)) if len(kinds) == 1 else "Unknown",
        int(known.metadata.num_rows),
        _crs(column, path),
    )


def features(path: Path, columns: Sequence[str], where: str | None = None) -> Features:
    """Read a file.

    Parameters
    ----------
    path : Path
        A GeoParquet file.
    columns : sequence of str
        Fields to read.
    where : str, optional
        Attribute filter.

    Returns
    -------
    Features
        Feature ids are row numbers from 0, of the whole file.

    Raises
    ------
    InputRefusedError
        ``reader-missing``, ``damaged-layer``, ``bad-filter``.
    """
    known, geo = _opened(path)
    main = str(geo["primary_column"])
    rows = np.arange(int(known.metadata.num_rows)) if where is None else _matching(path, known, geo, where)
    try:
        table = known.read(columns=[*columns, main])
        table = table if where is None else table.take(rows)
        wkb = table.column(main).to_numpy()
    except (pyarrow.ArrowException, OSError, ValueError, KeyError) as error:
        raise _damaged(path, error) from error
    geometry = shapely.from_wkb(wkb, on_invalid="ignore")
    there = np.array([value is not None for value in wkb], dtype=bool)
    return Features(
        rows,
        geometry,
        there & shapely.is_missing(geometry),
        {name: np.array(table.column(name).to_pylist(), dtype=object) for name in columns},
        _crs(geo["columns"][main], path),
    )


def _matching(path: Path, known: Any, geo: dict[str, Any], where: str) -> np.ndarray:
    """Return the rows that a filter lets through."""
    fields = [name for name in known.schema_arrow.names if name not in geo["columns"]]
    named = [name for name in fields if name.casefold() in where.casefold()]
    try:
        table = known.read(columns=named)
    except (pyarrow.ArrowException, OSError, KeyError) as error:
        raise _damaged(path, error) from error
    values = {name: table.column(name).to_pylist() for name in named}
    try:
        return matching(values, int(known.metadata.num_rows), where)
    except (sqlite3.Error, sqlite3.Warning, ValueError) as error:
        raise InputRefusedError(
            "bad-filter",
            f"the filter {where!r} does not work: {' '.join(str(error).split())[:200]}",
            Where(file=path.name, layer=path.stem),
            "the fields are " + ", ".join(repr(f) for f in fields),
        ) from error


def _opened(path: Path) -> tuple[Any, dict[str, Any]]:
    if parquet is None:
        raise InputRefusedError(
            "reader-missing",
            "reading GeoParquet needs the library pyarrow, which is not installed",
            Where(file=path.name),
            "install pyarrow, or export the layer as GeoPackage",
        )
    try:
        known = parquet.ParquetFile(path)
        geo = json.loads((known.schema_arrow.metadata or {}).get(b"geo", b"null"))
    except (pyarrow.ArrowException, OSError, ValueError, KeyError) as error:
        raise _damaged(path, error) from error
    if not (
        isinstance(geo, dict)
        and isinstance(geo.get("columns"), dict)
        and isinstance(geo.get("primary_column"), str)
        and geo["primary_column"] in geo["columns"]
    ):
        raise _damaged(path, "it says nothing of geometries")
    column = geo["columns"][geo["primary_column"]]
    if not isinstance(column, dict):
        raise _damaged(path, "it says nothing of geometries")
    encoding = column.get("encoding")
    if encoding != "WKB":
        raise _damaged(path, f"its geometries are written as {encoding!r}, and only WKB is read")
    return known, geo


def _damaged(path: Path, error: object) -> InputRefusedError:
    return InputRefusedError(
        "damaged-layer",
        f"the layer cannot be read: {' '.join(str(error).split())[:200]}",
        Where(file=path.name),
        "export it again from where it came",
    )


def _crs(column: dict[str, Any], path: Path) -> str | None:
    """Absent means longitude and latitude on WGS 84 (GeoParquet 1.1, ``crs``); null means unknown."""
    if "crs" not in column:
        return "OGC:CRS84"
    if column["crs"] is None:
        return None
    try:
        return pyproj.CRS.from_json_dict(column["crs"]).to_wkt()
    except (CRSError, TypeError) as error:
        raise _damaged(path, f"its coordinate reference system is none: {error}") from error
