"""Raw lines as columns: a million of them as a few arrays, each made an object only when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from itertools import groupby
from typing import Any, overload

import numpy as np

from mechanics.errors import FloatArray
from routeio.findings import Where
from routeio.rawlines import RawLine
from routeio.survey import DuctFields
from routeio.tangent import BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class RawColumns(Sequence[RawLine]):
    """Many raw lines.

    Parameters
    ----------
    points : ndarray, shape (v, 3)
        Vertices of all lines, line after line. [m]
    bulge : ndarray, shape (v - n,)
        Of all legs, line after line.
    sizes : ndarray of int, shape (n,)
        Vertices of each line.
    names : tuple of str, or ndarray of int
        Ids that lines and legs have; as numbers where all are.
    id_names, id_times : ndarray of int, shape (r,)
        Ids of the legs by runs: which name, and how often it follows upon itself. No run goes from line to line.
    drawn : ndarray of bool, shape (n,)
        As :class:`~routeio.rawlines.RawLine` says.
    kinds : tuple of DuctFields
        Attributes that lines have.
    fields : ndarray of int, shape (n,)
        Which of them.
    layers : tuple of (str, str)
        Files and layers that lines are in.
    where_layers, where_names : ndarray of int, shape (n,)
        Which of them, and which of the names.
    where_places : ndarray, shape (n, 2)
        NaN where not known. [m]
    """

    points: FloatArray
    bulge: FloatArray
    sizes: IntArray
    names: tuple[str, ...] | IntArray
    id_names: IntArray
    id_times: IntArray
    drawn: BoolArray
    kinds: tuple[DuctFields, ...]
    fields: IntArray
    layers: tuple[tuple[str, str], ...]
    where_layers: IntArray
    where_names: IntArray
    where_places: FloatArray
    _ends: IntArray = field(init=False, repr=False)
    _runs: IntArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_ends", np.concatenate(([0], np.cumsum(self.sizes))))
        # the first run of each line
        legs = np.concatenate(([0], np.cumsum(self.id_times)))
        at = self._ends - np.arange(self._ends.size)
        object.__setattr__(self, "_runs", np.searchsorted(legs, at))

    @classmethod
    def of(cls, lines: Sequence[RawLine]) -> RawColumns:
        """Return lines as columns; those that are columns already as they are.

        Parameters
        ----------
        lines : sequence of RawLine
            Any number.

        Returns
        -------
        RawColumns
            The same lines.
        """
        if isinstance(lines, RawColumns):
            return lines
        names, kinds, layers = _Table(), _Table(), _Table()
        runs = [run for line in lines for run in _runs_of(line.ids)]
        nan = float("nan")
        places = [
            (nan if w.x is None else w.x, nan if w.y is None else w.y) for w in (q.where for q in lines)
        ]
        return cls(
            points=np.concatenate([line.points for line in lines]) if lines else np.zeros((0, 3)),
            bulge=np.concatenate([line.bulge for line in lines]) if lines else np.zeros(0),
            sizes=np.array([line.points.shape[0] for line in lines], dtype=np.int64),
            id_names=names.indices([name for name, _ in runs]),
            id_times=np.array([times for _, times in runs], dtype=np.int64),
            drawn=np.array([line.drawn for line in lines], dtype=bool),
            fields=kinds.indices([line.fields for line in lines]),
            where_layers=layers.indices([(line.where.file, line.where.layer) for line in lines]),
            where_names=names.indices([line.where.id for line in lines]),
            where_places=np.array(places, dtype=np.float64).reshape(-1, 2),
            names=tuple(names.known),
            kinds=tuple(kinds.known),
            layers=tuple(layers.known),
        )

    @classmethod
    def joined(cls, some: Sequence[RawColumns]) -> RawColumns:
        """Return all lines of several layers as one.

        Parameters
        ----------
        some : sequence of RawColumns
            In order.

        Returns
        -------
        RawColumns
            One after another.
        """
        return some[0] if len(some) == 1 else cls.of([line for columns in some for line in columns])

    def arrays(self) -> dict[str, np.ndarray]:
        """Return the columns that are arrays, by name."""
        every = {f.name: getattr(self, f.name) for f in fields(self) if f.init}
        return {name: value for name, value in every.items() if isinstance(value, np.ndarray)}

    def __len__(self) -> int:
        return self.sizes.size

    @overload
    def __getitem__(self, index: int) -> RawLine: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[RawLine]: ...
    def __getitem__(self, index: int | slice) -> RawLine | Sequence[RawLine]:
        n = len(self)
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(n))]
        i = index + n if index < 0 else index
        if not 0 <= i < n:
            raise IndexError(f"line {index} of {n}")
        first, last = int(self._ends[i]), int(self._ends[i + 1])
        runs = slice(int(self._runs[i]), int(self._runs[i + 1]))
        return self._line(
            i,
            first,
            last,
            self.id_names[runs].tolist(),
            self.id_times[runs].tolist(),
            *self.where_places[i].tolist(),
        )

    def __iter__(self) -> Iterator[RawLine]:
        ends, runs = self._ends.tolist(), self._runs.tolist()
        which, times, places = self.id_names.tolist(), self.id_times.tolist(), self.where_places.tolist()
        for i, (x, y) in enumerate(places):
            a, b = runs[i], runs[i + 1]
            yield self._line(i, ends[i], ends[i + 1], which[a:b], times[a:b], x, y)

    def _line(
        self, i: int, first: int, last: int, which: list[int], times: list[int], x: float, y: float
    ) -> RawLine:
        names = self.names
        ids: tuple[str, ...] = ()
        for name, count in zip(which, times, strict=True):
            ids += (str(names[name]),) * count
        file, layer = self.layers[self.where_layers[i]]
        own = self.where_names[i]
        return RawLine(
            self.points[first:last],
            self.bulge[first - i : last - i - 1],
            ids,
            bool(self.drawn[i]),
            self.kinds[self.fields[i]],
            Where(
                file,
                layer,
                ids[0] if which and own == which[0] else str(names[own]),
                None if x != x else x,
                None if y != y else y,
            ),
        )


class _Table:
    """Values that stand in many places, each kept once."""

    def __init__(self) -> None:
        self.known: dict[Any, int] = {}

    def indices(self, values: Sequence[Any]) -> IntArray:
        known = self.known
        return np.array([known.setdefault(v, len(known)) for v in values], dtype=np.int64)


def _runs_of(ids: tuple[str, ...]) -> list[tuple[str, int]]:
    """Return each name with how often it follows upon itself."""
    if not ids:
        return []
    if ids.count(ids[0]) == len(ids):
        return [(ids[0], len(ids))]
    return [(name, sum(1 for _ in group)) for name, group in groupby(ids)]
