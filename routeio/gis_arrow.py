"""Large layers as Arrow tables: three times as fast as feature by feature, where pyarrow is installed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyogrio.raw

from routeio.layer_facts import Facts

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
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray], str | None]:
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
        Geometries as bytes, None where there is none.
    values : dict of str to ndarray
        Fields by name, shape (n,) each.
    crs : str or None
        Authority code or WKT.
    """
    meta, table = pyogrio.raw.read_arrow(
        path, layer=layer, encoding=encoding, columns=list(columns), where=where, return_fids=True
    )
    column = {name: table.column(k) for k, name in enumerate(table.schema.names)}
    fids = column.pop(meta["fid_column"] or "OGC_FID").to_numpy()
    wkb = column.pop(meta["geometry_name"] or "wkb_geometry").to_numpy(zero_copy_only=False)
    return fids, wkb, {name: column[name].to_numpy(zero_copy_only=False) for name in columns}, meta["crs"]
