"""Light polylines many at once: what a drawing of ducts mostly is, turned into lines by a few array operations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from routeio.dxf_blocks import Placed
from routeio.dxf_lift import Lifted
from routeio.findings import Where
from routeio.ground import FARTHEST
from routeio.rawlines import RawLine
from routeio.survey import DuctFields

if TYPE_CHECKING:
    from ezdxf.entities import DXFEntity

#: Stands in the place of a line that is put aside.
ASIDE = RawLine(np.zeros((0, 3)), np.zeros(0), (), True)


class NotPlainError(Exception):
    """Lifted polylines that must be read one by one after all: by a drawing that holds them."""


def lifted_lines(
    lifted: Lifted,
    heads: Sequence[DXFEntity],
    layers: Sequence[str],
    ducts: Sequence[bool],
    file: str,
    scale: float,
    z_scale: float,
) -> list[RawLine]:
    """Make lines of lifted polylines.

    Parameters
    ----------
    lifted : Lifted
        The polylines.
    heads : sequence of DXFEntity
        The polylines in the drawing that have their heads.
    layers : sequence of str
        Of each head.
    ducts : sequence of bool
        Whether polylines with such a head are lines of the route.
    file : str
        For the record.
    scale, z_scale : float
        Metres in a unit, in plan and in elevation. [m]

    Returns
    -------
    list of RawLine
        One a polyline; :data:`ASIDE` for those that are none of the route.

    Raises
    ------
    NotPlainError
        Where a number is no place on the ground.
    """
    sizes = lifted.sizes
    points = np.empty((len(lifted.points), 3))
    np.multiply(lifted.points, scale, out=points[:, :2])
    own = np.array([float(head.dxf.get("elevation", 0.0)) for head in heads])[lifted.heads]
    elevation = np.where(np.isnan(lifted.elevation), own, lifted.elevation) * z_scale
    points[:, 2] = np.repeat(elevation, sizes)
    wanted = np.array(ducts)[lifted.heads]
    near = np.all(np.abs(points) < FARTHEST, axis=1)
    if not near[np.repeat(wanted, sizes)].all():
        raise NotPlainError
    ends = np.cumsum(sizes)
    corners = points[ends - sizes, :2].tolist()
    fields, bulge = DuctFields(), lifted.bulge
    lines = []
    for handle, head, last, size, (x, y) in zip(
        lifted.handles, lifted.heads.tolist(), ends.tolist(), sizes.tolist(), corners, strict=True
    ):
        if not ducts[head]:
            lines.append(ASIDE)
            continue
        first = last - size
        where = Where(file, layers[head], handle, x, y)
        lines.append(
            RawLine(points[first:last], bulge[first : last - 1], (handle,) * (size - 1), True, fields, where)
        )
    return lines


@dataclass
class LightLines:
    """Light polylines of duct layers put aside until all are there.

    Parameters
    ----------
    file : str
        For the record.
    scale, z_scale : float
        Metres in a unit, in plan and in elevation. [m]
    """

    file: str
    scale: float
    z_scale: float
    _packed: list[object] = field(default_factory=list, init=False)
    _sizes: list[int] = field(default_factory=list, init=False)
    _elevations: list[float] = field(default_factory=list, init=False)
    _placed: list[tuple[int, DXFEntity, str, str]] = field(default_factory=list, init=False)

    def take(self, entity: DXFEntity, layer: str, at: int) -> bool:
        """Put an entity aside.

        Parameters
        ----------
        entity : DXFEntity
            An LWPOLYLINE in model space.
        layer : str
            Its layer.
        at : int
            Which line of the drawing it becomes.

        Returns
        -------
        bool
            False for those to be read one by one: closed, in a plane of their own, or hidden.
        """
        dxf = entity.dxf
        if dxf.hasattr("extrusion") or dxf.hasattr("invisible") or int(dxf.get("flags", 0)) & 1:
            return False
        packed = entity.lwpoints.values  # type: ignore[attr-defined]
        self._packed.append(packed)
        self._sizes.append(memoryview(packed).nbytes // 40)  # five numbers a vertex
        self._elevations.append(float(dxf.get("elevation", 0.0)))
        self._placed.append((at, entity, layer, str(dxf.get("handle", "?"))))
        return True

    @property
    def full(self) -> bool:
        """Whether it is time to call :meth:`into`: blocks of some thousand need no memory to speak of."""
        return len(self._placed) >= 4096

    def into(self, lines: list[RawLine], one: Callable[[Placed], RawLine | None]) -> None:
        """Put the lines where they belong.

        Parameters
        ----------
        lines : list of RawLine
            Of the drawing; those put aside are :data:`ASIDE` so far, and stay so where they are no lines after all.
        one : callable
            Reads an entity by itself: all with a number that is no place, or with fewer than two vertices.
        """
        if not self._placed:
            return
        placed, all_sizes = self._placed, self._sizes
        values = np.frombuffer(b"".join(self._packed), dtype=np.float64).reshape(-1, 5)  # type: ignore[arg-type]
        sizes = np.array(all_sizes)
        ends = np.cumsum(sizes)
        points = np.empty((values.shape[0], 3))
        points[:, :2] = values[:, :2] * self.scale
        bulge = values[:, 4].copy()
        del values
        elevations = self._elevations
        self._packed, self._sizes, self._elevations, self._placed = [], [], [], []
        points[:, 2] = np.repeat(np.array(elevations) * self.z_scale, sizes)
        plain = (np.abs(points) < FARTHEST).all(axis=1) & (np.abs(bulge) <= 1.0)
        odd = np.bincount(np.repeat(np.arange(sizes.size), sizes), ~plain, minlength=sizes.size) > 0
        odd |= sizes < 2
        corners = points[np.minimum(ends - sizes, len(points) - 1), :2].tolist()
        fields = DuctFields()
        for (at, entity, layer, handle), last, size, (x, y), strange in zip(
            placed, ends.tolist(), all_sizes, corners, odd.tolist(), strict=True
        ):
            if strange:
                lines[at] = one(Placed(entity, layer, handle)) or ASIDE
                continue
            first = last - size
            lines[at] = RawLine(
                points[first:last],
                bulge[first : last - 1],
                (handle,) * (size - 1),
                True,
                fields,
                Where(self.file, layer, handle, x, y),
            )
