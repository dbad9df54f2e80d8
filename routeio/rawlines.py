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
class StatedSpan:
    """A duct written down segment by segment between two vaults named: a bend schedule.

    Parameters
    ----------
    from_vault, to_vault : str
        Tags.
    length, grade_in, grade_out, turn : tuple of float
        Of each segment, as in :class:`mechanics.chain.Chain`. [m, rad]
    ids : tuple of str
        Row each segment was written in.
    fields : tuple of (int, DuctFields)
        Attributes, each with the segment before which they end; one where the whole span has the same.
    start : tuple of 3 floats
        Where it is placed. [m]
    heading : float
        At the start. [rad]
    elevated : bool
        Whether it says anything of rises and falls.
    where : Where
        File, sheet and first row.
    """

    from_vault: str
    to_vault: str
    length: tuple[float, ...]
    grade_in: tuple[float, ...]
    grade_out: tuple[float, ...]
    turn: tuple[float, ...]
    ids: tuple[str, ...]
    fields: tuple[tuple[int, DuctFields], ...]
    start: tuple[float, float, float]
    heading: float
    elevated: bool
    where: Where = field(default_factory=Where)


@dataclass(frozen=True)
class StatedProfile:
    """Elevations along a line as stated: straight grades and vertical curves, nothing to fit.

    Parameters
    ----------
    station : tuple of float, length k
        Distance in plan from the line's start to where each grade or curve begins, and to the end. [m]
    z : tuple of float, length k
        Elevation there. [m]
    turn : tuple of float, length k - 1
        Change of grade between each and the next, upward positive; 0 for a straight grade. [rad]
    where : Where
        File, line.
    """

    station: tuple[float, ...]
    z: tuple[float, ...]
    turn: tuple[float, ...]
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
    spans : tuple of StatedSpan
        Where ducts are written down and not drawn, in place of lines.
    profiles : mapping of str to StatedProfile
        Of lines that have one, by the id of their place.
    """

    lines: Sequence[RawLine]
    vaults: tuple[RawVault, ...]
    ground: Ground
    findings: tuple[Finding, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)
    layers: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    spans: tuple[StatedSpan, ...] = ()
    profiles: Mapping[str, StatedProfile] = field(default_factory=dict)
