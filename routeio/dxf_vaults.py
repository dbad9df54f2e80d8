"""Vaults of a drawing: blocks with attributes, points, circles and closed outlines, and the texts that name them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from ezdxf.tools.text import fast_plain_mtext, plain_text
from shapely.geometry.base import BaseGeometry

from mechanics.errors import FloatArray
from routeio import bulges
from routeio.affine import moved
from routeio.dxf_blocks import Blocks, Placed, matrices
from routeio.dxf_shapes import (
    LINES,
    NotALineError,
    Shape,
    attributes_of,
    is_hidden,
    layer_of,
    place_of,
    shape_of,
)
from routeio.findings import Finding, Where, span_text
from routeio.gis_fields import with_unit_of
from routeio.ground import check_in_reach
from routeio.rawlines import RawVault

if TYPE_CHECKING:
    from ezdxf.entities import DXFEntity

#: A block larger than this is a symbol drawn for the eye, not the outline of a vault. [m]
LARGEST_VAULT = 30.0
#: Kinds that can stand for a vault.
VAULT_KINDS = frozenset({"INSERT", "POINT", "CIRCLE", "LWPOLYLINE", "POLYLINE", "ELLIPSE"})
TEXT_KINDS = frozenset({"TEXT", "MTEXT"})
#: No tag is as long, and decoding millions of letters takes minutes. [letters]
LONGEST_TEXT = 2_000
#: Texts beside a vault that say how high it is, how large, or what leads there, and not what it is called.
_NO_TAG = re.compile(
    r"""(?:rim|inv(?:ert)?|i\.e|i\.?e\.)\b.*\d.*
    |(?:ie|el(?:ev(?:ation)?)?|t/?[cgr]|top|bot(?:tom)?|fl|gr(?:ade)?|depth|cover|sta(?:tion)?)\b\D*
        (?:\d+\.\d|\d+\+\d\d|[=:]\s*-?\d).*
    |[-+]?\d+\.\d\d+\s*(?:ft|m|')?
    |.*\d\s*['"]\s*[x×]\s*\d.*
    |.*\d\s*["']\s*(?:pvc|hdpe|grs|c|conduits?|ducts?|sch)\b.*""",
    re.IGNORECASE | re.VERBOSE,
)


@dataclass(frozen=True)
class Label:
    """A text with its place.

    Parameters
    ----------
    text : str
        Its first line.
    x, y : float
        [m]
    layer, id : str
        Where it stands.
    cut : bool, optional
        Whether its first line goes on beyond what is read of it.
    """

    text: str
    x: float
    y: float
    layer: str
    id: str
    cut: bool = False


@dataclass
class VaultReader:
    """Turns entities of vault layers into vaults.

    Parameters
    ----------
    blocks : Blocks
        The drawing's blocks.
    names : mapping of str to str
        Attribute tag (upper case) to our name.
    scale, z_scale : float
        Metres in a unit, in plan and in elevation. [m]
    tolerance : float
        For outlines. [file units]
    """

    blocks: Blocks
    names: Mapping[str, str]
    scale: float
    z_scale: float
    tolerance: float
    findings: list[Finding] = field(default_factory=list, init=False)
    _outlines: dict[str, FloatArray | None] = field(default_factory=dict, init=False)

    def read(self, placed: Placed) -> Iterator[RawVault]:
        """Return the vaults an entity stands for.

        Parameters
        ----------
        placed : Placed
            Of a kind in :data:`VAULT_KINDS`.

        Yields
        ------
        RawVault
            One; for an array of blocks one a copy.

        Raises
        ------
        NotALineError
            An entity that is no vault; the message says why.
        InputRefusedError
            ``bad-number`` and what the blocks raise.
        """
        where = Where(file=self.blocks.file, layer=placed.layer, id=placed.id)
        kind = placed.entity.dxftype()
        if kind == "INSERT":
            yield from self._from_insert(placed, where)
        elif kind == "POINT":
            location = np.array(place_of(placed.entity, "location"))
            check_in_reach(location, self.scale, where)
            if placed.matrix is not None:
                location = location @ placed.matrix[:3, :3] + placed.matrix[3, :3]
                check_in_reach(location, self.scale, where)
            yield self._vault("", location, None, {}, where)
        else:
            yield self._from_outline(placed, where)

    def _vault(
        self,
        tag: str,
        place: FloatArray,
        footprint: BaseGeometry | None,
        fields: Mapping[str, str],
        where: Where,
    ) -> RawVault:
        x, y = float(place[0]) * self.scale, float(place[1]) * self.scale
        z = float(place[2]) * self.z_scale
        return RawVault(
            tag, x, y, z if z != 0.0 else float("nan"), footprint, fields, replace(where, x=x, y=y)
        )

    def _from_outline(self, placed: Placed, where: Where) -> RawVault:
        shape = carried(placed, self.tolerance, self.scale, where)
        closed = shape.closed or (
            shape.points.shape[0] > 3 and np.hypot(*(shape.points[0] - shape.points[-1])[:2]) < 1e-6
        )
        if not closed:
            raise NotALineError("an open line is no outline of a vault")
        flat, _ = bulges.flattened(shape.points, shape.bulge, self.tolerance)
        outline: BaseGeometry = shapely.Polygon(flat[:, :2] * self.scale)
        if not outline.is_valid:
            outline = outline.convex_hull
        if not (outline.geom_type == "Polygon" and outline.area > 0.0):
            raise NotALineError("an outline without area")
        centre = outline.centroid
        place = np.array([centre.x / self.scale, centre.y / self.scale, flat[0, 2]])
        return self._vault("", place, outline, {}, where)

    def _from_insert(self, placed: Placed, where: Where) -> Iterator[RawVault]:
        insert = placed.entity
        name = str(insert.dxf.get("name", ""))
        block = self.blocks.drawing.blocks.get(name)
        base = np.zeros(3)
        if block is not None and block.block is not None:
            base = np.array(block.block.dxf.get("base_point", (0.0, 0.0, 0.0)), dtype=np.float64)
        attributes = self._attributes(insert, block, where)
        fields: dict[str, str] = {}
        for attribute, value in attributes.items():
            ours = self.names.get(attribute, "")
            fields.setdefault(ours or attribute, with_unit_of(ours, attribute, value))
        fields.setdefault("block", name)
        outline = self._outline(name)
        for number, own in enumerate(matrices(insert, base, self.scale, where)):
            matrix = own if placed.matrix is None else own @ placed.matrix
            check_in_reach(matrix, self.scale, where)
            place = base @ matrix[:3, :3] + matrix[3, :3]
            here = where if number == 0 else replace(where, id=f"{where.id}[{number}]")
            yield self._vault(
                # the attributes of an array of blocks belong to its first copy
                fields.get("name", "") if number == 0 else "",
                place,
                self._footprint(outline, matrix, here),
                fields if number == 0 else {},
                here,
            )

    def _attributes(self, insert: DXFEntity, block: object, where: Where) -> dict[str, str]:
        found: dict[str, str] = {}
        constant = [d for d in getattr(block, "attdefs", lambda: ())() if d.is_const]
        for entity in (*attributes_of(insert), *constant):
            several = entity.has_embedded_mtext_entity
            text, cut = _plain(entity.virtual_mtext_entity() if several else entity)
            tag = str(entity.dxf.get("tag", "")).strip().upper()
            if cut and tag and tag not in found:
                self.findings.append(text_cut(f"attribute {tag!r}", where))
            found.setdefault(tag, " ".join(text.split()))
        found.pop("", None)
        return found

    def _outline(self, name: str) -> FloatArray | None:
        """Return points on the outline of a block, in its own coordinates."""
        if name not in self._outlines:
            closed: list[FloatArray] = []
            open_: list[FloatArray] = []
            self._gather(name, np.eye(4), closed, open_)
            parts = closed or open_
            self._outlines[name] = np.vstack(parts) if parts else None
        return self._outlines[name]

    def _gather(
        self, name: str, matrix: FloatArray, closed: list[FloatArray], open_: list[FloatArray], depth: int = 0
    ) -> None:
        block = self.blocks.drawing.blocks.get(name)
        if block is None or depth > 4 or self.blocks.facts(name).total > 10_000:
            return
        for entity in block:
            if is_hidden(entity):
                continue  # another state of the block
            where = Where(file=self.blocks.file, layer=layer_of(entity), id=name)
            if entity.dxftype() == "INSERT":
                inner = self.blocks.drawing.blocks.get(str(entity.dxf.get("name", "")))
                if inner is not None and inner.block is not None:
                    base = np.array(inner.block.dxf.get("base_point", (0.0, 0.0, 0.0)), dtype=np.float64)
                    for own in matrices(entity, base, self.scale, where):
                        self._gather(str(entity.dxf.name), own @ matrix, closed, open_, depth + 1)
            elif entity.dxftype() in LINES:
                try:
                    shape = shape_of(entity, self.tolerance, self.scale, where)
                except NotALineError:
                    continue
                flat, _ = bulges.flattened(shape.points, shape.bulge, self.tolerance)
                carried_points = flat @ matrix[:3, :3] + matrix[3, :3]
                (closed if shape.closed else open_).append(carried_points)

    def _footprint(self, outline: FloatArray | None, matrix: FloatArray, where: Where) -> BaseGeometry | None:
        if outline is None:
            return None
        points = (outline @ matrix[:3, :3] + matrix[3, :3]) * self.scale
        check_in_reach(points, 1.0, where)
        hull = shapely.MultiPoint(points[:, :2]).convex_hull
        if hull.geom_type != "Polygon" or not hull.area > 0.0:
            return None
        low_x, low_y, high_x, high_y = hull.bounds
        size = max(high_x - low_x, high_y - low_y)
        if size > LARGEST_VAULT:
            self.findings.append(
                Finding(
                    "vault-symbol-large",
                    "info",
                    f"the block is {span_text(size)} across, so it is taken for a symbol and not for the vault's outline",
                    where,
                    "draw the vault's outline at its true size if ducts end at its wall",
                )
            )
            return None
        return hull


def carried(placed: Placed, tolerance: float, scale: float, where: Where) -> Shape:
    """Return the shape of a placed entity in the world's coordinates.

    Parameters
    ----------
    placed : Placed
        The entity.
    tolerance : float
        For curves that bulges cannot say. [file units]
    scale : float
        Metres in a unit. [m]
    where : Where
        For refusals.

    Returns
    -------
    Shape
        In file units.

    Raises
    ------
    NotALineError, InputRefusedError
        As :func:`routeio.dxf_shapes.shape_of`.
    """
    shape = shape_of(placed.entity, tolerance, scale, where)
    if placed.matrix is None:
        return shape
    check_in_reach(placed.matrix, scale, where)
    points, bulge, off = moved(shape.points, shape.bulge, placed.matrix, tolerance)
    check_in_reach(points, scale, where)
    if shape.off is not None:
        off = shape.off * float(np.linalg.norm(placed.matrix[:3, :3], 2)) + (off or 0.0)
    return Shape(points, bulge, shape.closed, off)


def label_of(placed: Placed, scale: float, file: str) -> Label | None:
    """Return a text entity as a label, or None where it says nothing.

    Parameters
    ----------
    placed : Placed
        A TEXT or MTEXT.
    scale : float
        Metres in a unit. [m]
    file : str
        For refusals.

    Returns
    -------
    Label or None
        Its first line.
    """
    entity = placed.entity
    text, cut = _plain(entity)
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        return None
    point = np.array(entity.dxf.get("insert", (0.0, 0.0, 0.0)), dtype=np.float64)
    if entity.dxftype() == "TEXT" and entity.dxf.hasattr("align_point"):
        point = np.array(entity.dxf.align_point, dtype=np.float64)
    where = Where(file=file, layer=placed.layer, id=placed.id)
    check_in_reach(point, scale, where)
    if placed.matrix is not None:
        point = point @ placed.matrix[:3, :3] + placed.matrix[3, :3]
        check_in_reach(point, scale, where)
    x, y = float(point[0]) * scale, float(point[1]) * scale
    return Label(lines[0], x, y, placed.layer, placed.id, cut and len(lines) == 1)


def _plain(entity: DXFEntity) -> tuple[str, bool]:
    """Return what a text says without its codes, and whether that is only its beginning."""
    several = entity.dxftype() == "MTEXT"
    text = str(entity.text if several else entity.dxf.get("text", ""))  # type: ignore[attr-defined]
    cut = len(text) > LONGEST_TEXT
    text = text[:LONGEST_TEXT]
    return str(fast_plain_mtext(text) if several else plain_text(text)), cut


def text_cut(what: str, where: Where) -> Finding:
    """Return what is to be said of a text too long to be read whole.

    Parameters
    ----------
    what : str
        What the text is.
    where : Where
        Where it stands.

    Returns
    -------
    Finding
        ``text-cut``.
    """
    message = f"the {what} is longer than any tag: only its first {LONGEST_TEXT} letters are read"
    return Finding("text-cut", "warning", message, where, "shorten it if it says anything of the route")


def named_by_text(
    vaults: Sequence[RawVault], labels: Sequence[Label], reach: float, file: str
) -> tuple[tuple[RawVault, ...], tuple[Finding, ...]]:
    """Give vaults without a tag the nearest text as their tag, each text to one vault at most.

    Texts that say a level, a size or what ducts lead there are no tags.

    Parameters
    ----------
    vaults : sequence of RawVault
        All of them.
    labels : sequence of Label
        Texts that may be tags.
    reach : float
        How far a text may be from its vault's outline or point. [m]
    file : str
        For findings.

    Returns
    -------
    vaults : tuple of RawVault
        In the same order.
    findings : tuple of Finding
        One a vault named so.
    """
    bare = [i for i, vault in enumerate(vaults) if not vault.tag]
    labels = [label for label in labels if not _NO_TAG.fullmatch(label.text.strip())]
    if not bare or not labels:
        return tuple(vaults), ()
    shapes = [vaults[i].footprint or shapely.Point(vaults[i].x, vaults[i].y) for i in bare]
    tree = shapely.STRtree(shapes)
    points = shapely.points([(label.x, label.y) for label in labels])
    of_label, of_vault = tree.query(points, predicate="dwithin", distance=reach)
    distance = shapely.distance(points[of_label], np.array(shapes, dtype=object)[of_vault])
    centre = np.hypot(
        [labels[i].x - vaults[bare[j]].x for i, j in zip(of_label, of_vault, strict=True)],
        [labels[i].y - vaults[bare[j]].y for i, j in zip(of_label, of_vault, strict=True)],
    )
    named = list(vaults)
    findings: list[Finding] = []
    used: set[int] = set()
    done: set[int] = set()
    for k in np.lexsort((centre, distance)):
        label_at, vault_at = int(of_label[k]), int(of_vault[k])
        if label_at in used or vault_at in done:
            continue
        used.add(label_at)
        done.add(vault_at)
        label, index = labels[label_at], bare[vault_at]
        named[index] = replace(vaults[index], tag=label.text)
        findings.append(
            Finding(
                "tag-from-text",
                "info",
                f"the vault is named {label.text[:60]!r} after the text {span_text(float(centre[k]))} from it "
                f"(layer {label.layer!r})",
                replace(vaults[index].where, file=file),
                "put the tag into an attribute of the vault's block if this is the wrong text",
            )
        )
    return tuple(named), tuple(findings)
