"""Large layers as Arrow tables: three times as fast as feature by feature, where pyarrow is installed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw

from routeio.layer_facts import Facts, PlainLines
from routeio.wkb import plain_lines

try:
    import pyarrow  # type: ignore[import-not-found, import-untyped, unused-ignore]
except ImportError:
    pyarrow = None

#: Formats that the library reads faster so; GeoJSON it reads more slowly.
_FASTER = frozenset({"GPKG", "FlatGeobuf", "ESRI Shapefile"})
#: Fewer features are not worth it.
_FEWEST = 1_000
#: Types of fields that come out the same either way.
_ALIKE = frozenset({"object", "int16", "int32", "int64", "float32", "float64"})


def usable(known: Facts, columns: Sequence[str]) -> bool:
    """Return whether a layer is to be read so.

    Parameters
    ----------
    known : Facts
        What it says of itself.
    columns : sequence of str
        Fields to read.

    Returns
    -------
    bool
        False without pyarrow.
    """
    return (
        pyarrow is not None
        and known.driver in _FASTER
        and known.features >= _FEWEST
        and known.kind != "None"
        and all(known.dtypes.get(name) in _ALIKE for name in columns)
    )


def read(
    path: Path, layer: str | None, columns: Sequence[str], where: str | None, encoding: str | None
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray], str | None, PlainLines | None]:
    """Read a layer.

    Parameters
    ----------
    path : Path
        The file.
    layer : str or None
        Name by which the library knows it; None for the only one.
    columns : sequence of str
        Fields to read.
    where : str or None
        Attribute filter.
    encoding : str or None
        Of its texts.

    Returns
    -------
    fids : ndarray of int, shape (n,)
        Feature ids.
    wkb : ndarray of object, shape (n,)
        Geometries as bytes, None where there is none or it is plain.
    values : dict of str to ndarray
        Fields by name, shape (n,) each.
    crs : str or None
        Authority code or WKT.
    plain : PlainLines or None
        Geometries that are plain lines.
    """
    meta, table = pyogrio.raw.read_arrow(
        path, layer=layer, encoding=encoding, columns=list(columns), where=where, return_fids=True
    )
    column = {name: table.column(k) for k, name in enumerate(table.schema.names)}
    fids = column.pop(meta["fid_column"] or "OGC_FID").to_numpy()
    geometry = column.pop(meta["geometry_name"] or "wkb_geometry")
    values = {name: column[name].to_numpy(zero_copy_only=False) for name in columns}
    chunks = [chunk for chunk in geometry.chunks if len(chunk)]
    plain = plain_lines([_records(chunk) for chunk in chunks])
    wkb = np.full(len(fids), None, dtype=object)  # what is left to the library
    at = 0
    for chunk in chunks:
        rest = np.flatnonzero(plain.kind[at : at + len(chunk)] < 0)
        if rest.size:
            wkb[at + rest] = chunk.to_numpy(zero_copy_only=False)[rest]
        at += len(chunk)
    return fids, wkb, values, meta["crs"], plain


def _records(chunk: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """Return where each value of an array of bytes begins, its bytes, and which values there are."""
    chunk = getattr(chunk, "storage", chunk)
    there = chunk.is_valid().to_numpy(zero_copy_only=False) if chunk.null_count else None
    _, offsets, data = chunk.buffers()
    wide = np.int64 if pyarrow.types.is_large_binary(chunk.type) else np.int32
    ends = np.frombuffer(offsets, wide)[chunk.offset : chunk.offset + len(chunk) + 1].astype(np.int64)
    # what the buffer holds beyond the last value is none of it
    return ends, np.frombuffer(data or b"", np.uint8)[: ends[-1]], there
