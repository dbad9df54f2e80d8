"""The grid of a terrain, read in a process of its own: what it is, and its elevations at points.

``python -m routeio.terrain_grid`` takes a request as JSON on standard input and answers as :mod:`routeio.wire` writes.
"""

from __future__ import annotations

import base64
import warnings
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from mechanics.errors import FloatArray
from routeio import wire
from routeio.findings import InputRefusedError, Where
from routeio.worker import serve

try:
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.windows import Window
except ImportError:
    rasterio = None

#: Points looked up in one window of the grid, and the cells such a window may have.
_RUN, _CELLS = 256, 4_000_000


def facts(grid: Any) -> dict[str, Any]:
    """Return what a grid says of itself.

    Parameters
    ----------
    grid : rasterio dataset
        Open.

    Returns
    -------
    dict
        ``crs`` (WKT or None), ``transform`` (six numbers), ``unit`` of its elevations as written, ``bands``, ``kind``.
    """
    return {
        "crs": grid.crs.to_wkt() if grid.crs else None,
        "transform": list(grid.transform)[:6],
        "size": [grid.width, grid.height],
        "unit": (grid.units[0] or "") if grid.units else "",
        "bands": grid.count,
        "kind": grid.dtypes[0],
    }


def heights_at(grid: Any, points: FloatArray) -> FloatArray:
    """Return elevations at points, between the middles of the four cells about each.

    Parameters
    ----------
    grid : rasterio dataset
        Open; its first band is read.
    points : ndarray, shape (n, 2)
        In the grid's own system.

    Returns
    -------
    ndarray, shape (n,)
        In the file's unit; NaN outside the grid and where one of the four cells has none.
    """
    back = ~grid.transform
    column = back.a * points[:, 0] + back.b * points[:, 1] + back.c
    row = back.d * points[:, 0] + back.e * points[:, 1] + back.f
    out = np.full(len(points), np.nan)
    inside = (column >= 0.0) & (column <= grid.width) & (row >= 0.0) & (row <= grid.height)
    which = np.flatnonzero(inside)
    # a cell's number stands for its middle; within half a cell of the edge the outermost cells hold
    column = np.clip(column - 0.5, 0.0, grid.width - 1.0)
    row = np.clip(row - 0.5, 0.0, grid.height - 1.0)
    at = 0
    run = _RUN
    while at < len(which):
        part = which[at : at + run]
        c0, r0 = int(column[part].min()), int(row[part].min())
        wide, tall = int(column[part].max()) - c0 + 2, int(row[part].max()) - r0 + 2
        if wide * tall > _CELLS and run > 1:
            run = max(1, run // 4)
            continue
        wide, tall = min(wide, grid.width - c0), min(tall, grid.height - r0)
        cells = grid.read(1, window=Window(c0, r0, wide, tall), masked=True)
        z = np.ma.filled(cells.astype(np.float64), np.nan) * grid.scales[0] + grid.offsets[0]
        out[part] = _between(z, column[part] - c0, row[part] - r0)
        at += len(part)
        run = _RUN
    return out


def _between(z: FloatArray, column: FloatArray, row: FloatArray) -> FloatArray:
    j, i = column.astype(np.int64), row.astype(np.int64)
    j1, i1 = np.minimum(j + 1, z.shape[1] - 1), np.minimum(i + 1, z.shape[0] - 1)
    u, v = column - j, row - i

    def share(rows: np.ndarray, columns: np.ndarray, part: FloatArray) -> FloatArray:
        # a cell that has no part in it may be blank
        return np.where(part > 0.0, z[rows, columns] * part, 0.0)

    return np.asarray(
        share(i, j, (1 - u) * (1 - v))
        + share(i, j1, u * (1 - v))
        + share(i1, j, (1 - u) * v)
        + share(i1, j1, u * v)
    )


def answer(request: dict[str, Any], stream: BinaryIO) -> None:
    """Answer one request.

    Parameters
    ----------
    request : dict
        ``path``; ``points`` in base 64, or none for the facts alone.
    stream : file
        Binary.
    """
    path = Path(request["path"])
    if rasterio is None:
        refusal = InputRefusedError(
            "reader-missing", "reading a terrain needs the library rasterio, which is not installed",
            Where(file=path.name), 'pip install "tautline[terrain]"',
        )  # fmt: skip
        wire.send_refusal(refusal, stream)
        return
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said by the one who asks
            with rasterio.open(path, driver="GTiff") as grid:
                arrays = {}
                if "points" in request:
                    points = np.frombuffer(base64.b64decode(request["points"]), np.float64).reshape(-1, 2)
                    arrays["z"] = heights_at(grid, points)
                wire.send_arrays("facts", facts(grid), arrays, stream)
    except RasterioError as error:
        told = " ".join(str(error).split())[:200]
        refusal = InputRefusedError(
            "terrain-unreadable",
            f"the grid cannot be read: {told}",
            Where(file=path.name),
            "save it again as GeoTIFF",
        )
        wire.send_refusal(refusal, stream)


if __name__ == "__main__":
    serve(answer)
