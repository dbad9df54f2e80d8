"""Peeking into layers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyogrio

from routeio.crs import name_of, parsed, unit_of
from routeio.findings import Where
from routeio.firstbytes import reader_for
from routeio.gis_fields import DUCT_FIELDS, VAULT_FIELDS
from routeio.gis_open import (
    LIBRARY_ERRORS,
    SINGLE_LAYER,
    Source,
    facts,
    plain_kind,
    sources,
)
from routeio.guess import Guess, fields_like, layers_like
from routeio.layer_facts import Facts
from routeio.sidecars import sidecar_findings

_LINES = ("LineString", "MultiLineString", "Unknown")
_MARKS = ("Point", "MultiPoint", "Polygon", "MultiPolygon", "Unknown")


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
    # neighbours of a file with one layer are only named by the user
    own = {n: s for n, s in every.items() if driver not in SINGLE_LAYER or s.path == path}
    known = {name: facts(source) for name, source in own.items()}
    missing = [f.message for f in sidecar_findings(path)]
    ducts = layers_like("ducts", _counts(known, _LINES))
    vaults = layers_like(
        "vaults", {n: c for n, c in _counts(known, _MARKS).items() if n not in {g.name for g in ducts}}
    )
    for what, found in (("ducts", ducts), ("vaults", vaults)):
        if not found:
            missing.append(f"{what}: no layer's name says which layers hold the {what}")
    guesses = [*ducts, *vaults]
    for what, layers, wanted in (("ducts", ducts, DUCT_FIELDS[:7]), ("vaults", vaults, VAULT_FIELDS)):
        for layer in layers[:1]:
            guesses += [
                Guess(f"{what}.{g.what}", g.name, g.reason)
                for g in fields_like(wanted, known[layer.name].fields)
            ]
    main = ducts[0].name if ducts else next(iter(known), None)
    units, crs = None, None
    if main is not None and known[main].crs:
        found_crs = parsed(str(known[main].crs), "the file's CRS", Where(file=path.name, layer=main))
        crs = name_of(found_crs)
        units = "degree" if found_crs.is_geographic else unit_of(found_crs)[0]
    else:
        missing.append("crs: the layer does not say its coordinate reference system")
    return {
        "format": driver,
        "layers": [
            {
                "name": name,
                "kinds": {f.kind: f.features},
                "fields": list(f.fields),
                "blocks": [],
                "crs": f.crs,
            }
            for name, f in known.items()
        ],
        "units": units,
        "crs": crs,
        "extents": _extents(own, main),
        "missing": missing,
        "guesses": [[g.what, g.name, g.reason] for g in guesses],
    }


def _counts(known: dict[str, Facts], kinds: tuple[str, ...]) -> dict[str, int]:
    return {
        name: (f.features if f.features >= 0 else 1) if plain_kind(f.kind) in kinds else 0
        for name, f in known.items()
    }


def _extents(own: dict[str, Source], main: str | None) -> list[float] | None:
    if main is None:
        return None
    source = own[main]
    try:
        bounds = pyogrio.read_info(source.path, layer=source.inner, force_total_bounds=True)["total_bounds"]
    except LIBRARY_ERRORS:
        return None
    return None if bounds is None else [float(v) for v in bounds]
