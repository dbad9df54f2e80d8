"""Features taken apart: their coordinates part by part, from plain lines and from geometries alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from routeio.layer_facts import Features


@dataclass(frozen=True, eq=False)
class Parts:
    """Some features of a layer, taken apart.

    Parameters
    ----------
    rows : ndarray of int, shape (r,)
        Which features.
    shapes : ndarray of shapely geometries, shape (p,)
        The parts; empty where there are plain lines among them.
    owner : ndarray of int, shape (p,)
        Which of the rows each part is of.
    coordinates : ndarray, shape (v, 3)
        Of one part after another; z is NaN where there is none.
    sizes : ndarray of int, shape (p,)
        How many of them each part has.
    """

    rows: np.ndarray
    shapes: np.ndarray
    owner: np.ndarray
    coordinates: np.ndarray
    sizes: np.ndarray

    def row_at(self, place: int) -> int:
        """Return the feature that a coordinate is of.

        Parameters
        ----------
        place : int
            Which coordinate.

        Returns
        -------
        int
            Its row in the layer.
        """
        part = np.searchsorted(np.cumsum(self.sizes), place, side="right")
        return int(self.rows[self.owner[part]])


def kinds_of(found: Features) -> np.ndarray:
    """Return the library's number of each feature's type.

    Parameters
    ----------
    found : Features
        A layer.

    Returns
    -------
    ndarray of int, shape (n,)
        -1 where there is no geometry.
    """
    kinds: np.ndarray = shapely.get_type_id(found.geometry)
    return kinds if found.plain is None else np.maximum(kinds, found.plain.kind)


def parts_of(found: Features, rows: np.ndarray) -> Parts:
    """Take features apart.

    Parameters
    ----------
    found : Features
        A layer.
    rows : ndarray of int, shape (r,)
        Which of them, in rising order.

    Returns
    -------
    Parts
        In the order of the rows.
    """
    plain = found.plain
    if plain is None or not (plain.kind[rows] >= 0).any():
        return _apart(found.geometry[rows], rows)
    lines = plain.kind >= 0
    chosen = np.zeros(lines.size, dtype=bool)
    chosen[rows] = True
    coordinates = plain.coordinates
    if not chosen[lines].all():
        coordinates = coordinates[np.repeat(chosen[lines], plain.size[lines])]
    if lines[rows].all():
        return Parts(rows, np.zeros(0, object), np.arange(rows.size), coordinates, plain.size[rows])
    ours = np.flatnonzero(lines[rows])
    others = np.flatnonzero(~lines[rows])
    rest = _apart(found.geometry[rows[others]], rows)
    # both in order of the rows they are of, so that each part, and each coordinate, has its place
    owner = np.concatenate((ours, others[rest.owner]))
    order = np.argsort(owner, kind="stable")
    sizes = np.concatenate((plain.size[rows[ours]], rest.sizes))
    from_rest = np.repeat(order >= ours.size, sizes[order])
    every = np.empty((from_rest.size, 3))
    every[from_rest] = rest.coordinates
    every[~from_rest] = coordinates
    return Parts(rows, np.zeros(0, object), owner[order], every, sizes[order])


def _apart(geometry: np.ndarray, rows: np.ndarray) -> Parts:
    shapes, owner = geometry, np.arange(geometry.size)
    if (shapely.get_type_id(geometry) > 3).any():
        shapes, owner = shapely.get_parts(geometry, return_index=True)
    coordinates, part = shapely.get_coordinates(shapes, include_z=True, return_index=True)
    return Parts(rows, shapes, owner, coordinates, np.bincount(part, minlength=owner.size))
