"""Where names go on a plan: beside what they name, off the route, not over each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

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

    @cached_property
    def width(self) -> float:
        """Estimated width of the longest line."""
        return max(text_width(line, self.height) for line in self.lines)

    @property
    def tall(self) -> float:
        """Height of all lines."""
        return self.height * (1.0 + 1.45 * (len(self.lines) - 1))


def text_width(text: str, height: float) -> float:
    """Return about how wide a text is in a plain sans serif face of that letter height.

    Parameters
    ----------
    text : str
        One line.
    height : float
        Of its letters.

    Returns
    -------
    float
        In the units of ``height``.
    """
    return 0.86 * height * columns(text)


_COVERED = 1000.0
"""Cost of one square of another label or a mark under a label; a square of the route costs 1."""
_FAR = 6.0
"""Letter heights from its point within which a name is still seen to belong to it."""
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
    grain : float
        Size of the squares in which it remembers what is taken: about half a letter.
    edges : tuple of 4 floats, optional
        x0, y0, x1, y1 that labels are to stay within.
    """

    def __init__(self, grain: float, edges: Box | None = None) -> None:
        self._grain = grain
        self._edges = edges
        self._inked: set[tuple[int, int]] = set()
        self._taken: set[tuple[int, int]] = set()

    def avoid(self, path: Iterable[Sequence[float]]) -> None:
        """Keep labels off a line."""
        before: Sequence[float] | None = None
        for point in path:
            if before is not None:
                n = max(1, min(4000, math.ceil(math.dist(before[:2], point[:2]) / self._grain)))
                for k in range(n):
                    self._ink(*(before[j] + (point[j] - before[j]) * k / n for j in (0, 1)))
            before = point
        if before is not None:
            self._ink(before[0], before[1])

    def _ink(self, x: float, y: float) -> None:
        self._inked.add((int(x // self._grain), int(y // self._grain)))

    def block(self, box: Box) -> None:
        """Keep labels off a box."""
        self._taken.update(_squares(box, self._grain))

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
        for ring in (1.0, 1.7, 2.5, 5.0, 9.0) if label.needed else (1.0, 1.7):
            for dx, dy in _SIDES:  # in order of liking: the first that is free will do
                if best[0] > 0:
                    box = self._inside(_beside(label, dx, dy, label.gap * ring))
                    best = min(best, (self._cost(box), box), key=lambda b: b[0])
            # farther off a name is anyone's: rather let it touch the route
            if best[0] <= 0 or (label.gap * ring >= _FAR * label.height and best[0] < _COVERED):
                break
        clear = best[0] < _COVERED
        if clear or label.needed:
            x0, y0, x1, y1 = best[1]
            # a little air at the sides, or two names in a row read as one
            self.block((x0 - self._grain, y0, x1 + self._grain, y1))
        return Placed(best[1], clear)

    def _inside(self, box: Box) -> Box:
        """Move a box sideways so that it does not stand over the edge, where that is enough."""
        if not self._edges:
            return box
        x0, y0, x1, y1 = box
        shift = max(self._edges[0] - x0, 0.0) or min(self._edges[2] - x1, 0.0)
        return x0 + shift, y0, x1 + shift, y1

    def _cost(self, box: Box) -> float:
        squares = _squares(box, self._grain)
        cost = 0.0
        edge = self._edges
        if edge and (box[0] < edge[0] or box[1] < edge[1] or box[2] > edge[2] or box[3] > edge[3]):
            cost += _COVERED
        for square in squares:
            cost += _COVERED * (square in self._taken) + (square in self._inked)
        return cost


def _squares(box: Box, size: float) -> list[tuple[int, int]]:
    x0, y0, x1, y1 = (int(v // size) for v in box)
    return [(i, j) for i in range(x0, x1 + 1) for j in range(y0, y1 + 1)]


def _beside(label: Label, dx: int, dy: int, gap: float) -> Box:
    w, h = label.width, label.tall
    reach = gap if 0 in (dx, dy) else gap * 0.7
    cx = label.x + dx * (reach + w / 2)
    cy = label.y + dy * (reach + h / 2)
    return cx - w / 2, cy - h / 2, cx + w / 2, cy + h / 2
