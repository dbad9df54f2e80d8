"""Blocks: what stands inside INSERTs, carried to where it is seen, counted before anything is expanded."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from ezdxf.math import OCS

from mechanics.errors import FloatArray
from routeio.dxf_shapes import is_hidden, layer_of
from routeio.findings import InputRefusedError, Where
from routeio.ground import check_in_reach

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.entities import DXFEntity

#: Blocks within blocks deeper than this are refused.
DEEPEST = 32
#: A drawing that expands to more entities than this is refused.
MOST_ENTITIES = 1_000_000


@dataclass(frozen=True, eq=False)
class Placed:
    """An entity with its place in the world.

    Parameters
    ----------
    entity : DXFEntity
        The entity.
    layer : str
        Its own layer, or for layer 0 inside a block that of the INSERT.
    id : str
        Handle, after the handles of the INSERTs it stands in.
    matrix : ndarray, shape (4, 4), or None
        From the block's coordinates to the world's, row vectors; None where it stands in the model itself.
    inside : Placed or None
        The INSERT it stands in.
    """

    entity: DXFEntity
    layer: str
    id: str
    matrix: FloatArray | None = None
    inside: Placed | None = None


@dataclass
class _Block:
    """One block definition: how much it holds once expanded, on which layers, and which blocks (in lower case)."""

    total: int = 0
    depth: int = 1
    layers: frozenset[str] = frozenset()
    blocks: frozenset[str] = frozenset()
    external: str = ""


@dataclass
class Blocks:
    """The block definitions of a drawing as a graph.

    Parameters
    ----------
    drawing : ezdxf.document.Drawing
        The drawing.
    file : str
        Its name, for refusals.
    """

    drawing: Drawing
    file: str
    _known: dict[str, _Block] = field(default_factory=dict, init=False)

    def facts(self, name: str) -> _Block:
        """Return what is known of a block, working it out without expanding anything.

        Parameters
        ----------
        name : str
            Of the block definition.

        Returns
        -------
        _Block
            An empty one where there is no such definition.

        Raises
        ------
        InputRefusedError
            ``block-contains-itself``, with the way round; ``blocks-too-deep``.
        """
        key = name.lower()
        if key in self._known:
            return self._known[key]
        # depth first with a stack of our own: the chain of blocks may be longer than Python's
        path: list[tuple[str, Iterator[tuple[str, int]], list[tuple[str, int]]]] = []
        on_path: dict[str, None] = {}

        def enter(block_name: str) -> None:
            on_path[block_name.lower()] = None
            path.append((block_name, iter(self._children(block_name)), []))

        enter(name)
        while path:
            block_name, children, seen = path[-1]
            child = next(children, None)
            if child is None:
                path.pop()
                on_path.pop(block_name.lower())
                self._known[block_name.lower()] = self._summed(block_name, seen)
                continue
            seen.append(child)
            child_key = child[0].lower()
            if child_key in on_path:
                ring = [*list(on_path)[list(on_path).index(child_key) :], child_key]
                raise InputRefusedError(
                    "block-contains-itself",
                    f"block {child[0]!r} contains itself: {' > '.join(ring[:8])}",
                    Where(file=self.file, id=child[0]),
                    "redefine the block, or explode its INSERTs",
                )
            if child_key not in self._known:
                enter(child[0])
        return self._known[key]

    def _children(self, name: str) -> list[tuple[str, int]]:
        block = self.drawing.blocks.get(name)
        if block is None:
            return []
        return [(str(e.dxf.get("name", "")), _copies(e)) for e in block if e.dxftype() == "INSERT"]

    def _summed(self, name: str, children: list[tuple[str, int]]) -> _Block:
        block = self.drawing.blocks.get(name)
        if block is None:
            return _Block(external="missing")
        own = [e for e in block if e.dxftype() != "ATTDEF"]
        layers = {layer_of(e).lower() for e in own}
        facts = _Block(
            total=len(own),
            layers=frozenset(layers - {"0"}),
            external=str(block.block.dxf.get("xref_path", "")) if block.block and block.block.is_xref else "",
        )
        for child, copies in children:
            inner = self._known[child.lower()]
            # an array of an empty block still makes copies
            facts.total += max(inner.total, 1) * copies
            facts.depth = max(facts.depth, inner.depth + 1)
            facts.layers |= inner.layers
            facts.blocks |= inner.blocks | {child.lower()}
            # what stands on layer 0 in a child takes the layer of the child's INSERT, counted above
        if facts.depth > DEEPEST:
            raise InputRefusedError(
                "blocks-too-deep",
                f"block {name!r} holds blocks within blocks {facts.depth} deep, more than {DEEPEST}",
                Where(file=self.file, id=name),
                "explode the outer blocks",
            )
        return facts

    def reaches(
        self,
        insert: DXFEntity,
        layer: str,
        wanted: Callable[[str], bool],
        wanted_block: Callable[[str], bool] = lambda name: False,
    ) -> bool:
        """Return whether expanding an INSERT gives anything on a wanted layer, or a wanted block.

        Parameters
        ----------
        insert : DXFEntity
            The INSERT.
        layer : str
            Its layer in the world.
        wanted : callable
            Whether a layer is wanted.
        wanted_block : callable, optional
            Whether a block is wanted wherever it stands.

        Returns
        -------
        bool
            Without expanding it.
        """
        facts = self.facts(str(insert.dxf.get("name", "")))
        return (
            (wanted(layer) and facts.total > 0)
            or any(wanted(name) for name in facts.layers)
            or any(wanted_block(name) for name in facts.blocks)
        )

    def expansion(self, insert: DXFEntity) -> int:
        """Return how many entities an INSERT expands to, at least one a copy.

        Parameters
        ----------
        insert : DXFEntity
            The INSERT.

        Returns
        -------
        int
            Without expanding it.
        """
        return max(self.facts(str(insert.dxf.get("name", ""))).total, 1) * _copies(insert)


def _copies(insert: DXFEntity) -> int:
    rows, columns = _grid(insert)
    return rows * columns


def _grid(insert: DXFEntity) -> tuple[int, int]:
    """Rows and columns of an INSERT that is an array; a count of 0 or less stands for 1."""
    return max(int(insert.dxf.get("row_count", 1)), 1), max(int(insert.dxf.get("column_count", 1)), 1)


def matrices(
    insert: DXFEntity, base: FloatArray, metres_per_unit: float, where: Where
) -> Iterator[FloatArray]:
    """Return the map from block to world of each copy that an INSERT makes.

    Parameters
    ----------
    insert : DXFEntity
        The INSERT.
    base : ndarray, shape (3,)
        Base point of the block. [file units]
    metres_per_unit : float
        For the check of numbers. [m]
    where : Where
        For refusals.

    Yields
    ------
    ndarray, shape (4, 4)
        Row vectors: ``[x y z 1] @ matrix``.

    Raises
    ------
    InputRefusedError
        ``bad-number``.
    """
    dxf = insert.dxf
    place = np.array(dxf.get("insert", (0.0, 0.0, 0.0)), dtype=np.float64)
    extrusion = np.array(dxf.get("extrusion", (0.0, 0.0, 1.0)), dtype=np.float64)
    scale = np.array([float(dxf.get(f"{axis}scale", 1.0)) for axis in "xyz"])
    rotation = float(dxf.get("rotation", 0.0))
    rows, columns = _grid(insert)
    spacing = np.array([float(dxf.get("column_spacing", 0.0)), float(dxf.get("row_spacing", 0.0))])
    check_in_reach(np.concatenate((place, base)), metres_per_unit, where)
    check_in_reach(np.concatenate((extrusion, scale, [rotation])), 1.0, where)
    check_in_reach(spacing * (columns, rows), metres_per_unit, where)
    world = np.eye(3)
    if not (extrusion == (0.0, 0.0, 1.0)).all() and np.linalg.norm(extrusion) > 1e-12:
        ocs = OCS(tuple(extrusion))
        world = np.array([ocs.ux.xyz, ocs.uy.xyz, ocs.uz.xyz])
    c, s = math.cos(math.radians(rotation)), math.sin(math.radians(rotation))
    turned = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    linear = np.diag(scale) @ turned @ world
    for row in range(rows):
        for column in range(columns):
            shift = np.array([column * spacing[0], row * spacing[1], 0.0]) @ turned
            matrix = np.eye(4)
            matrix[:3, :3] = linear
            matrix[3, :3] = (place + shift) @ world - base @ linear
            yield matrix


def expanded(
    blocks: Blocks,
    insert: Placed,
    wanted: Callable[[str], bool],
    keep_whole: Callable[[Placed], bool],
    metres_per_unit: float,
    wanted_block: Callable[[str], bool] = lambda name: False,
) -> Iterator[Placed]:
    """Return what an INSERT shows on wanted layers, in the world's coordinates.

    Parameters
    ----------
    blocks : Blocks
        The drawing's blocks.
    insert : Placed
        The INSERT.
    wanted : callable
        Whether a layer is wanted.
    keep_whole : callable
        Whether an INSERT inside is to be given as it is, not expanded.
    metres_per_unit : float
        For the check of numbers. [m]
    wanted_block : callable, optional
        Whether a block is wanted wherever it stands.

    Yields
    ------
    Placed
        Entities that are not INSERTs, and INSERTs to keep whole or hidden.

    Raises
    ------
    InputRefusedError
        As :meth:`Blocks.facts` and :func:`matrices`.
    """
    name = str(insert.entity.dxf.get("name", ""))
    block = blocks.drawing.blocks.get(name)
    if block is None or blocks.facts(name).external:
        return
    base = np.array(block.block.dxf.get("base_point", (0.0, 0.0, 0.0)), dtype=np.float64)  # type: ignore[union-attr]
    where = Where(file=blocks.file, layer=insert.layer, id=insert.id)
    copies = _copies(insert.entity)
    for number, own in enumerate(matrices(insert.entity, base, metres_per_unit, where)):
        matrix = own if insert.matrix is None else own @ insert.matrix
        prefix = f"{insert.id}[{number}]" if copies > 1 else insert.id
        for entity in block:
            if entity.dxftype() == "ATTDEF":
                continue
            layer = layer_of(entity)
            inner = Placed(
                entity,
                insert.layer if layer == "0" else layer,
                f"{prefix}/{entity.dxf.get('handle', '?')}",
                matrix,
                insert,
            )
            if entity.dxftype() != "INSERT":
                if wanted(inner.layer):
                    yield inner
            elif keep_whole(inner):
                yield inner
            elif blocks.reaches(entity, inner.layer, wanted, wanted_block):
                if is_hidden(entity):
                    yield inner
                    continue
                yield from expanded(blocks, inner, wanted, keep_whole, metres_per_unit, wanted_block)
