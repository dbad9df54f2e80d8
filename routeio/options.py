"""Everything a reader may be told, in one frozen object."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Selection:
    """Which entities or features to take, and which of their fields say what.

    Parameters
    ----------
    layer : str or tuple of str, optional
        Names or patterns (``*`` and ``?``, case ignored); empty: let the reader guess, as a finding.
    where : str, optional
        An attribute filter in the SQL of OGR (GIS files only; of GeoParquet in that of SQLite, as of GeoPackages).
    fields : mapping of str to str, optional
        Our name to the file's field or attribute name. For ducts: size, type, inside_diameter, friction, count,
        free, length, flooded, id. For vaults: name, kind, rim, invert, splice, feed, pull.
    color : tuple of str, optional
        Of drawings: colours of the index (1 to 255) or true colours (``#rrggbb``), those by layer and by block resolved.
    linetype : tuple of str, optional
        Of drawings: names or patterns of line types, likewise resolved.
    block : tuple of str, optional
        Of drawings: names or patterns of blocks; only their insertions are taken, without a layer from any.
    """

    layer: str | tuple[str, ...] = ()
    where: str | None = None
    fields: Mapping[str, str] = field(default_factory=dict)
    color: str | tuple[str, ...] = ()
    linetype: str | tuple[str, ...] = ()
    block: str | tuple[str, ...] = ()

    @property
    def patterns(self) -> tuple[str, ...]:
        """The layer patterns as a tuple."""
        return _several(self.layer)

    @property
    def colors(self) -> tuple[str, ...]:
        """The colours as a tuple."""
        return _several(self.color)

    @property
    def linetypes(self) -> tuple[str, ...]:
        """The line type patterns as a tuple."""
        return _several(self.linetype)

    @property
    def blocks(self) -> tuple[str, ...]:
        """The block patterns as a tuple."""
        return _several(self.block)

    @property
    def look(self) -> str:
        """Which of color, linetype and block is stated, the first of them; empty where none is."""
        return "color" if self.colors else "linetype" if self.linetypes else "block" if self.blocks else ""


def _several(value: str | tuple[str, ...]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


@dataclass(frozen=True)
class Level:
    """One row of a profile table.

    Parameters
    ----------
    station : float
        Along the route, from vault to vault. [m]
    elevation : float
        Of the duct there; NaN where the row only says where a vault is. [m]
    vault : str, optional
        Tag of the vault at this station; a run of rows begins and ends at one.
    """

    station: float
    elevation: float
    vault: str = ""


@dataclass(frozen=True)
class ProfileTable:
    """Elevations along the route, stated as a table.

    Parameters
    ----------
    name : str
        Of its file, or of the job; for findings.
    runs : tuple of tuple of Level
        Each in order of station, from a vault to a vault.
    sha256 : str, optional
        Of its file.
    dropped : tuple of str, optional
        What was taken for no elevation, in words.
    """

    name: str
    runs: tuple[tuple[Level, ...], ...]
    sha256: str = ""
    dropped: tuple[str, ...] = ()


@dataclass(frozen=True)
class Terrain:
    """The ground as a grid of elevations, under which ducts lie at an even depth.

    Parameters
    ----------
    file : str
        A GeoTIFF.
    cover : float
        From the ground down to the duct. [m]
    units : str, optional
        Of its elevations, where the file does not say: a key of :data:`routeio.ground.UNITS`.
    scatter : float
        Standard deviation of its elevations: how closely the duct follows it. [m]
    """

    file: str
    cover: float
    units: str | None = None
    scatter: float = 0.1


@dataclass(frozen=True)
class ReadOptions:
    """What a reader may be told; None or empty where the file itself is to say.

    Parameters
    ----------
    ducts, vaults : Selection
        What to take as ducts and as vaults.
    units : str, optional
        Horizontal unit of a file that does not say: a key of :data:`routeio.ground.UNITS`.
    elevation_units : str, optional
        Default: the horizontal unit.
    crs : str, optional
        CRS of a file that does not say.
    project_to : str, optional
        CRS to project a geographic layer to; default one chosen from the data, as a finding.
    snap : float
        How far a line end may be from its vault or its neighbour. [m]
    sweep : float, optional
        Centreline radius given to corners drawn sharp; None: such a corner is refused. [m]
    chord_tolerance : float
        How far a curve may lie from the vertices that were drawn for it. [m]
    scatter : float, optional
        Standard deviation of digitised vertices; None: estimated from the data. [m]
    standard_radii : tuple of float
        Radii preferred where the data cannot tell. [m]
    text_reach : float
        How far a text may stand from the vault it names, where no attribute does. [m]
    encoding : str, optional
        Text encoding of a file that does not say or says wrong.
    recover : bool
        Read a damaged drawing as far as it goes (never without a finding).
    profile : ProfileTable, optional
        Elevations stated for the route; they rule over those of the file.
    terrain : Terrain, optional
        The ground, for ducts whose elevations nothing else says.
    """

    ducts: Selection = field(default_factory=Selection)
    vaults: Selection = field(default_factory=Selection)
    units: str | None = None
    elevation_units: str | None = None
    crs: str | None = None
    project_to: str | None = None
    snap: float = 0.3048
    sweep: float | None = None
    chord_tolerance: float = 0.03
    scatter: float | None = None
    standard_radii: tuple[float, ...] = (0.9144, 1.2192, 1.524, 3.048, 3.81, 7.62, 15.24)
    text_reach: float = 3.048
    encoding: str | None = None
    recover: bool = False
    profile: ProfileTable | None = None
    terrain: Terrain | None = None
