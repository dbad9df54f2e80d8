"""Where names go on a plan: beside what they name, off the route, not over each other."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tautline.deliver.present import columns

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Label:
    """A name to be placed.

    Parameters
    ----------
    x, y : float
        What it names.
    lines : tuple of str
        The text.
    height : float
        Of a line's letters, in the units of x and y.
    gap : float
        Free space between the point and the text.
    needed : bool
        Placed even where that covers another.
    """

    x: float
    y: float
    lines: tuple[str, ...]
    height: float
    gap: float
    needed: bool = False

    @property
    def width(self) -> float:
        """Estimated width of the longest line."""
        return max(text_width(line, self.height) for line in self.lines)

    @property
    def tall(self) -> float:
        """Height of all lines."""
        return self.height * (1.0 + 1.45 * (len(self.lines) - 1))


def text_width(text: str, height: float) -> float:
    """Return about how wide a text is in a plain sans serif face of that letter height."""
    return 0.86 * height * columns(text)


_SIDES = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))


@dataclass(frozen=True)
class Placed:
    """Where a label went.

    Parameters
    ----------
    box : tuple of 4 floats
        x0, y0, x1, y1 of its text.
    clear : bool
        Whether it covers no other label and stays within the edges.
    """

    box: Box
    clear: bool


class Plan:
    """A plan that fills up with labels.

    Parameters
    ----------
    cell : float
        Size of the squares in which neighbours are looked for: about a label's width.
    edges : tuple of 4 floats, optional
        x0, y0, x1, y1 that labels are to stay within.
    """

    def __init__(self, cell: float, edges: Box | None = None) -> None:
        self._cell = cell
        self._edges = edges
        self._points: defaultdict[tuple[int, int], list[tuple[float, float]]] = defaultdict(list)
        self._boxes: defaultdict[tuple[int, int], list[Box]] = defaultdict(list)

    def avoid(self, path: Iterable[Sequence[float]], step: float) -> None:
        """Keep labels off a line, sampled every ``step``."""
        before: Sequence[float] | None = None
        for point in path:
            if before is not None:
                n = max(1, min(2000, math.ceil(math.dist(before[:2], point[:2]) / step)))
                for k in range(n):
                    self._point(*(before[j] + (point[j] - before[j]) * k / n for j in (0, 1)))
            before = point
        if before is not None:
            self._point(before[0], before[1])

    def _point(self, x: float, y: float) -> None:
        self._points[int(x // self._cell), int(y // self._cell)].append((x, y))

    def block(self, box: Box) -> None:
        """Keep labels off a box."""
        for key in self._cells(box):
            self._boxes[key].append(box)

    def put(self, label: Label) -> Placed:
        """Place a label beside its point where it covers least.

        Parameters
        ----------
        label : Label
            What to place.

        Returns
        -------
        Placed
            Its box; one that covers another label is marked so, and takes no room.
        """
        best = (math.inf, _beside(label, 1, 0, label.gap))
        for ring in (1.0, 2.5, 5.0) if label.needed else (1.0,):
            for order, (dx, dy) in enumerate(_SIDES):
                box = _beside(label, dx, dy, label.gap * ring)
                cost = self._cost(box) + 0.01 * order + 0.1 * ring
                if cost < best[0]:
                    best = (cost, box)
            if best[0] < 1.0:
                break
        clear = best[0] < 500.0
        if clear or label.needed:
            self.block(best[1])
        return Placed(best[1], clear)

    def _cost(self, box: Box) -> float:
        boxes = {b for key in self._cells(box) for b in self._boxes.get(key, ())}
        cost = 1000.0 * sum(_overlap(box, b) for b in boxes)
        edge = self._edges
        if edge and (box[0] < edge[0] or box[1] < edge[1] or box[2] > edge[2] or box[3] > edge[3]):
            cost += 500.0
        for key in self._cells(box):
            if key in self._points:
                cost += sum(box[0] <= x <= box[2] and box[1] <= y <= box[3] for x, y in self._points[key])
        return cost

    def _cells(self, box: Box) -> list[tuple[int, int]]:
        x0, y0, x1, y1 = (int(v // self._cell) for v in box)
        return [(i, j) for i in range(x0, x1 + 1) for j in range(y0, y1 + 1)]


def _beside(label: Label, dx: int, dy: int, gap: float) -> Box:
    w, h = label.width, label.tall
    reach = gap if 0 in (dx, dy) else gap * 0.7
    cx = label.x + dx * (reach + w / 2)
    cy = label.y + dy * (reach + h / 2)
    return cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
