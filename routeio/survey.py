"""The survey: the one neutral form every reader gives, ducts and vaults in metres, with findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from shapely.geometry.base import BaseGeometry

from mechanics.chain import Chain
from mechanics.errors import FloatArray
from routeio.findings import Finding, Where

How = Literal["drawn", "fitted", "swept", "stated"]
ElevationFrom = Literal["", "line", "alignment", "schedule", "inverts", "profile", "terrain"]


@dataclass(frozen=True)
class Origin:
    """Where a segment of a duct came from.

    Parameters
    ----------
    id : str
        Handle or feature id.
    how : {"drawn", "fitted", "swept", "stated"}
        As drawn; fitted to vertices; a sharp corner given a sweep; stated in a table.
    sigma_turn : float, optional
        Standard deviation of the turn, where fitted. [rad]
    sigma_radius : float, optional
        Standard deviation of the radius, where fitted. [m]
    """

    id: str
    how: How
    sigma_turn: float | None = None
    sigma_radius: float | None = None


@dataclass(frozen=True)
class DuctFields:
    """What a duct's own attributes say; None where they say nothing and the job's values hold.

    Parameters
    ----------
    size, type : str, optional
        Trade size and type as written in the file.
    inside_diameter : float, optional
        [m]
    friction : float, optional
        Lubricated friction coefficient.
    count, free : int, optional
        Ducts in the bank, and how many of them are free.
    recorded_length : float, optional
        Length on record. [m]
    flooded : bool, optional
        Whether it stands full of water.
    """

    size: str | None = None
    type: str | None = None
    inside_diameter: float | None = None
    friction: float | None = None
    count: int | None = None
    free: int | None = None
    recorded_length: float | None = None
    flooded: bool | None = None


@dataclass(frozen=True)
class DuctPart:
    """Part of a duct that was drawn as a piece of its own, with attributes or a layer of its own.

    Parameters
    ----------
    stop : int
        Segment at which it ends; it starts where the part before it ends.
    fields : DuctFields
        Attributes.
    where : Where
        File, layer, handle.
    """

    stop: int
    fields: DuctFields
    where: Where


@dataclass(frozen=True, eq=False)
class Duct:
    """A duct between two vaults (or from a vault to a loose end): a chain with its place on the map.

    Parameters
    ----------
    id : str
        Unique in the survey.
    chain : Chain
        From start to end.
    start : tuple of 3 floats
        x, y, z of the start; z is 0 where ``elevated`` is False. [m]
    heading : float
        At the start, from the x axis, anticlockwise. [rad]
    end : tuple of 3 floats
        Where the drawing says it ends (the chain's own end lies within tolerance of it). [m]
    start_vault, end_vault : str or None
        Tags; None for a loose end.
    origins : tuple of Origin
        One a segment.
    elevated : bool
        Whether elevations are known.
    fields : DuctFields
        Attributes.
    vertices : ndarray, shape (k, 3)
        The raw vertices it was made from (NaN z where none). [m]
    where : Where
        File, layer, first handle.
    parts : tuple of DuctPart
        Where pieces of different attributes or layers were joined with no vault between them: each of them, in
        order; empty where ``fields`` and ``where`` hold for all.
    elevation_from : {"", "line", "alignment", "schedule", "inverts", "profile", "terrain"}
        What its elevations were taken from: z on the line, an alignment's own profile, the rows of a bend schedule,
        inverts at its vaults, a profile table, a terrain; empty where none are known.
    """

    id: str
    chain: Chain
    start: tuple[float, float, float]
    heading: float
    end: tuple[float, float, float]
    start_vault: str | None
    end_vault: str | None
    origins: tuple[Origin, ...]
    elevated: bool = False
    fields: DuctFields = field(default_factory=DuctFields)
    vertices: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    where: Where = field(default_factory=Where)
    parts: tuple[DuctPart, ...] = ()
    elevation_from: ElevationFrom = ""

    @property
    def layers(self) -> frozenset[str]:
        """The layers it is drawn on: those of its parts, where it has any."""
        return frozenset(part.where.layer for part in self.parts or (self,))

    def at(self, segment: int) -> Duct:
        """Return the duct with the attributes and the layer that hold on one of its segments.

        Parameters
        ----------
        segment : int
            Index into the chain.

        Returns
        -------
        Duct
            Itself where it has no parts.
        """
        for part in self.parts:
            if segment < part.stop:
                return replace(self, fields=part.fields, where=part.where)
        return self


@dataclass(frozen=True)
class Vault:
    """Where a person can reach the cable.

    Parameters
    ----------
    tag : str
        Unique in the survey; ``V@<id>`` where the file gives none.
    x, y : float
        Centre. [m]
    z : float or None
        Elevation of the duct mouths: the invert where given, else None. [m]
    kind : str
        As written in the file (its type attribute), may be empty.
    rim, invert : float or None
        [m]
    footprint : shapely geometry or None
        Outline in plan. [m]
    splice, feed, pull : bool
        Whether splicing, feeding in, pulling out is allowed there.
    where : Where
        File, layer, handle.
    fields : mapping
        All attributes as read.
    proposed : bool
        Whether it does not stand yet, and is asked for.
    why : str
        Why one that is proposed is to stand there, in words.
    """

    tag: str
    x: float
    y: float
    z: float | None = None
    kind: str = ""
    rim: float | None = None
    invert: float | None = None
    footprint: BaseGeometry | None = None
    splice: bool = True
    feed: bool = True
    pull: bool = True
    where: Where = field(default_factory=Where)
    fields: Mapping[str, str] = field(default_factory=dict)
    proposed: bool = False
    why: str = ""


@dataclass(frozen=True)
class Ground:
    """What the coordinates of the file are.

    Parameters
    ----------
    metres_per_unit : float
        Multiply file coordinates by this to get the survey's metres.
    unit : str
        The file's horizontal unit, such as ``us_survey_foot``.
    crs : str or None
        Authority code or WKT of the CRS the survey's coordinates are in once divided by ``metres_per_unit``.
    crs_of_file : str or None
        Where the reader had to project, the file's own CRS.
    metres_per_elevation : float or None
        Metres in the unit of the file's elevations; None where it is the horizontal unit.
    """

    metres_per_unit: float
    unit: str
    crs: str | None = None
    crs_of_file: str | None = None
    metres_per_elevation: float | None = None


@dataclass(frozen=True)
class Survey:
    """Everything a reader found. Coordinates, lengths and elevations are in metres.

    Parameters
    ----------
    file : str
        Path as given.
    sha256 : str
        Of the file read.
    ground : Ground
        Units and CRS.
    ducts : tuple of Duct
        Split at vaults, each between two neighbouring vaults or with a loose end.
    vaults : tuple of Vault
        All of them, also those no duct meets.
    findings : tuple of Finding
        In the order of the file.
    counts : mapping of str to int
        Entities read and skipped, by kind, such as ``read LWPOLYLINE``.
    layers : mapping of str to mapping of str to int
        What is on each layer of the file: kind to count, used or not.
    """

    file: str
    sha256: str
    ground: Ground
    ducts: tuple[Duct, ...]
    vaults: tuple[Vault, ...]
    findings: tuple[Finding, ...]
    counts: Mapping[str, int] = field(default_factory=dict)
    layers: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
