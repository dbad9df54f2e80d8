"""What a layer says of itself, and what it holds, as plain arrays, whatever the format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

#: Kinds of geometry by the library's number of each plus one; none at all is the first.
KINDS = (
    "None", "Point", "LineString", "LinearRing", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon",
    "GeometryCollection",
)  # fmt: skip
#: Those that may be ducts, and those that may be vaults.
LINES = frozenset({"LineString", "MultiLineString", "LinearRing"})
MARKS = frozenset({"Point", "MultiPoint", "Polygon", "MultiPolygon"})


@dataclass(frozen=True, eq=False)
class Facts:
    """What a layer says of itself.

    Parameters
    ----------
    fields : tuple of str
        Names.
    kind : str
        Geometry type, ``Unknown`` where mixed.
    features : int
        -1 where not counted.
    crs : str or None
        Authority code or WKT.
    driver : str, optional
        As the library calls it.
    dtypes : mapping of str to str, optional
        Type of each field as numpy names it.
    """

    fields: tuple[str, ...]
    kind: str
    features: int
    crs: str | None
    driver: str = ""
    dtypes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class PlainLines:
    """Features that are one line each, without a geometry made of any.

    Parameters
    ----------
    kind : ndarray of int, shape (n,)
        The library's number of each feature's type; -1 for a feature that is not among them.
    size : ndarray of int, shape (n,)
        Vertices; 0 for a feature that is not among them.
    coordinates : ndarray, shape (v, 3)
        Of one line after another; z is NaN where there is none.
    """

    kind: np.ndarray
    size: np.ndarray
    coordinates: np.ndarray


@dataclass(frozen=True, eq=False)
class Features:
    """Features of a layer as arrays.

    Parameters
    ----------
    fids : ndarray of int, shape (n,)
        Feature ids.
    geometry : ndarray of shapely geometries, shape (n,)
        None where there is none, it cannot be read, or it is plain.
    broken : ndarray of bool, shape (n,)
        Where there is one that cannot be read.
    columns : mapping of str to ndarray
        Field values, shape (n,).
    crs : str or None
        Authority code or WKT.
    warned : tuple of str
        What the library had to say while reading.
    plain : PlainLines or None, optional
        Features that have coordinates in place of a geometry.
    """

    fids: np.ndarray
    geometry: np.ndarray
    broken: np.ndarray
    columns: Mapping[str, np.ndarray]
    crs: str | None
    warned: tuple[str, ...] = ()
    plain: PlainLines | None = None
