"""Raw lines: what every reader gives before cleaning, lines with bulges and vault marks, in metres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from shapely.geometry.base import BaseGeometry

from mechanics.errors import FloatArray
from routeio.findings import Finding, Where
from routeio.survey import DuctFields, Ground


@dataclass(frozen=True, eq=False)
class RawLine:
    """A line as drawn: vertices, and a bulge for each leg between two of them.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        Vertices; z is NaN where the file gives none. [m]
    bulge : ndarray, shape (k - 1,)
        Tangent of a quarter of the leg's turn in plan, left positive; 0 for a straight leg.
    ids : tuple of str, length k - 1
        Handle or feature id each leg came from.
    drawn : bool
        True where arcs are drawn as arcs (CAD), so that vertices joined by straight legs are exact or digitised,
        for the shape step to tell; False where the format knows no arcs (GIS) and every curve is vertices.
    fields : DuctFields
        Attributes of the line.
    where : Where
        File, layer, handle.
    """

    points: FloatArray
    bulge: FloatArray
    ids: tuple[str, ...]
    drawn: bool
    fields: DuctFields = field(default_factory=DuctFields)
    where: Where = field(default_factory=Where)


@dataclass(frozen=True)
class RawVault:
    """A vault as drawn, before anything is snapped to it.

    Parameters
    ----------
    tag : str
        May be empty or repeated; cleaning settles that.
    x, y, z : float
        Centre or insertion point; z is NaN where the file gives none. [m]
    footprint : shapely geometry or None
        Outline in plan. [m]
    fields : mapping of str to str
        Attributes as read, keys in our names where mapped (name, kind, rim, invert, splice, feed, pull; rim and
        invert still in file units as text), the file's own names otherwise.
    where : Where
        File, layer, handle or id.
    """

    tag: str
    x: float
    y: float
    z: float
    footprint: BaseGeometry | None = None
    fields: Mapping[str, str] = field(default_factory=dict)
    where: Where = field(default_factory=Where)


@dataclass(frozen=True)
class RawSurvey:
    """Everything one reader found in a file, in metres, nothing repaired yet.

    Parameters
    ----------
    lines : sequence of RawLine
        Of the duct layers: a tuple, or :class:`routeio.rawcolumns.RawColumns`.
    vaults : tuple of RawVault
        Of the vault layers.
    ground : Ground
        Units and CRS.
    findings : tuple of Finding
        So far.
    counts, layers : mapping
        As in :class:`routeio.survey.Survey`.
    """

    lines: Sequence[RawLine]
    vaults: tuple[RawVault, ...]
    ground: Ground
    findings: tuple[Finding, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)
    layers: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
