"""Peeking into layers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj

from routeio.beside import Beside, beside
from routeio.crs import horizontal, must_project, name_of, parsed, unit_of
from routeio.findings import InputRefusedError, Where
from routeio.firstbytes import reader_for
from routeio.gis_fields import DUCT_FIELDS, VAULT_FIELDS
from routeio.gis_open import (
    LIBRARY_ERRORS,
    SINGLE_LAYER,
    Source,
    facts,
    features,
    plain_kind,
    sources,
)
from routeio.gis_parts import kinds_of
from routeio.ground import extents_in_units
from routeio.guess import Guess, fields_like, layers_like, unit_in_name
from routeio.layer_facts import KINDS, LINES, MARKS, Facts
from routeio.sidecars import sidecar_findings

#: Larger layers are not read through only to say what kinds of geometry they hold.
_MOST_FEATURES = 100_000


def peek(path: Path) -> dict[str, Any]:
    """Return what a layer file holds, as plain values for :class:`routeio.peeking.Peek`.

    Parameters
    ----------
    path : Path
        A GeoPackage, shapefile, GeoJSON, FlatGeobuf or GeoParquet file.

    Returns
    -------
    dict
        Of what JSON knows.

    Raises
    ------
    InputRefusedError
        Damaged, locked, or with sidecars missing.
    """
    _, driver = reader_for(path)
    every = sources(path, driver)
    own = {n: s for n, s in every.items() if driver not in SINGLE_LAYER or s.path == path}
    known = {name: facts(source) for name, source in own.items()}
    kinds = {name: _kinds(own[name], f) for name, f in known.items()}
    missing = [f.message for f in sidecar_findings(path)]
    ducts = layers_like("ducts", _counts(kinds, LINES))
    taken = {g.name for g in ducts}
    vaults = layers_like("vaults", {n: c for n, c in _counts(kinds, MARKS).items() if n not in taken})
    near = Beside()
    if driver in SINGLE_LAYER and not vaults:
        vaults, near = _of_one_layer(path, every, kinds, ducts)
        known |= near.known
        kinds |= {name: {f.kind: f.features} for name, f in near.known.items()}
    for what, found in (("ducts", ducts), ("vaults", vaults)):
        if not found:
            missing.append(f"{what}: no layer's name says which layers hold the {what}{near.why}")
    guesses = [*ducts, *vaults]
    for what, layers, wanted in (("ducts", ducts, DUCT_FIELDS[:8]), ("vaults", vaults, VAULT_FIELDS)):
        for layer in layers[:1]:
            guesses += [
                Guess(f"{what}.{g.what}", g.name, g.reason)
                for g in fields_like(wanted, known[layer.name].fields)
            ]
    main = ducts[0].name if ducts else next(iter(known), None)
    units, crs, elevation = None, None, None
    extents = _extents(own, main)
    system = _system(known, main, path)
    if system is not None and system.is_geographic and not _fit_degrees(extents, 360.0):
        missing.append(
            f"crs: the file says or, as GeoJSON, implies {name_of(system)[:40]}, and its numbers are no degrees{_size(extents)}"
        )
    elif system is not None:
        plane, elevation = horizontal(system)
        crs = name_of(system)
        units = "degree" if plane.is_geographic else unit_of(plane)[0]
        if driver == "GeoJSON" and crs == "EPSG:4979":
            elevation = None  # what the library takes for any file with heights in it
        if elevation is None:
            guesses += _elevations(driver, plane, extents, guesses)
    else:
        missing.append("crs: the layer does not say its coordinate reference system" + _size(extents))
    return {
        "format": driver,
        "layers": [
            {"name": name, "kinds": kinds[name], "fields": list(f.fields), "blocks": [], "crs": f.crs}
            for name, f in known.items()
        ],
        "units": units,
        "crs": crs,
        "elevation_units": elevation,
        "extents": extents,
        "missing": missing,
        "guesses": [[g.what, g.name, g.reason] for g in guesses],
    }


def _of_one_layer(
    path: Path, every: Mapping[str, Source], kinds: Mapping[str, Mapping[str, int]], ducts: tuple[Guess, ...]
) -> tuple[tuple[Guess, ...], Beside]:
    """Return where the vaults of a file with one layer are: among its lines, or in a file beside it."""
    (name,) = kinds
    marks = _counts(kinds, MARKS)[name] if not any(kind == "Unknown" for kind in kinds[name]) else 0
    if ducts and marks:
        return (Guess("vaults", name, f"{marks} points or areas stand among its lines"),), Beside()
    near = beside(path, every)
    return near.vaults, near


def _kinds(source: Source, known: Facts) -> dict[str, int]:
    """Return how many geometries of each kind a layer holds; of a mixed one, once it is read."""
    if plain_kind(known.kind) != "Unknown" or not 0 <= known.features <= _MOST_FEATURES:
        return {known.kind: known.features}
    try:
        found = kinds_of(features(source, (), None, None, known))
    except InputRefusedError:
        return {known.kind: known.features}  # said when it is read, if it is asked for
    return {KINDS[k + 1]: n for k, n in sorted(Counter(found.tolist()).items())} or {known.kind: 0}


def _counts(kinds: Mapping[str, Mapping[str, int]], wanted: frozenset[str]) -> dict[str, int]:
    """Return how much on each layer is of the kinds wanted; a mixed layer may hold any."""
    return {
        name: sum(n if n >= 0 else 1 for kind, n in found.items() if plain_kind(kind) in {*wanted, "Unknown"})
        for name, found in kinds.items()
    }


def _system(known: Mapping[str, Facts], main: str | None, path: Path) -> pyproj.CRS | None:
    if main is None or not known[main].crs:
        return None
    found = parsed(str(known[main].crs), "the file's CRS", Where(file=path.name, layer=main))
    return None if found.is_engineering else found  # "undefined Cartesian" and the like


def _size(extents: list[float] | None) -> str:
    if extents is None:
        return ""
    if _fit_degrees(extents, 180.0):
        return "; its numbers would fit degrees, such as EPSG:4326"
    return "; it measures " + extents_in_units(np.array(extents[:2]), np.array(extents[2:]))


def _fit_degrees(extents: list[float] | None, farthest: float) -> bool:
    """Whether numbers may be longitudes and latitudes; some systems count longitudes to 360."""
    x0, y0, x1, y1 = extents or (0.0, 0.0, 0.0, 0.0)
    return max(abs(x0), abs(x1)) <= farthest and max(abs(y0), abs(y1)) <= 90.0


def _elevations(
    driver: str, plane: pyproj.CRS, extents: list[float] | None, guesses: list[Guess]
) -> list[Guess]:
    """Return the unit that elevations may be in where the horizontal one says nothing of it."""
    low, high = (None, None) if extents is None else (np.array(extents[:2]), np.array(extents[2:]))
    if not plane.is_geographic and (low is None or high is None or not must_project(plane, low, high)):
        return []
    for guess in guesses:
        unit = unit_in_name(guess.what.removeprefix("vaults."), guess.name)
        if guess.what in ("vaults.invert", "vaults.rim") and unit:
            return [Guess("elevation_units", unit, f"the field {guess.name!r} is in it, by its name")]
    if driver == "GeoJSON":
        why = "GeoJSON holds heights in metres (RFC 7946), and the file says nothing else"
    else:
        of = "in degrees" if plane.is_geographic else "a map whose lengths are not those on the ground"
        why = (
            f"{name_of(plane)[:40]} is {of} and says no unit of heights: metres are usual; brought there from a system "
            "in feet, they may be feet"
        )
    return [Guess("elevation_units", "m", why)]


def _extents(own: dict[str, Source], main: str | None) -> list[float] | None:
    if main is None or main not in own:
        return None
    source = own[main]
    try:
        bounds = pyogrio.read_info(source.path, layer=source.inner, force_total_bounds=True)["total_bounds"]
    except LIBRARY_ERRORS:
        return None
    return None if bounds is None else [float(v) for v in bounds]
