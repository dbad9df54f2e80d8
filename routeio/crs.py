"""Coordinate reference systems: which one a file is in, and where lengths may be measured."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.enums import WktVersion
from pyproj.exceptions import CRSError, ProjError

from mechanics.errors import FloatArray
from routeio.findings import Finding, InputRefusedError, Where
from routeio.ground import UNITS, check_in_reach, unit_named, unit_of_factor
from routeio.options import ReadOptions
from routeio.survey import Ground

#: Maps whose lengths are off by more than this where the data lies are not measured in.
WORST_SCALE = 0.005
#: From here on the map's scale is worth saying.
NOTED_SCALE = 0.001


@dataclass(frozen=True, eq=False)
class Placing:
    """How a layer's coordinates become metres.

    Parameters
    ----------
    ground : Ground
        Of the survey.
    transformer : pyproj.Transformer or None
        To the survey's CRS, where the file's own cannot be measured in.
    findings : tuple of Finding
        What was chosen and why.
    """

    ground: Ground
    transformer: pyproj.Transformer | None
    findings: tuple[Finding, ...]

    def metres(self, points: FloatArray, where: Where, *, spare: bool = False) -> FloatArray:
        """Return coordinates in the survey's metres.

        Parameters
        ----------
        points : ndarray, shape (n, 3)
            In the file's units, easting or longitude first; NaN z stays.
        where : Where
            For the refusal.
        spare : bool, optional
            Whether ``points`` may be overwritten with what is returned.

        Returns
        -------
        ndarray, shape (n, 3)
            [m]

        Raises
        ------
        InputRefusedError
            ``cannot-project``, ``bad-number``.
        """
        out = np.array(points, dtype=np.float64, copy=None if spare else True)
        if self.transformer is not None and out.shape[0]:
            try:
                x, y = self.transformer.transform(out[:, 0], out[:, 1], errcheck=False)
            except ProjError as error:
                raise InputRefusedError(
                    "cannot-project",
                    f"the coordinates cannot be projected: {error}",
                    where,
                    "state project_to",
                ) from error
            out[:, 0], out[:, 1] = x, y
        in_plan = self.ground.metres_per_unit
        in_height = self.ground.metres_per_elevation or in_plan
        if in_plan != 1.0:
            out[:, :2] *= in_plan
        if in_height != 1.0:
            out[:, 2] *= in_height
        check_in_reach(out[:, :2], 1.0, where)
        return out


def parsed(text: str, key: str, where: Where) -> pyproj.CRS:
    """Return a CRS from an authority code or WKT.

    Parameters
    ----------
    text : str
        Such as ``EPSG:2263``.
    key : str
        What the caller calls it.
    where : Where
        For the refusal.

    Returns
    -------
    pyproj.CRS
        That CRS.

    Raises
    ------
    InputRefusedError
        ``unknown-crs``.
    """
    try:
        return pyproj.CRS.from_user_input(text)
    except CRSError as error:
        raise InputRefusedError(
            "unknown-crs",
            f"{key} {text[:80]!r} is no known coordinate reference system",
            where,
            'give an authority code such as "EPSG:2263", or WKT',
        ) from error


def name_of(crs: pyproj.CRS) -> str:
    """Return a CRS's authority code, or its WKT where it has none.

    Parameters
    ----------
    crs : pyproj.CRS
        Any.

    Returns
    -------
    str
        Such as ``EPSG:32632``.
    """
    code = crs.to_authority(min_confidence=100)
    return f"{code[0]}:{code[1]}" if code else crs.to_wkt(WktVersion.WKT2_2019)


def unit_of(crs: pyproj.CRS) -> tuple[str, float]:
    """Return the name and the exact size of a projected CRS's unit.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected.

    Returns
    -------
    name : str
        A key of :data:`routeio.ground.UNITS` where it is one of them, else the CRS's own word.
    metres : float
        In one unit. [m]
    """
    axis = crs.axis_info[0]
    name = unit_of_factor(float(axis.unit_conversion_factor))
    return (name, UNITS[name]) if name else (str(axis.unit_name), float(axis.unit_conversion_factor))


def of_drawing(crs: str | None, unit: str, where: Where) -> str | None:
    """Return the CRS a user states for a drawing, having checked its unit against the drawing's.

    Parameters
    ----------
    crs : str or None
        As stated.
    unit : str
        The drawing's.
    where : Where
        For refusals.

    Returns
    -------
    str or None
        Authority code or WKT.

    Raises
    ------
    InputRefusedError
        ``unknown-crs``, ``crs-unit-differs``, ``crs-not-plane``.
    """
    if crs is None:
        return None
    parsed_crs = horizontal(parsed(crs, "crs", where))[0]
    if not parsed_crs.is_projected:
        raise InputRefusedError(
            "crs-not-plane",
            f"a drawing in {unit} cannot be in {parsed_crs.name!r}, which is not a projected system",
            where,
            "name the projected system the drawing was made in, or leave crs out",
        )
    name, _ = unit_of(parsed_crs)
    if name != unit:
        raise InputRefusedError(
            "crs-unit-differs",
            f"the drawing is in {unit} and {name_of(parsed_crs)} ({parsed_crs.name}) is in {name}",
            where,
            f'state units = "{name}" if that is what the drawing is in, or the right crs',
        )
    return name_of(parsed_crs)


def placing(
    file_crs: str | None, options: ReadOptions, low: FloatArray, high: FloatArray, where: Where
) -> Placing:
    """Decide what a layer's coordinates are and in which CRS the survey is.

    Parameters
    ----------
    file_crs : str or None
        What the file says.
    options : ReadOptions
        ``crs``, ``units``, ``elevation_units``, ``project_to``.
    low, high : ndarray, shape (2,)
        Corners of the data. [file units]
    where : Where
        File and layer.

    Returns
    -------
    Placing
        With findings.

    Raises
    ------
    InputRefusedError
        No CRS, an unknown one, numbers that are no degrees, units that contradict the CRS.
    """
    findings: list[Finding] = []
    crs = _stated(file_crs, options, where, findings)
    if crs is None:
        return _without_crs(options, low, high, where)
    crs, vertical_unit = horizontal(crs)
    elevation = (
        unit_named(options.elevation_units, "elevation_units") if options.elevation_units else vertical_unit
    )
    if crs.is_geocentric or not (crs.is_geographic or crs.is_projected):
        raise InputRefusedError(
            "crs-not-plane", f"{crs.name!r} has no plan to measure in", where, "export in a projected system"
        )
    if crs.is_geographic:
        _refuse_beyond_degrees(crs, low, high, where)
        if options.units:
            raise InputRefusedError(
                "units-contradict",
                f"units says {options.units!r} and {name_of(crs)} is in degrees",
                where,
                "leave units out, or state the crs the numbers are in",
            )
    else:
        name, metres = unit_of(crs)
        if options.units and unit_named(options.units) != name:
            raise InputRefusedError(
                "units-contradict",
                f"units says {options.units!r} and {name_of(crs)} ({crs.name}) is in {name}",
                where,
                "leave units out: a CRS says its own",
            )
    where_on_earth = _longitude_latitude(crs, 0.5 * (low + high))
    findings += _outside_its_area(crs, where_on_earth, where)
    scale = _scale_at(crs, where_on_earth) if crs.is_projected else None
    distorts = scale is None or abs(scale - 1.0) > WORST_SCALE
    if options.project_to:
        return _reprojected(
            crs,
            parsed(options.project_to, "project_to", where),
            "as stated",
            elevation,
            where,
            where_on_earth,
            findings,
        )
    if distorts:
        why = (
            "lengths cannot be measured in degrees"
            if scale is None
            else f"lengths in {crs.name!r} are {scale:.4g} times too long here"
        )
        return _reprojected(
            crs, _local(where_on_earth, where), why, elevation, where, where_on_earth, findings
        )
    if scale is not None and abs(scale - 1.0) > NOTED_SCALE:
        findings.append(_scale_finding(crs, scale, where))
    ground = Ground(metres, name, name_of(crs), None, UNITS[elevation] if elevation else None)
    return Placing(ground, None, tuple(findings))


def must_project(crs: pyproj.CRS, low: FloatArray, high: FloatArray) -> bool:
    """Return whether lengths cannot be measured in a system where the data lies.

    Parameters
    ----------
    crs : pyproj.CRS
        Of two axes.
    low, high : ndarray, shape (2,)
        Corners of the data. [file units]

    Returns
    -------
    bool
        For degrees, and for maps whose lengths are more than half a percent off there.
    """
    if not crs.is_projected:
        return True
    return abs(_scale_at(crs, _longitude_latitude(crs, 0.5 * (low + high))) - 1.0) > WORST_SCALE


def _stated(
    file_crs: str | None, options: ReadOptions, where: Where, findings: list[Finding]
) -> pyproj.CRS | None:
    own = parsed(file_crs, "the file's CRS", where) if file_crs else None
    if own is not None and own.is_engineering:
        own = None  # "undefined Cartesian" and the like: no place on the earth
    if not options.crs:
        return own
    named = parsed(options.crs, "crs", where)
    if own is not None and not own.equals(named, ignore_axis_order=True):
        findings.append(
            Finding(
                "crs-overridden",
                "warning",
                f"the file says {name_of(own)[:60]} ({own.name}); {name_of(named)[:60]} ({named.name}) is used, "
                "as stated",
                where,
                "correct the file's CRS, or leave crs out",
            )
        )
    return named


def _without_crs(options: ReadOptions, low: FloatArray, high: FloatArray, where: Where) -> Placing:
    if not options.units:
        hint = (
            "; the numbers would fit degrees"
            if (np.abs([low[0], high[0]]) <= 180.0).all() and (np.abs([low[1], high[1]]) <= 90.0).all()
            else ""
        )
        raise InputRefusedError(
            "no-crs",
            f"the layer does not say its coordinate reference system{hint}",
            where,
            'state crs, such as "EPSG:2263", or units if the numbers are a plane of their own',
        )
    unit = unit_named(options.units)
    elevation = unit_named(options.elevation_units, "elevation_units") if options.elevation_units else unit
    return Placing(
        Ground(UNITS[unit], unit, None, None, UNITS[elevation]),
        None,
        (
            Finding(
                "no-crs",
                "warning",
                f"the layer does not say its coordinate reference system; a plane in {unit} is taken, as stated",
                where,
                "state crs to have the results on the map",
            ),
        ),
    )


def horizontal(crs: pyproj.CRS) -> tuple[pyproj.CRS, str | None]:
    """Return the horizontal part of a CRS, and the unit of its heights where it says one.

    Parameters
    ----------
    crs : pyproj.CRS
        Any.

    Returns
    -------
    pyproj.CRS
        Of two axes.
    str or None
        A key of :data:`routeio.ground.UNITS`.
    """
    vertical: str | None = None
    while True:
        if crs.is_bound and crs.source_crs is not None:
            crs = crs.source_crs
        elif crs.is_compound:
            plan, *heights = crs.sub_crs_list
            if heights and heights[0].axis_info:
                vertical = unit_of_factor(float(heights[0].axis_info[0].unit_conversion_factor))
            crs = plan
        else:
            break
    if len(crs.axis_info) == 3:
        vertical = vertical or unit_of_factor(float(crs.axis_info[2].unit_conversion_factor))
        crs = crs.to_2d()
    return crs, vertical


def _refuse_beyond_degrees(crs: pyproj.CRS, low: FloatArray, high: FloatArray, where: Where) -> None:
    # some systems count longitude to 360
    if low[0] < -360.0 or high[0] > 360.0 or low[1] < -90.0 or high[1] > 90.0:
        raise InputRefusedError(
            "not-degrees",
            f"the file says (or, as GeoJSON, implies) {name_of(crs)}, which is in degrees, and its numbers run to "
            f"{max(abs(low[0]), abs(high[0])):.6g}, {max(abs(low[1]), abs(high[1])):.6g}",
            where,
            "state the crs the numbers are in",
        )


def _longitude_latitude(crs: pyproj.CRS, middle: FloatArray) -> tuple[float, float] | None:
    """Return where on the earth a point of the data lies, or None where it lies nowhere."""
    geographic = crs if crs.is_geographic else crs.geodetic_crs
    if geographic is None:
        return None
    try:
        transformer = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        longitude, latitude = transformer.transform(float(middle[0]), float(middle[1]))
    except ProjError:
        return None
    if not (np.isfinite(longitude) and abs(latitude) <= 90.0):
        return None
    return float(longitude), float(latitude)


def _outside_its_area(crs: pyproj.CRS, place: tuple[float, float] | None, where: Where) -> list[Finding]:
    area = crs.area_of_use
    if area is None:
        return []
    if place is not None:
        longitude, latitude = place
        west, east = area.west, area.east
        if east < west:
            east += 360.0
            longitude += 360.0 if longitude < west - 1.0 else 0.0
        if west - 1.0 <= longitude <= east + 1.0 and area.south - 1.0 <= latitude <= area.north + 1.0:
            return []
    return [
        Finding(
            "outside-area-of-use",
            "warning",
            f"the data lies outside the area {crs.name!r} is made for ({area.name})",
            where,
            "check the CRS, and that eastings stand before northings",
        )
    ]


def _scale_at(crs: pyproj.CRS, place: tuple[float, float] | None) -> float:
    """Return how long the map shows a short length on the ground, worst direction; 1 where not known."""
    if place is None:
        return 1.0
    longitude, latitude = place
    try:
        factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    except (ProjError, CRSError):
        return 1.0
    both = [float(factors.meridional_scale), float(factors.parallel_scale)]
    if not np.isfinite(both).all():
        return 1.0
    return max(both, key=lambda scale: abs(scale - 1.0))


def _scale_finding(crs: pyproj.CRS, scale: float, where: Where) -> Finding:
    return Finding(
        "map-scale",
        "info",
        f"lengths in {crs.name!r} are {100.0 * abs(scale - 1.0):.3g} % too {'long' if scale > 1.0 else 'short'} here",
        where,
        "state project_to if that matters",
    )


def _local(place: tuple[float, float] | None, where: Where) -> pyproj.CRS:
    """Return the UTM zone of a place, or a transverse Mercator of its own where there is none."""
    if place is None:
        raise InputRefusedError(
            "cannot-project", "the coordinates lie nowhere on the earth in their CRS", where, "check crs"
        )
    return _zone(*place)


@functools.lru_cache(maxsize=64)  # a search through all systems there are: as long as reading a small layer
def _zone(longitude: float, latitude: float) -> pyproj.CRS:
    zones = query_utm_crs_info("WGS 84", AreaOfInterest(longitude, latitude, longitude, latitude))
    if zones:
        return pyproj.CRS.from_authority(zones[0].auth_name, zones[0].code)
    return pyproj.CRS.from_proj4(
        f"+proj=tmerc +lat_0={latitude:.6f} +lon_0={longitude:.6f} +k=1 +ellps=WGS84 +units=m"
    )


def _reprojected(
    crs: pyproj.CRS,
    target: pyproj.CRS,
    why: str,
    elevation: str | None,
    where: Where,
    place: tuple[float, float] | None,
    findings: list[Finding],
) -> Placing:
    target, _ = horizontal(target)
    if not target.is_projected:
        raise InputRefusedError(
            "crs-not-plane",
            f"project_to {target.name!r} is not a projected system",
            where,
            "name a projected system, or leave project_to out",
        )
    scale = _scale_at(target, place)
    if abs(scale - 1.0) > WORST_SCALE:
        raise InputRefusedError(
            "crs-distorts",
            f"project_to {target.name!r} shows lengths {scale:.4g} times too long here",
            where,
            "name a local projected system, or leave project_to out",
        )
    name, metres = unit_of(target)
    findings.append(
        Finding(
            "reprojected",
            "warning" if why != "as stated" else "info",
            f"projected from {name_of(crs)[:60]} to {name_of(target)[:60]} ({target.name}): {why}; "
            f"its scale here is {scale:.5f}"
            + (
                ""
                if elevation
                else f"; elevations are taken in {'metres' if crs.is_geographic else unit_of(crs)[0]}"
            ),
            where,
            "" if why == "as stated" else "state project_to to choose another projected system",
        )
    )
    ground = Ground(
        metres,
        name,
        name_of(target),
        name_of(crs),
        UNITS[elevation] if elevation else (1.0 if crs.is_geographic else unit_of(crs)[1]),
    )
    return Placing(ground, pyproj.Transformer.from_crs(crs, target, always_xy=True), tuple(findings))
