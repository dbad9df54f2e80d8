"""Runs: straight legs one after another, laid out as straights and bends, with what is asked of each run."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import DomainError, FloatArray
from routeio.course import Course, ends_of, wrap
from routeio.doubts import doubts
from routeio.elements import Elements
from routeio.explain import Explained
from routeio.findings import Finding, span_text
from routeio.hidden import beyond_ends
from routeio.legs import Piece
from routeio.radii import Radii
from routeio.ready import Ready
from routeio.scatter import EXACT
from routeio.survey import How, Origin
from routeio.tangent import BoolArray, IntArray

#: Elements shorter than this are none. [m]
_NOTHING = 1e-6
#: Standard deviation of a radius, as a part of it, above which it is said that vertices hardly tell it.
_HARDLY = 0.5
#: A turn that may be further off is not told at all. [rad]
_LOST = math.radians(45.0)
#: Between fewer vertices there is nothing to fit: one leg is a straight.
_FITTED = 3
#: Nearer than so many times the scatter, a vertex that was left out lies where it may lie, and nothing is lost.
_EXPLAINED = 3.0


@dataclass(frozen=True)
class Run:
    """Straight legs of a line one after another: from which vertex of the line to which.

    Parameters
    ----------
    line : int
        Number of the line.
    first, last : int
        Vertices in plan.
    """

    line: int
    first: int
    last: int


class Runs:
    """Runs laid out. What is wanted of every run is worked out for all at once.

    Parameters
    ----------
    found : Explained
        Their vertices explained.
    radii : Radii
        What was settled on.
    elements : Elements
        Their straights and arcs.
    plain : ndarray of bool, shape (m,)
        Runs taken as drawn because what was recovered first left their vertices.
    backward : ndarray of bool, shape (m,)
        Runs of lines that are taken from their ends to their starts.
    """

    def __init__(
        self, found: Explained, radii: Radii, elements: Elements, plain: BoolArray, backward: BoolArray
    ) -> None:
        self.found, self.radii, self.elements, self.plain = found, radii, elements, plain
        e, traces, chain = elements, found.traces, radii.chain
        count = traces.count
        bends = e.turn != 0.0
        self._backward = backward
        self._bounds_of = traces.offsets.tolist()
        self.sharp: list[bool] = np.logical_or.reduceat(radii.sharp, chain.offsets[:-1]).tolist()
        self.averaged: list[bool] = found.averaged.tolist()
        self.scatter: list[float] = np.where(found.averaged, found.scatter.sigma, 0.0).tolist()
        # scattered, but with hardly a vertex but at corners: nothing is averaged, and every corner is in doubt
        loose = ~found.averaged & ~found.scatter.exact
        self.guess: list[float] = np.where(loose, found.scatter.sigma, found.scatter.guess).tolist()
        self.assumed: list[bool] = (found.scatter.guess > EXACT).tolist()
        weight = traces.weight
        square = np.add.reduceat(weight * e.off * e.off, traces.offsets[:-1])
        self.residual: list[float] = np.sqrt(
            square / np.maximum(np.add.reduceat(weight, traces.offsets[:-1]), 1.0)
        ).tolist()
        self.miss: list[list[float]] = np.abs(
            np.stack((e.off[traces.offsets[:-1]], e.off[traces.offsets[1:] - 1]), axis=-1)
        ).tolist()
        # the vertex nearest each element: the last about a straight's corner, the middle one about an arc's
        cell = chain.cell
        low, high = cell[e.straight], cell[e.straight + 1]
        self.vertex: IntArray = np.where(bends, (low + high) // 2, np.maximum(high - 1, 0))
        run = np.repeat(np.arange(count), np.diff(e.offsets))
        leg = np.clip(self.vertex - traces.offsets[run], 0, np.diff(traces.offsets)[run] - 2)
        radius = e.length / np.where(bends, np.abs(e.turn), 1.0)
        hidden = np.where((found.averaged | (found.scatter.guess > 0.0))[run], beyond_ends(traces, e), 0.0)
        self._rows = [
            np.where(bends, np.minimum(np.hypot(found.turn_sd[e.straight], hidden), _LOST), 0.0).tolist(),
            np.where(bends, found.radius_sd[e.straight] * radius, 0.0).tolist(),
            leg.tolist(),
            bends.tolist(),
        ]
        # elements that have a length
        self._kept = np.flatnonzero(e.length > _NOTHING)
        self._bounds_kept = np.searchsorted(self._kept, e.offsets)
        self._bounds = self._bounds_kept.tolist()
        self._kept_rows: list[int] = self._kept.tolist()
        self._length, self._turn = e.length[self._kept], e.turn[self._kept]
        kept_run, kept_bend = run[self._kept], bends[self._kept]
        double = (kept_run[1:] == kept_run[:-1]) & kept_bend[1:] & kept_bend[:-1]
        self._double: list[bool] = (np.bincount(kept_run[1:][double], minlength=count) > 0).tolist()
        # what the vertices did, and what is left of it
        step = np.diff(traces.xy, axis=0)
        inside = np.diff(traces.line) == 0
        size = np.where(inside, np.hypot(step[:, 0], step[:, 1]), 0.0)
        kink = wrap(np.diff(np.arctan2(step[:, 1], step[:, 0])))
        two = inside[1:] & inside[:-1]
        owner = traces.line
        self._before: tuple[list[float], list[float]] = (
            np.bincount(owner[:-1], size, minlength=count).tolist(),
            np.degrees(np.bincount(owner[:-2], np.where(two, np.abs(kink), 0.0), minlength=count)).tolist(),
        )
        self._after: tuple[list[float], list[float], list[int]] = (
            np.bincount(run, e.length, minlength=count).tolist(),
            np.degrees(np.bincount(run, np.abs(e.turn), minlength=count)).tolist(),
            np.bincount(run, bends, minlength=count).astype(np.int64).tolist(),
        )
        self._rho: list[float] = found.scatter.correlation.tolist()
        self._strays: list[bool] = (np.bincount(owner, weight == 0.0, minlength=count) > 0).tolist()
        self._doubts: dict[int, list[tuple[int, float, float]]] = {}
        kept = doubts(found, elements)
        for one, *doubt in zip(
            kept.line.tolist(), kept.vertex.tolist(), kept.off.tolist(), kept.turn.tolist(), strict=True
        ):
            self._doubts.setdefault(one, []).append(tuple(doubt))
        told = radii.assumed | radii.sharp | (found.radius_sd <= _HARDLY)
        self._hardly: IntArray = np.flatnonzero(bends & found.averaged[run] & ~told[e.straight])
        self._hardly_of: list[int] = np.searchsorted(self._hardly, e.offsets).tolist()
        self._assumed: list[bool] = np.logical_or.reduceat(radii.assumed, chain.offsets[:-1]).tolist()
        self._starts: tuple[list[tuple[float, float]], list[float]] = (
            [(x, y) for x, y in e.start.tolist()], e.heading.tolist(),
        )  # fmt: skip

    @cached_property
    def _chains(self) -> list[Chain] | None:
        """The level chains of all runs, the way each is drawn; None where one is none."""
        offsets = self._bounds_kept
        at, turn = np.arange(len(self._turn)), self._turn
        back = np.repeat(self._backward, np.diff(offsets))
        at = np.where(back, np.repeat(offsets[:-1] + offsets[1:] - 1, np.diff(offsets)) - at, at)
        level = np.zeros(len(turn))
        try:
            return Chain(
                self._length[at], level, level, np.where(back, 0.0 - turn[at], turn), offsets
            ).apart()
        except DomainError:
            return None

    @cached_property
    def _ends(self) -> list[tuple[float, float, float]]:
        """Where all runs end, and the headings there, looking back."""
        e = self.elements
        end, out = ends_of(e.start, e.heading, self._length, self._turn, self._bounds_kept)
        return list(zip(*end.T.tolist(), wrap(out + np.pi).tolist(), strict=True))

    def whole(self, run: int) -> tuple[Chain | None, tuple[float, float, float] | None]:
        """Return the level chain of a run, and its end with the heading looking back, where they are worked out."""
        if self._double[run] or self._chains is None:
            return None, None
        return self._chains[run], self._ends[run]

    def vertices(self, run: int) -> slice:
        """Return the vertices of a run."""
        return slice(self._bounds_of[run], self._bounds_of[run + 1])

    def stations(self, run: int) -> FloatArray:
        """Return how far along the run its vertices lie. [m]"""
        return self.elements.station[self.vertices(run)]

    def origins(self, run: int, rows: list[int], ids: tuple[str, ...]) -> list[Origin]:
        """Return where elements of a run come from, ids being those of its legs."""
        turn_sd, radius_sd, leg, bends = self._rows
        straight: How = "fitted" if self.averaged[run] else "drawn"
        plain: dict[str, Origin] = {}
        out = []
        for k in rows:
            name = ids[leg[k]]
            if bends[k]:
                out.append(Origin(name, "fitted", turn_sd[k], radius_sd[k]))
                continue
            if name not in plain:
                plain[name] = Origin(name, straight)
            out.append(plain[name])
        return out

    def course(self, run: int, line: Ready) -> tuple[Course, tuple[Origin, ...]]:
        """Return the course of a run without sharp corners, and where its elements come from."""
        a, b = self._bounds[run], self._bounds[run + 1]
        length, turn = self._length[a:b], self._turn[a:b]
        origins = self.origins(run, self._kept_rows[a:b], line.ids)
        if self._double[run]:
            length, turn, origins = _arcs_joined(length, turn, origins)
        start, heading = self._starts
        return Course(start[run], heading[run], length, turn), tuple(origins)

    def pieces(self, run: int, line: Ready, first: int) -> list[Piece]:
        """Return the pieces of a run that starts at a vertex of its line, for corners to be rounded."""
        e = self.elements
        begin, end = int(e.offsets[run]), int(e.offsets[run + 1])
        part = self.vertices(run)
        rows = list(range(begin, end))
        origins = self.origins(run, rows, line.ids[first : first + part.stop - part.start - 1])
        keep = (e.length[begin:end] > _NOTHING).tolist()
        element = np.maximum.accumulate(e.element[part]) - begin
        heading = float(e.heading[run])
        out: list[Piece] = []
        here = e.start[run]
        for i, row in enumerate(rows):
            length, turn = float(e.length[row]), float(e.turn[row])
            if keep[i]:
                # a vertex at a corner belongs to the pieces on its two sides
                from_corner = i > 0 and not keep[i - 1]
                to_corner = i + 1 < len(rows) and not keep[i + 1]
                low = int(np.searchsorted(element, i - from_corner, side="left"))
                high = int(np.searchsorted(element, i + to_corner, side="right")) - 1
                span = (first + min(low, len(element) - 1), first + max(high, low, 0))
                piece = Piece(here, here, heading, length, turn, origins[i], span)
                here = piece.end_of()
                piece.last = here
                out.append(piece)
            heading += turn
        return out

    def findings(self, run: int, line: Ready, first: int) -> tuple[Finding, ...]:
        """Return what is to be said of a run that starts at a vertex of its line."""
        found: list[Finding] = []
        if self.plain[run]:
            found.append(
                Finding(
                    "shape-as-drawn", "info",
                    "straights and arcs fitted to the vertices would leave them, most often past an acute corner: taken "
                    "through its vertices as drawn, corners swept", line.where,
                    "draw its bends as arcs or with more vertices, or state the scatter",
                )
            )  # fmt: skip
        if run in self._doubts:
            found += self._kept_in_doubt(run, line, first)
        if not self.averaged[run]:
            return tuple(found)
        if self._strays[run]:
            found += self._stray(run, line, first)
        if self._assumed[run]:
            found += self._given(run, line, first)
        found += self._untold(run, line, first)
        part = self.vertices(run)
        if part.stop - part.start < _FITTED:
            return tuple(found)
        rho = self._rho[run]
        correlated = f" (correlation {rho:.1f})" if rho else ""
        found.append(
            Finding(
                "line-fitted", "info",
                f"{part.stop - part.start} vertices that scatter by {span_text(self.scatter[run])}{correlated} became "
                f"{self._after[2][run]} bends: turns of {self._before[1][run]:.0f} degrees became "
                f"{self._after[1][run]:.0f}, {span_text(self._before[0][run])} became "
                f"{span_text(self._after[0][run])}, residual {span_text(self.residual[run])}",
                line.where, "state the scatter if it is known to be another",
            )
        )  # fmt: skip
        return tuple(found)

    def _stray(self, run: int, line: Ready, first: int) -> list[Finding]:
        part = self.vertices(run)
        off = self.elements.off[part]
        far = ~(np.abs(off) <= _EXPLAINED * self.scatter[run])
        return [
            Finding(
                "stray-vertex", "warning",
                f"a vertex lies {span_text(abs(float(off[i])))} off a line whose others scatter by "
                f"{span_text(self.scatter[run])}: left out", line.placed(line.xy[first + i]),
                "correct the vertex, or draw the bend it stands for with more of them",
            )
            for i in np.flatnonzero(far & (self.found.traces.weight[part] == 0.0)).tolist()
        ]  # fmt: skip

    def _kept_in_doubt(self, run: int, line: Ready, first: int) -> list[Finding]:
        found = []
        scatter = span_text(self.scatter[run] or self.guess[run])
        for vertex, off, turn in self._doubts[run]:
            if off:
                what = (
                    f"the vertex at the end lies {span_text(off)} off the straight before it, whose vertices scatter by "
                    f"{scatter}: kept, since the duct may turn there, and a bend of {math.degrees(turn):.0f} degrees hangs "
                    "on it alone"
                )
            else:
                what = (
                    f"a vertex turns the line one way and back again, where vertices scatter by {scatter}: kept, since "
                    f"{len(line.xy)} vertices are too few to tell a stray one from what the duct does"
                )
            found.append(
                Finding(
                    "vertex-kept", "info", what, line.placed(line.xy[first + vertex]),
                    "correct the vertex if it is stray, or draw the bend with more of them",
                )
            )  # fmt: skip
        return found

    def _untold(self, run: int, line: Ready, first: int) -> list[Finding]:
        """Say of how many bends the radius is the best for the vertices though they hardly tell it."""
        rows = self._hardly[self._hardly_of[run] : self._hardly_of[run + 1]].tolist()
        if not rows:
            return []
        e = self.elements
        worst = max(rows, key=lambda row: self.found.radius_sd[e.straight[row]])
        radius = float(e.length[worst] / abs(e.turn[worst]))
        at = first + int(self.vertex[worst] - self.found.traces.offsets[run])
        bends = "a bend" if len(rows) == 1 else f"{len(rows)} bends"
        return [
            Finding(
                "radius-untold", "info",
                f"vertices hardly tell the radius of {bends}, and allow no standard one: the best is kept, "
                f"{'' if len(rows) == 1 else 'the least sure '}{span_text(radius)} give or take "
                f"{100 * float(self.found.radius_sd[e.straight[worst]]):.0f} %",
                line.placed(line.xy[at]), "sidewall pressure hangs on it: find the radius it was built with",
            )
        ]  # fmt: skip

    def _given(self, run: int, line: Ready, first: int) -> list[Finding]:
        e, radii = self.elements, self.radii
        a, b = radii.chain.offsets[run : run + 2].tolist()
        found = []
        for k in (a + np.flatnonzero(radii.assumed[a:b])).tolist():
            row = int(e.offsets[run]) + 2 * (k - a) - 1
            if e.turn[row] == 0.0:
                continue
            best = math.exp(float(self.found.chain.log_radius[k]))
            at = first + int(self.vertex[row] - self.found.traces.offsets[run])
            found.append(
                Finding(
                    "radius-assumed", "info",
                    f"vertices do not tell the radius of a bend of {math.degrees(abs(float(e.turn[row]))):.1f} degrees "
                    f"(best {span_text(best)}, give or take {100 * float(self.found.radius_sd[k]):.0f} %; allowed "
                    f"{span_text(float(radii.least[k]))} to {span_text(float(radii.most[k]))}): taken as "
                    f"{span_text(math.exp(float(radii.chain.log_radius[k])))}",
                    line.placed(line.xy[at]), "sidewall pressure hangs on it: find the radius it was built with",
                )
            )  # fmt: skip
        return found


def _arcs_joined(
    length: FloatArray, turn: FloatArray, origins: list[Origin]
) -> tuple[FloatArray, FloatArray, list[Origin]]:
    """Return the elements with neighbouring arcs of one radius made one, as large turns are found in two halves."""
    bend = turn != 0.0
    pair = np.flatnonzero(bend[1:] & bend[:-1])
    if pair.size == 0:
        return length, turn, origins
    lengths, turns, kept = [float(length[0])], [float(turn[0])], [origins[0]]
    for i in range(1, len(length)):
        rate, last = turn[i] / length[i], turns[-1] / lengths[-1]
        if turn[i] and turns[-1] and abs(rate - last) <= 1e-6 * abs(rate):
            lengths[-1] += float(length[i])
            turns[-1] += float(turn[i])
        else:
            lengths.append(float(length[i]))
            turns.append(float(turn[i]))
            kept.append(origins[i])
    return np.array(lengths), np.array(turns), kept
