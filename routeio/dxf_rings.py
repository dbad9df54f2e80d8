"""Rings: outlines of vaults that were drawn as loose lines and arcs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from routeio import bulges
from routeio.findings import Where
from routeio.rawlines import RawVault

if TYPE_CHECKING:
    from routeio.dxf_shapes import Shape  # with it comes the library of drawings

#: Pieces whose ends are within this of one another close a ring. [m]
CLOSED = 0.005


@dataclass(frozen=True, eq=False)
class Piece:
    """A line on a vault layer.

    Parameters
    ----------
    id, layer, kind : str
        Handle, layer and kind of the entity.
    shape : Shape
        In file units.
    """

    id: str
    layer: str
    kind: str
    shape: Shape


def closed_rings(
    pieces: Sequence[Piece], scale: float, tolerance: float, file: str
) -> tuple[list[RawVault], list[Piece]]:
    """Return the vaults that loose pieces enclose, and the pieces that enclose nothing.

    Parameters
    ----------
    pieces : sequence of Piece
        Open lines of the vault layers.
    scale : float
        Metres in a unit. [m]
    tolerance : float
        For arcs. [file units]
    file : str
        For the record.

    Returns
    -------
    vaults : list of RawVault
        One a ring, its centre the centroid, its id that of a piece of it.
    rest : list of Piece
        In their order.
    """
    if not pieces:
        return [], []
    drawn = []
    for piece in pieces:
        flat, _ = bulges.flattened(piece.shape.points, piece.shape.bulge, tolerance)
        drawn.append(np.round(flat[:, :2] * scale / CLOSED) * CLOSED)
    lines = np.array([shapely.LineString(points) for points in drawn], dtype=object)
    found = [p for p in shapely.get_parts(shapely.polygonize(list(lines))) if p.geom_type == "Polygon"]
    if not found:
        return [], list(pieces)
    rings = np.array(found, dtype=object)
    edges = shapely.get_exterior_ring(rings)
    piece_at, ring_at = shapely.STRtree(edges).query(lines, predicate="covered_by")
    used = dict(zip(piece_at.tolist(), ring_at.tolist(), strict=True))
    first: dict[int, int] = {}
    for number, ring in sorted(used.items()):
        first.setdefault(ring, number)
    vaults = []
    for k, outline in enumerate(found):
        if k not in first:
            continue
        piece = pieces[first[k]]
        centre = outline.centroid
        vaults.append(
            RawVault(
                "", centre.x, centre.y, float("nan"), outline, {},
                Where(file, piece.layer, piece.id, centre.x, centre.y),
            )
        )  # fmt: skip
    return vaults, [p for i, p in enumerate(pieces) if i not in used]
