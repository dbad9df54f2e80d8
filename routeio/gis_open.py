"""Opening layers: the files that belong together, what each holds, and its features as plain arrays."""

from __future__ import annotations

import re
import sqlite3
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.errors
import pyogrio.raw
import shapely

from routeio import gis_arrow, gis_parquet
from routeio.findings import InputRefusedError, Where
from routeio.firstbytes import reader_for
from routeio.layer_facts import Facts, Features
from routeio.sidecars import refuse_without_sidecars

#: Formats that hold one layer a file: other layers are other files beside it.
SINGLE_LAYER = frozenset({"ESRI Shapefile", "GeoJSON", "FlatGeobuf", "Parquet"})
#: What the library raises on files it cannot read.
LIBRARY_ERRORS = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FieldError,
    pyogrio.errors.CRSError,
    pyogrio.errors.GeometryError,
    UnicodeDecodeError,
    ValueError,
    IndexError,
    OverflowError,
    OSError,
)


@dataclass(frozen=True)
class Source:
    """A layer and the file it is in.

    Parameters
    ----------
    path : Path
        The file.
    layer : str
        Name; of a format with one layer a file, the file's name without its ending.
    inner : str or None
        Name by which the library knows it; None for the only layer.
    """

    path: Path
    layer: str
    inner: str | None


def sources(path: Path, driver: str) -> dict[str, Source]:
    """Return the layers that can be named for a file.

    Parameters
    ----------
    path : Path
        The file.
    driver : str
        Its format, as :func:`routeio.firstbytes.reader_for` says.

    Returns
    -------
    dict of str to Source
        Its own layers; for a format with one layer a file, itself first and then its neighbours of the same ending.

    Raises
    ------
    InputRefusedError
        ``damaged-layer``, ``file-locked``.
    """
    if driver not in SINGLE_LAYER:
        try:
            names = [str(row[0]) for row in pyogrio.list_layers(path)]
        except LIBRARY_ERRORS as error:
            raise refusal_of(error, path, "") from error
        return {name: Source(path, name, name) for name in names}
    found = {path.stem: Source(path, path.stem, None)}
    for other in sorted(path.parent.iterdir()):
        if other != path and other.suffix.lower() == path.suffix.lower() and other.is_file():
            found.setdefault(other.stem, Source(other, other.stem, None))
    return found


def facts(source: Source, encoding: str | None = None) -> Facts:
    """Return what a layer says of itself, without reading its features.

    Parameters
    ----------
    source : Source
        The layer.
    encoding : str, optional
        Of its texts.

    Returns
    -------
    Facts
        Names, kind, count and CRS.

    Raises
    ------
    InputRefusedError
        As :func:`sources`; also what a neighbouring file really is, and missing sidecars.
    """
    _, driver = reader_for(source.path)
    refuse_without_sidecars(source.path)
    if driver == "Parquet":
        return gis_parquet.facts(source.path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            info: dict[str, Any] = pyogrio.read_info(source.path, layer=source.inner, encoding=encoding)
    except LIBRARY_ERRORS as error:
        raise refusal_of(error, source.path, source.layer) from error
    if info["driver"] != driver:
        raise InputRefusedError(
            "wrong-format",
            f"named {source.path.suffix} but the library takes it for {info['driver']}",
            Where(file=source.path.name),
            f"export it as {driver}",
        )
    return Facts(
        tuple(str(f) for f in info["fields"]),
        str(info["geometry_type"] or "None"),
        int(info["features"]),
        info["crs"],
        str(info["driver"]),
        {str(name): str(kind) for name, kind in zip(info["fields"], info["dtypes"], strict=True)},
    )


def features(
    source: Source, columns: Sequence[str], where: str | None, encoding: str | None, known: Facts
) -> Features:
    """Read a layer.

    Parameters
    ----------
    source : Source
        The layer.
    columns : sequence of str
        Fields to read.
    where : str or None
        Attribute filter.
    encoding : str or None
        Of its texts.
    known : Facts
        What it says of itself.

    Returns
    -------
    Features
        One bad geometry does not fail the rest.

    Raises
    ------
    InputRefusedError
        ``bad-filter``, ``no-filter-here``, and as :func:`sources`.
    """
    if source.path.suffix.lower() == ".parquet":
        return gis_parquet.features(source.path, columns, where)
    try:
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            read = gis_arrow.read if gis_arrow.usable(known, columns) else _read
            told = source.path, source.inner, columns, where, encoding
            try:
                fids, wkb, values, crs, plain = read(*told)
            except pyogrio.errors.FeatureError as error:
                # one geometry that cannot be read fails them all; as a table the others come through
                filtered = where is not None and _about_the_filter(str(error))
                if filtered or read is gis_arrow.read or not gis_arrow.usable(known, columns, fewest=0):
                    raise
                fids, wkb, values, crs, plain = gis_arrow.read(*told)
    except LIBRARY_ERRORS as error:
        if where is not None and _about_the_filter(str(error)):
            raise InputRefusedError(
                "bad-filter",
                f"the filter {where!r} does not work: {_short(error)}",
                Where(file=source.path.name, layer=source.layer),
                "the fields are " + ", ".join(repr(f) for f in known.fields),
            ) from error
        raise refusal_of(error, source.path, source.layer) from error
    geometry = shapely.from_wkb(wkb, on_invalid="ignore")
    missing = (
        shapely.is_missing(geometry) if plain is None else shapely.is_missing(geometry) & (plain.kind < 0)
    )
    broken = np.zeros(len(geometry), dtype=bool)
    broken[missing] = [value is not None for value in wkb[missing]]
    return Features(
        fids,
        geometry,
        broken,
        values,
        crs,
        tuple(dict.fromkeys(" ".join(str(w.message).split())[:300] for w in warned)),
        plain,
    )


def _read(
    path: Path, layer: str | None, columns: Sequence[str], where: str | None, encoding: str | None
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray], str | None, None]:
    """Return feature ids, geometries as WKB (None where there is none), columns by name, CRS, no plain lines."""
    if where is None and path.suffix.lower() == ".gpkg":
        where = "1 = 1"  # or the library reads as many features as the file's own count says, which may be out of date
    meta, fids, wkb, data = pyogrio.raw.read(
        path, layer=layer, encoding=encoding, columns=list(columns), where=where, return_fids=True
    )
    if wkb is None:
        wkb = np.full(len(fids), None, dtype=object)
    names = [str(name) for name in meta["fields"]]
    return np.asarray(fids), wkb, dict(zip(names, data, strict=True)), meta["crs"], None


def _about_the_filter(text: str) -> bool:
    return any(
        word in text for word in ("SQL", "no such column", "where", "syntax", "not recognised", "expression")
    )


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:200]


def refusal_of(error: Exception, path: Path, layer: str) -> InputRefusedError:
    """Return the refusal that a library's error stands for.

    Parameters
    ----------
    error : Exception
        What was raised.
    path : Path
        The file.
    layer : str
        The layer, may be empty.

    Returns
    -------
    InputRefusedError
        ``file-locked``, ``geometry-unsupported`` or ``damaged-layer``.
    """
    text = _short(error)
    where = Where(file=path.name, layer=layer)
    number = re.search(r"type is not supported: (\d+)$", text)
    if isinstance(error, pyogrio.errors.GeometryError) and number:
        return _unsupported(int(number[1]), path, layer)
    if isinstance(error, IndexError):
        text = "no layer is found in it, as in a file that was cut off"
    elif isinstance(error, pyogrio.errors.FeatureError):
        text = f"a feature is damaged, or the file was cut off ({text})"
    if "locked" in text or "busy" in text:
        return InputRefusedError(
            "file-locked", f"the file is in use by another program: {text}", where, "close the other program"
        )
    return InputRefusedError(
        "damaged-layer", f"the layer cannot be read: {text}", where, "export it again from where it came"
    )


def _unsupported(number: int, path: Path, layer: str) -> InputRefusedError:
    """Return the refusal of a type by its number, thousands of which say what stands beside x and y (OGC 06-103r4)."""
    kind = {
        0: "mixed kinds of geometry",
        15: "surfaces of several faces",
        16: "meshes of triangles",
        17: "triangles",
    }
    more = ("", " with z", " with measures (M)", " with z and measures (M)")
    layers = layer or ", ".join(_layers_of_type(path, number))
    what = kind.get(number % 1000, f"type {number % 1000}") + more[number // 1000 % 4]
    others = "" if path.suffix.lower() != ".gpkg" else ", and no other layer of the file while it is there"
    remedy = "export it again as lines or points, or without measures; or leave it out of the file"
    return InputRefusedError(
        "geometry-unsupported",
        f"the file has a layer of {what}, which cannot be read{others}",
        Where(file=path.name, layer=layers),
        remedy,
    )


def _layers_of_type(path: Path, number: int) -> list[str]:
    """Return the layers of a GeoPackage that say they are of a type that the library does not name; none elsewhere."""
    names = {0: "GEOMETRY", 15: "POLYHEDRALSURFACE", 16: "TIN", 17: "TRIANGLE"}
    z, m = ((0, 0), (1, 0), (0, 1), (1, 1))[number // 1000 % 4]
    asked = (
        "SELECT table_name FROM gpkg_geometry_columns WHERE upper(geometry_type_name) = ? AND z = ? AND m = ?"
    )
    try:
        # so that nothing is written beside the file
        database = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            return [str(row[0]) for row in database.execute(asked, (names.get(number % 1000, ""), z, m))]
        finally:
            database.close()
    except sqlite3.Error:
        return []


def plain_kind(kind: str) -> str:
    """Return a geometry type without its dimensions: ``2.5D LineString`` and ``LineString Z`` are lines.

    Parameters
    ----------
    kind : str
        As the library names it.

    Returns
    -------
    str
        Such as ``LineString``.
    """
    words = [w for w in kind.split() if w not in {"2.5D", "3D", "Z", "M", "ZM", "Measured"}]
    return words[-1] if words else kind
