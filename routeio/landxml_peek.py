"""Peeking into LandXML: alignments, networks of structures, units and coordinate system."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from routeio.findings import Where
from routeio.guess import Guess, layers_like
from routeio.landxml import alignments_of, layers_of
from routeio.landxml_networks import can_be_ducts
from routeio.landxml_tree import east_north, measures, name_of, named, numbers, opened


def peek(path: Path) -> dict[str, Any]:
    """Return what a LandXML file holds, as plain values for :class:`routeio.peeking.Peek`.

    Parameters
    ----------
    path : Path
        LandXML.

    Returns
    -------
    dict
        Of what JSON knows.

    Raises
    ------
    InputRefusedError
        Damaged, or another kind of XML.
    """
    root = opened(path)
    told = measures(root, Where(file=path.name))
    layers = layers_of(root)
    alignments = dict(alignments_of(root))
    usable = {n: 1 for n, a in alignments.items() if next(named(a, "CoordGeom"), None) is not None}
    ducts = layers_like("ducts", can_be_ducts(usable, layers, told=False))
    networks = {n: k["Struct"] for n, k in layers.items() if k["Struct"]}
    vaults = layers_like("vaults", networks)
    vaults += tuple(
        Guess("vaults", g.name, "its pipes end at its structures")
        for g in ducts
        if g.name in networks and g.name not in {v.name for v in vaults}
    )
    guesses: list[Guess] = [*ducts, *vaults]
    missing = []
    if not ducts:
        missing.append(
            "ducts: no name of an alignment or a network of pipes says which of them are the ducts"
        )
    if not vaults:
        missing.append("vaults: no network of structures; ends of alignments are taken for vaults")
    for guess in (g for g in ducts if g.name in alignments):
        profiles = [
            p.get("name") or ""
            for profile in named(alignments[guess.name], "Profile")
            for p in named(profile, "ProfAlign")
        ]
        if len(profiles) > 1:
            missing.append(
                f"profile: alignment {guess.name} has several: {', '.join(profiles)}; the first is used"
            )
    if told.linear is None:
        missing.append("units: the file does not say its unit")
    system = next(named(root, "CoordinateSystem"), None)
    code = (system.get("epsgCode") or "").strip() if system is not None else ""
    if not code.isdigit():
        missing.append("crs: the file does not say its coordinate reference system by an EPSG code")
    written = [numbers(e.text) for e in root.iter() if name_of(e) in ("Start", "End", "Center")]
    places = [east_north(w)[:2] for w in written if w.size in (2, 3) and np.isfinite(w).all()]
    extents = [*np.min(places, axis=0).tolist(), *np.max(places, axis=0).tolist()] if places else None
    return {
        "format": f"LandXML {root.get('version') or ''}".strip(),
        "layers": [
            {"name": name, "kinds": dict(kinds), "fields": [], "blocks": [], "crs": None}
            for name, kinds in layers.items()
        ],
        "units": told.linear,
        "crs": f"EPSG:{code}" if code.isdigit() else None,
        "elevation_units": told.elevation,
        "extents": extents,
        "missing": missing,
        "guesses": [[g.what, g.name, g.reason] for g in guesses],
    }
