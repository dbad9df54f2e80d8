"""Peeking into a drawing."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from routeio.dxf import layer_table
from routeio.dxf_layers import ducts_guessed, marks_by_layer
from routeio.dxf_open import Opened, open_drawing
from routeio.dxf_shapes import attributes_of, layer_of
from routeio.dxf_units import drawing_units
from routeio.findings import InputRefusedError, Where
from routeio.ground import FARTHEST, extents_in_units
from routeio.guess import Guess, fields_like, layers_like, names_vaults
from routeio.options import ReadOptions

if TYPE_CHECKING:
    from ezdxf.entities import DXFEntity

_VAULT_FIELDS = ("name", "kind", "rim", "invert", "splice", "feed", "pull")


def peek(path: Path) -> dict[str, Any]:
    """Return what a drawing holds, as plain values for :class:`routeio.peeking.Peek`.

    Parameters
    ----------
    path : Path
        A DXF file.

    Returns
    -------
    dict
        Of what JSON knows.

    Raises
    ------
    InputRefusedError
        ``damaged-drawing``.
    """
    opened = open_drawing(path, ReadOptions(), lift=True)
    table = layer_table(opened)
    missing = [f.message for f in opened.findings if f.severity == "error"]
    extents = _extents(opened)
    units = None
    size = ""
    if extents is not None:
        size = "; the drawing measures " + extents_in_units(np.array(extents[:2]), np.array(extents[2:]))
    try:
        units, _ = drawing_units(opened, ReadOptions(), Where(file=path.name))
        if units is None:
            missing.append("units: the drawing does not say" + size)
    except InputRefusedError as refusal:
        missing.append(f"units: {refusal.message}{size}")
    missing.append("crs: a drawing does not say; state it only to have results on the map")
    ducts = ducts_guessed(table)
    taken = {g.name for g in ducts}
    vaults = layers_like(
        "vaults",
        {n: count for n, count in marks_by_layer(table).items() if n not in taken},
        by_elimination=False,
    )
    tags, blocks, by_block = _blocks(opened)
    as_blocks = () if vaults else _vault_blocks(by_block)
    for what, found in (("ducts", ducts), ("vaults", (*vaults, *as_blocks))):
        if not found:
            missing.append(f"{what}: no layer's name says which layers hold the {what}")
    on_vaults = [t for g in vaults for t in tags.get(g.name.lower(), {})]
    on_vaults += [t for g in as_blocks for t in by_block[g.name]]
    fields = [Guess(f"vaults.{g.what}", g.name, g.reason) for g in fields_like(_VAULT_FIELDS, on_vaults)]
    return {
        "format": f"DXF {opened.drawing.acad_release}",
        "layers": [
            {
                "name": name,
                "kinds": dict(kinds),
                "fields": list(tags.get(name.lower(), {})),
                "blocks": list(blocks.get(name.lower(), {})),
                "crs": None,
            }
            for name, kinds in table.items()
        ],
        "units": units,
        "crs": None,
        "extents": extents,
        "missing": missing,
        "guesses": [[g.what, g.name, g.reason] for g in (*ducts, *vaults, *as_blocks, *fields)],
    }


def _vault_blocks(by_block: Mapping[str, Mapping[str, None]]) -> tuple[Guess, ...]:
    """Return the blocks whose names or attributes sound like vaults, for a drawing whose layers' names do not."""
    named = [g for name in by_block for g in layers_like("vaults", {name: 1}, by_elimination=False)]
    if not named:
        tags = {name: next(filter(names_vaults, own), None) for name, own in by_block.items()}
        return tuple(
            Guess(
                "vaults by block",
                name,
                f"the block has an attribute {tag}, a usual name for what a vault is called",
            )
            for name, tag in tags.items()
            if tag is not None
        )
    return tuple(
        Guess("vaults by block", g.name, f"the block's {g.reason.partition(',')[0].removeprefix('its ')}")
        for g in named
    )


def _blocks(
    opened: Opened,
) -> tuple[dict[str, dict[str, None]], dict[str, dict[str, None]], dict[str, dict[str, None]]]:
    """Return attribute tags and block names by layer in lower case, and tags by block, in order of appearance."""
    tags: dict[str, dict[str, None]] = defaultdict(dict)
    blocks: dict[str, dict[str, None]] = defaultdict(dict)
    by_block: dict[str, dict[str, None]] = {}
    for entity in opened.drawing.modelspace():
        if entity.dxftype() != "INSERT":
            continue
        layer = layer_of(entity).lower()
        name = str(entity.dxf.get("name", ""))
        blocks[layer].setdefault(name)
        own = by_block.setdefault(name, {})
        for attrib in attributes_of(entity):
            tag = str(attrib.dxf.get("tag", "")).strip().upper()
            tags[layer].setdefault(tag)
            own.setdefault(tag)
    return tags, blocks, by_block


def _extents(opened: Opened) -> list[float] | None:
    """Return the extents of what stands in model space, numbers that are no places left out."""
    places: list[tuple[float, float]] = []
    for entity in opened.drawing.modelspace():
        kind = entity.dxftype()
        if kind == "LWPOLYLINE":
            packed = entity.lwpoints.values  # type: ignore[attr-defined]
            values = np.frombuffer(packed, dtype=np.float64).reshape(-1, 5)
            places += [(x, y) for x, y in values[:, :2].tolist()]
        elif kind == "POLYLINE":
            places += [_at(v, "location") for v in entity.vertices]  # type: ignore[attr-defined]
        elif kind == "LINE":
            places += [_at(entity, "start"), _at(entity, "end")]
        elif kind in {"INSERT", "POINT", "CIRCLE", "ARC"}:
            places.append(_at(entity, {"INSERT": "insert", "POINT": "location"}.get(kind, "center")))
    points = np.array(places, dtype=np.float64).reshape(-1, 2)
    if opened.lifted is not None:
        points = np.concatenate((points, opened.lifted.points))
    points = points[(np.abs(points) < FARTHEST).all(axis=1)]
    if not points.size:
        return None
    return [*points.min(axis=0).tolist(), *points.max(axis=0).tolist()]


def _at(entity: DXFEntity, name: str) -> tuple[float, float]:
    """Return a point of an entity in plan, NaN where it has none."""
    value = entity.dxf.get(name)
    return (math.nan, math.nan) if value is None else (float(value.x), float(value.y))
