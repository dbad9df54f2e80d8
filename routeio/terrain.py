"""Terrain: the ground's elevation along ducts, from a grid in a coordinate system of its own."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj

from mechanics.errors import FloatArray
from routeio import wire
from routeio.crs import horizontal
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.ground import UNITS, unit_named
from routeio.heights import means_none
from routeio.isolation import answered
from routeio.limits import Limits
from routeio.options import Terrain
from routeio.survey import Ground

#: Elevations are taken no nearer together than this, and no more of them for one duct. [m]
_STEP, _MOST = 2.0, 1000
#: Hills smaller than the cells of a grid are not seen; from this size on that is said. [m]
_COARSE = 10.0
_TIFF = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
_UNKNOWN = "say what its elevations are in with terrain units"


@dataclass(frozen=True, eq=False)
class Grid:
    """A grid, looked into and ready to be asked.

    Parameters
    ----------
    file : Path
        The GeoTIFF.
    sha256 : str
        Of the file.
    there : pyproj.Transformer
        From the survey's system to the grid's.
    metres_per_unit : float
        Of the survey's system. [m]
    metres_per_elevation : float
        Of the grid's elevations. [m]
    cell : float
        Size of its cells. [m]
    findings : tuple of Finding
        About the grid itself.
    """

    file: Path
    sha256: str
    there: pyproj.Transformer
    metres_per_unit: float
    metres_per_elevation: float
    cell: float
    findings: tuple[Finding, ...]

    def stations(self, length: float) -> FloatArray:
        """Return where along a duct elevations are taken, shape (k,). [m]

        Parameters
        ----------
        length : float
            Of the duct in plan. [m]

        Returns
        -------
        ndarray, shape (k,)
            From 0 to its length, about a cell apart. [m]
        """
        step = max(self.cell, _STEP, length / _MOST)
        return np.linspace(0.0, length, max(2, math.ceil(length / step) + 1))

    def ground_at(self, points: FloatArray) -> FloatArray:
        """Return the elevation of the ground, NaN where the grid has none.

        Parameters
        ----------
        points : ndarray, shape (n, 2)
            In the survey's metres.

        Returns
        -------
        ndarray, shape (n,)
            [m]

        Raises
        ------
        InputRefusedError
            ``terrain-unreadable``, or that of a reader that was stopped.
        """
        x, y = self.there.transform(
            points[:, 0] / self.metres_per_unit, points[:, 1] / self.metres_per_unit, errcheck=False
        )
        told = np.stack((x, y), axis=-1)
        told = np.where(np.isfinite(told), told, np.inf)
        _, arrays = _asked(self.file, told)
        z = np.array(arrays["z"]) * self.metres_per_elevation
        z[means_none(z)] = np.nan
        return z


def opened(terrain: Terrain, ground: Ground, middle: tuple[float, float]) -> Grid:
    """Look into a grid and decide how it lies to the survey.

    Parameters
    ----------
    terrain : Terrain
        As stated.
    ground : Ground
        Of the survey.
    middle : tuple of 2 floats
        A place in the midst of the survey. [m]

    Returns
    -------
    Grid
        Ready.

    Raises
    ------
    InputRefusedError
        ``no-file``, ``wrong-format``, ``reader-missing``, ``terrain-unreadable``, ``terrain-no-crs``,
        ``terrain-no-place``, ``terrain-no-units``, ``terrain-bands``, ``unknown-unit``.
    """
    file = Path(terrain.file)
    where = Where(file=file.name)
    digest = _checked(file, where)
    if ground.crs is None:
        raise InputRefusedError(
            "terrain-no-place", "where the route lies on the earth is not known, and so not where on the terrain", where,
            'state crs of the route, such as "EPSG:2287"',
        )  # fmt: skip
    said, _ = _asked(file, None)
    if said["bands"] != 1:
        raise InputRefusedError(
            "terrain-bands", f"the grid has {said['bands']} bands of {said['kind']}; elevations are one band", where,
            "export the elevations alone",
        )  # fmt: skip
    if said["crs"] is None:
        raise InputRefusedError(
            "terrain-no-crs", "the grid does not say its coordinate reference system", where,
            "assign it in the program that made the grid, and save it as GeoTIFF",
        )  # fmt: skip
    crs = pyproj.CRS.from_wkt(said["crs"])
    flat, vertical = horizontal(crs)
    metres, findings = _elevations_in(terrain, vertical, said["unit"], where)
    there = pyproj.Transformer.from_crs(pyproj.CRS.from_user_input(ground.crs), flat, always_xy=True)
    scale = ground.metres_per_unit
    place = np.array(there.transform(middle[0] / scale, middle[1] / scale, errcheck=False))
    cell = _cell(there, place, said["transform"], scale)
    if not math.isfinite(cell):
        raise InputRefusedError(
            "terrain-no-place", "the route does not lie where the grid's coordinate reference system is made for",
            where, "use a grid of the route's own region",
        )  # fmt: skip
    if cell > _COARSE:
        findings.append(
            Finding(
                "terrain-coarse", "warning",
                f"the grid's cells are {span_text(cell)} wide: hills and cuts smaller than that are not seen", where,
                "use a finer grid, or give inverts or a profile",
            )
        )  # fmt: skip
    return Grid(file, digest, there, scale, metres, cell, tuple(findings))


def filled(
    station: FloatArray, z: FloatArray, what: str, where: Where
) -> tuple[FloatArray | None, list[Finding]]:
    """Return elevations with gaps between others closed by an even grade; None where an end has none.

    Parameters
    ----------
    station : ndarray, shape (k,)
        [m]
    z : ndarray, shape (k,)
        NaN where there is none. [m]
    what : str
        Name of the grid.
    where : Where
        Of the line.

    Returns
    -------
    z : ndarray or None
        All known.
    findings : list of Finding
        ``terrain-gap``, ``terrain-missing``.
    """
    known = np.isfinite(z)
    if known.all():
        return z, []
    if not (known[0] and known[-1]):
        share = 100.0 * float((~known).mean())
        return None, [
            Finding(
                "terrain-missing", "warning",
                f"{what} has no elevation under {share:.0f} % of the duct, an end of it among that: not used for it",
                where, "use a grid that covers the route, or give inverts",
            )
        ]  # fmt: skip
    widest = float(np.diff(station[known]).max())
    return np.interp(station, station[known], z[known]), [
        Finding(
            "terrain-gap", "warning",
            f"{what} has gaps under the duct, the widest {span_text(widest)}: bridged by an even grade", where,
            "use a grid without gaps there, or give a profile",
        )
    ]  # fmt: skip


def _checked(file: Path, where: Where) -> str:
    """Return the file's digest, or refuse what is no GeoTIFF or cannot be read here."""
    try:
        with file.open("rb") as stream:
            first = stream.read(4)
            stream.seek(0)
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise InputRefusedError(
            "no-file",
            f"cannot read {file}: {error.strerror or error}",
            where,
            "check the name of the terrain",
        ) from error
    if first not in _TIFF:
        raise InputRefusedError(
            "wrong-format", "by its first bytes it is no TIFF", where, "export the terrain as GeoTIFF"
        )
    return digest


def _asked(file: Path, points: FloatArray | None) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    request = {}
    if points is not None:
        told = np.ascontiguousarray(points, dtype=np.float64).tobytes()
        request["points"] = base64.b64encode(told).decode("ascii")
    values, arrays = wire.received_arrays(answered(["routeio.terrain_grid"], request, file, Limits()))
    said: dict[str, Any] = values["facts"]
    return said, arrays


def _elevations_in(
    terrain: Terrain, said: str | None, written: str, where: Where
) -> tuple[float, list[Finding]]:
    """Return the metres in the unit of a grid's elevations: as stated, else as the file says."""
    if said is None and written:
        said = unit_named(written, "the unit of the grid's elevations", where)
    if terrain.units is None and said is None:
        raise InputRefusedError(
            "terrain-no-units", "the grid does not say what its elevations are in, and a unit is never guessed", where,
            _UNKNOWN,
        )  # fmt: skip
    if terrain.units is None:
        return UNITS[str(said)], []
    stated = unit_named(terrain.units, "terrain units", where)
    if said is None or said == stated:
        return UNITS[stated], []
    text = f"the grid says its elevations are in {said}, and the user {stated}: {stated} is used"
    return UNITS[stated], [Finding("units-overridden", "warning", text, where, _UNKNOWN)]


def _cell(there: pyproj.Transformer, place: FloatArray, transform: Sequence[float], scale: float) -> float:
    """Return the size of a grid's cells in the survey's metres."""
    a, b, _, d, e, _ = transform
    corners = place + np.array([(0.0, 0.0), (a, d), (b, e)])
    x, y = there.transform(corners[:, 0], corners[:, 1], direction="INVERSE", errcheck=False)
    back = np.stack((x, y), axis=-1) * scale
    return float(np.hypot(*(back[1:] - back[0]).T).max())
