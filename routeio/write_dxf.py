"""A survey as a drawing: ducts as light polylines with their arcs, vaults as blocks with attributes.

A light polyline lies in a plane, so it is the plan of its duct. Of a duct with elevations the course in space stands
beside it, by chords, on a layer of its own; and the four numbers of each segment stand in an extension record of the
polyline, which other programs keep and do not show.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import ezdxf
import numpy as np
import shapely
from ezdxf.lldxf.types import DXFTag

from mechanics.centreline import place
from mechanics.chain import Chain
from routeio.ground import DXF_UNITS, UNITS
from routeio.survey import Duct, Survey, Vault

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

#: Name of the extension record, of the block of vaults, and of the layer of courses in space (one that no pattern for
#: the ducts' own layers takes in as well).
RECORD, BLOCK, IN_SPACE = "TAUTLINE-SEGMENTS", "TAUTLINE-VAULT", "TAUTLINE-3D"
_TAGS = ("TAG", "KIND", "RIM", "INVERT", "SPLICE", "FEED", "PULL")
_METRIC = frozenset({"m", "km", "dm", "cm", "mm"})
_TEXT, _NUMBER = 1, 40


def write(survey: Survey, path: Path, chord: float) -> None:
    """Write a survey as a drawing.

    Parameters
    ----------
    survey : Survey
        As read.
    path : Path
        Overwritten.
    chord : float
        How far a chord may lie from a curve in space. [m]
    """
    codes = {name: code for code, name in DXF_UNITS.items()}
    unit = survey.ground.unit if survey.ground.unit in codes else "m"
    scale = 1.0 / UNITS[unit]
    drawing = ezdxf.new("R2010", setup=False)
    drawing.header["$INSUNITS"] = codes[unit]
    drawing.header["$MEASUREMENT"] = 1 if unit in _METRIC else 0
    space = drawing.modelspace()
    ducts = {layer_name(d.where.layer or "DUCTS") for d in survey.ducts}
    for duct in survey.ducts:
        _duct(space, duct, scale, chord)
    if survey.vaults:
        _block(drawing)
    for vault in survey.vaults:
        layer = layer_name(vault.where.layer or "VAULTS")
        _vault(space, vault, scale, layer + "-VAULTS" if layer in ducts else layer)
    drawing.saveas(path)


def chains(path: Path) -> dict[str, Chain]:
    """Return the chains in the extension records of a drawing of :func:`write`.

    Parameters
    ----------
    path : Path
        The drawing.

    Returns
    -------
    dict of str to Chain
        By the duct's id.
    """
    found = {}
    for entity in ezdxf.filemanagement.readfile(path).modelspace().query("LWPOLYLINE"):
        if entity.has_extension_dict and RECORD in entity.get_extension_dict().dictionary:
            tags = entity.get_extension_dict()[RECORD].tags
            name = next(str(tag.value) for tag in tags if tag.code == _TEXT)
            four = np.array([tag.value for tag in tags if tag.code == _NUMBER], dtype=np.float64).reshape(
                -1, 4
            )
            found[name] = Chain(*four.T)
    return found


def layer_name(name: str) -> str:
    """Return a layer's name without the signs that a drawing's layers cannot have.

    Parameters
    ----------
    name : str
        Of any source.

    Returns
    -------
    str
        Such signs replaced by ``_``.

    Examples
    --------
    >>> layer_name("ducts: new/old")
    'ducts_ new_old'
    """
    return re.sub(r'[<>/\\":;?*|=`\x00-\x1f]', "_", name)[:255]


def _duct(space: Modelspace, duct: Duct, scale: float, chord: float) -> None:
    chain = duct.chain
    placed = place(chain, duct.start, duct.heading)
    layer = layer_name(duct.where.layer or "DUCTS")
    # an arc on an even grade is an arc in plan, too; of one whose grade varies the cosine hardly does
    bulge = np.append(np.tan(0.25 * chain.turn), 0.0)
    corners = np.column_stack((placed.points[:, :2] * scale, bulge))
    line = space.add_lwpolyline(corners, format="xyb", dxfattribs={"layer": layer})
    record = line.new_extension_dict().add_xrecord(RECORD)
    four = np.column_stack((chain.length, chain.grade_in, chain.grade_out, chain.turn))
    record.tags.append(DXFTag(_TEXT, duct.id))
    record.tags.extend(DXFTag(_NUMBER, float(value)) for value in four.ravel())
    if duct.elevated:
        points = place(chain, duct.start, duct.heading, chord).points * scale
        space.add_polyline3d(points, dxfattribs={"layer": IN_SPACE})


def _block(drawing: Drawing) -> None:
    block = drawing.blocks.new(BLOCK)
    block.add_point((0, 0))
    for row, tag in enumerate(_TAGS):
        block.add_attdef(
            tag, (0.2, -0.3 * row), dxfattribs={"height": 0.25, "flags": 0 if tag == "TAG" else 1}
        )


def _vault(space: Modelspace, vault: Vault, scale: float, layer: str) -> None:
    z = 0.0 if vault.z is None else vault.z * scale
    at = {"layer": layer}
    values = (
        vault.tag,
        vault.kind,
        *("" if level is None else repr(level * scale) for level in (vault.rim, vault.invert)),
        *("yes" if allowed else "no" for allowed in (vault.splice, vault.feed, vault.pull)),
    )
    size = dict.fromkeys(("xscale", "yscale", "zscale"), scale)
    mark = space.add_blockref(BLOCK, (vault.x * scale, vault.y * scale, z), dxfattribs={**at, **size})
    mark.add_auto_attribs(dict(zip(_TAGS, values, strict=True)))
    for ring in _rings(vault):
        space.add_lwpolyline(ring * scale, close=True, dxfattribs=at)


def _rings(vault: Vault) -> Iterable[np.ndarray]:
    if vault.footprint is not None:
        for part in shapely.get_parts(vault.footprint):
            if part.geom_type == "Polygon":
                yield shapely.get_coordinates(part.exterior)[:-1]
