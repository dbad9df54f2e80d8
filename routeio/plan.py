"""Plans: lines in plan as courses of straights and tangent bends, with where each came from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.errors import FloatArray
from routeio.corners import Rounded, round_corners
from routeio.course import Course
from routeio.elements import Elements, laid_out
from routeio.explain import Beliefs, Explained, explained
from routeio.findings import Finding, InputRefusedError, Where
from routeio.legs import Piece, pieces_of
from routeio.options import ReadOptions
from routeio.radii import Radii, settle_radii
from routeio.ready import Ready
from routeio.survey import How, Origin
from routeio.tangent import BoolArray, IntArray

#: Straights shorter than this between arcs of one radius are no straights. [m]
_NOTHING = 1e-6


@dataclass(frozen=True, eq=False)
class Plan:
    """One line in plan.

    Parameters
    ----------
    course : Course
        About the line's own origin.
    origins : tuple of Origin
        One an element.
    stations : ndarray, shape (k,)
        Where along the course each vertex in plan lies. [m]
    findings : tuple of Finding
        What a person should know.
    scatter : float
        Standard deviation of its vertices; 0 where they are exact. [m]
    residual : float
        Root mean square distance of the vertices from the course. [m]
    """

    course: Course
    origins: tuple[Origin, ...]
    stations: FloatArray
    findings: tuple[Finding, ...]
    scatter: float = 0.0
    residual: float = 0.0


@dataclass(frozen=True)
class _Run:
    """Straight legs of a line one after another: from which vertex of the line to which."""

    line: int
    first: int
    last: int


def recovered(
    lines: Sequence[Ready], options: ReadOptions, beliefs: Beliefs
) -> list[Plan | InputRefusedError]:
    """Return the plan of each line, or why it has none.

    Parameters
    ----------
    lines : sequence of Ready
        Of one layer, so that few vertices here are judged by many there.
    options : ReadOptions
        What was stated.
    beliefs : Beliefs
        What is held of lines before they are seen.

    Returns
    -------
    list of Plan or InputRefusedError
        ``sharp-corner`` where a corner is sharp and no sweep is stated; ``line-turns-back``.
    """
    runs = [run for i, line in enumerate(lines) for run in _runs(i, line)]
    laid = _explained(lines, runs, options, beliefs) if runs else None
    at: dict[int, list[int]] = {}
    for number, run in enumerate(runs):
        at.setdefault(run.line, []).append(number)
    out: list[Plan | InputRefusedError] = []
    for i, line in enumerate(lines):
        own = at.get(i, [])
        try:
            if len(line.turn) == 1 and not line.turn.any():
                out.append(_single(line))
            elif laid is not None and len(own) == 1 and not line.turn.any() and not laid.sharp_line[own[0]]:
                out.append(laid.smooth(own[0], line))
            else:
                out.append(_pieced(line, own, runs, laid, options))
        except InputRefusedError as refusal:
            out.append(refusal)
    return out


def _runs(number: int, line: Ready) -> list[_Run]:
    """Return the runs of at least two straight legs."""
    if not line.turn.any():
        return [_Run(number, 0, len(line.turn))] if len(line.turn) > 1 else []
    straight = np.concatenate(([False], line.turn == 0.0, [False]))
    edges = np.flatnonzero(straight[1:] != straight[:-1])
    return [_Run(number, int(a), int(b)) for a, b in edges.reshape(-1, 2) if b - a > 1]


def _explained(lines: Sequence[Ready], runs: list[_Run], options: ReadOptions, beliefs: Beliefs) -> _Laid:
    xy = np.concatenate([lines[r.line].xy[r.first : r.last + 1] for r in runs])
    offsets = np.concatenate(([0], np.cumsum([r.last - r.first + 1 for r in runs])))
    drawn = np.array([lines[r.line].drawn for r in runs])
    beside_arcs = np.array([bool(lines[r.line].turn.any()) for r in runs])
    found = explained(xy, offsets, drawn, exact=beside_arcs, sigma=options.scatter, beliefs=beliefs)
    radii = settle_radii(found, beliefs.prior, options.standard_radii, options.sweep)
    return _Laid(found, radii, laid_out(found.traces, radii.chain, radii.sharp))


def _single(line: Ready) -> Plan:
    """Return the plan of a line of one straight leg."""
    x, y = (line.xy[1] - line.xy[0]).tolist()
    length = math.hypot(x, y)
    course = Course((0.0, 0.0), math.atan2(y, x), np.array([length]), np.zeros(1))
    return Plan(course, (Origin(line.ids[0], "drawn"),), np.array([0.0, length]), ())


class _Laid:
    """Runs laid out, with what is asked of each."""

    def __init__(self, found: Explained, radii: Radii, elements: Elements) -> None:
        self.found = found
        self.radii = radii
        self.elements = elements
        chain = radii.chain
        self.sharp_line: BoolArray = np.logical_or.reduceat(radii.sharp, chain.offsets[:-1])
        e = elements
        self.turn_sd = np.where(e.turn != 0.0, found.turn_sd[e.straight], 0.0)
        radius = np.where(e.turn != 0.0, e.length / np.where(e.turn == 0.0, 1.0, np.abs(e.turn)), 0.0)
        self.radius_sd = found.radius_sd[e.straight] * radius
        # the vertex nearest each element: the last about a straight's corner, the middle one about an arc's
        cell = chain.cell
        low, high = cell[e.straight], cell[np.minimum(e.straight + 1, len(cell) - 1)]
        self.vertex: IntArray = np.where(e.turn != 0.0, (low + high) // 2, np.maximum(high - 1, 0))

    def line(self, run: int) -> slice:
        """Return the elements of a run."""
        return slice(int(self.elements.offsets[run]), int(self.elements.offsets[run + 1]))

    def vertices(self, run: int) -> slice:
        """Return the vertices of a run."""
        offsets = self.found.traces.offsets
        return slice(int(offsets[run]), int(offsets[run + 1]))

    def origins(self, run: int, rows: IntArray, ids: tuple[str, ...]) -> list[Origin]:
        """Return where elements of a run come from, ids being those of its legs."""
        averaged = bool(self.found.averaged[run])
        begin = int(self.found.traces.offsets[run])
        same = ids[0] if len(set(ids)) == 1 else None
        turn = self.elements.turn[rows].tolist()
        legs = np.clip(self.vertex[rows] - begin, 0, len(ids) - 1).tolist()
        turn_sd, radius_sd = self.turn_sd[rows].tolist(), self.radius_sd[rows].tolist()
        straight: How = "fitted" if averaged else "drawn"
        return [
            Origin(same or ids[leg], "fitted", a, b) if t else Origin(same or ids[leg], straight)
            for t, leg, a, b in zip(turn, legs, turn_sd, radius_sd, strict=True)
        ]

    def smooth(self, run: int, line: Ready) -> Plan:
        """Return the plan of a line that is one run without sharp corners."""
        e = self.elements
        rows = np.arange(e.offsets[run], e.offsets[run + 1])
        rows = rows[e.length[rows] > _NOTHING]
        length, turn = e.length[rows], e.turn[rows]
        origins = self.origins(run, rows, line.ids)
        length, turn, origins = _arcs_joined(length, turn, origins)
        x, y = e.start[run].tolist()
        vertices = self.vertices(run)
        return Plan(
            Course((x, y), float(e.heading[run]), length, turn), tuple(origins), e.station[vertices],
            self.findings(run, line, 0), self.scatter(run), self.residual(run),
        )  # fmt: skip

    def scatter(self, run: int) -> float:
        """Return the scatter of a run's vertices, 0 where exact."""
        return float(self.found.scatter.sigma[run]) if self.found.averaged[run] else 0.0

    def residual(self, run: int) -> float:
        """Return the root mean square distance of a run's vertices from its elements, strays left out."""
        vertices = self.vertices(run)
        weight, off = self.found.traces.weight[vertices], self.elements.off[vertices]
        return math.sqrt(float((weight * off * off).sum()) / max(float(weight.sum()), 1.0))

    def pieces(self, run: int, line: Ready, first: int) -> list[Piece]:
        """Return the pieces of a run that starts at a vertex of its line, for corners to be rounded."""
        e = self.elements
        part = self.line(run)
        rows = np.arange(part.start, part.stop)
        ids = line.ids[first : first + self.vertices(run).stop - self.vertices(run).start - 1]
        heading = float(e.heading[run])
        keep = e.length[rows] > _NOTHING
        origins = self.origins(run, rows, ids)
        element = np.maximum.accumulate(e.element[self.vertices(run)]) - part.start
        out: list[Piece] = []
        here = e.start[run]
        for i, row in enumerate(rows.tolist()):
            length, turn = float(e.length[row]), float(e.turn[row])
            if keep[i]:
                low = int(np.searchsorted(element, i - (i > 0 and not keep[i - 1]), side="left"))
                high = (
                    int(np.searchsorted(element, i + (i + 1 < len(rows) and not keep[i + 1]), side="right"))
                    - 1
                )
                span = (first + min(low, len(element) - 1), first + max(high, low, 0))
                piece = Piece(here, here, heading, length, turn, origins[i], span)
                here = piece.end_of()
                piece.last = here
                out.append(piece)
            heading += turn
        return out

    def findings(self, run: int, line: Ready, first: int) -> tuple[Finding, ...]:
        """Return what is to be said of a run."""
        if not self.found.averaged[run]:
            return ()
        found: list[Finding] = []
        part = self.vertices(run)
        traces, e = self.found.traces, self.elements
        for i in np.flatnonzero(traces.weight[part] == 0.0).tolist():
            found.append(
                Finding(
                    "stray-vertex", "warning",
                    f"a vertex lies {abs(float(e.off[part.start + i])):.2f} m off a line whose others scatter by "
                    f"{self.scatter(run):.2g} m: left out", line.placed(line.xy[first + i]),
                    "correct the vertex, or draw the bend it stands for with more of them",
                )
            )  # fmt: skip
        a, b = self.radii.chain.offsets[run : run + 2].tolist()
        radius_sd = self.found.radius_sd
        for k in (a + np.flatnonzero(self.radii.assumed[a:b])).tolist():
            row = int(e.offsets[run]) + 2 * (k - a) - 1
            if e.turn[row] == 0.0:
                continue
            fitted = math.exp(float(self.found.chain.log_radius[k]))
            found.append(
                Finding(
                    "radius-assumed", "info",
                    f"vertices do not tell the radius of a bend of {math.degrees(abs(float(e.turn[row]))):.1f} degrees "
                    f"(best {fitted:.3g} m, give or take {100 * float(radius_sd[k]):.0f} %; allowed "
                    f"{self.radii.least[k]:.4g} to {self.radii.most[k]:.4g} m): taken as "
                    f"{math.exp(float(self.radii.chain.log_radius[k])):.4g} m",
                    line.placed(line.xy[first + int(self.vertex[row]) - part.start]),
                    "sidewall pressure hangs on it: find the radius it was built with",
                )
            )  # fmt: skip
        rows = self.line(run)
        bends = int((e.turn[rows] != 0.0).sum())
        xy = line.xy[first : first + part.stop - part.start]
        step = np.diff(xy, axis=0)
        kinks = np.diff(np.unwrap(np.arctan2(step[:, 1], step[:, 0])))
        before, after = float(np.hypot(step[:, 0], step[:, 1]).sum()), float(e.length[rows].sum())
        rho = float(self.found.scatter.correlation[run])
        found.append(
            Finding(
                "line-fitted", "info",
                f"{len(xy)} vertices that scatter by {self.scatter(run):.3g} m"
                + (f" (correlation {rho:.1f})" if rho else "")
                + f" became {bends} bends: turns of {np.degrees(np.abs(kinks).sum()):.0f} degrees became "
                f"{np.degrees(np.abs(e.turn[rows]).sum()):.0f}, {before:.2f} m became {after:.2f}, "
                f"residual {self.residual(run):.3g} m",
                line.where,
                "state the scatter if it is known to be another",
            )
        )  # fmt: skip
        return tuple(found)


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


def _pieced(line: Ready, own: list[int], runs: list[_Run], laid: _Laid | None, options: ReadOptions) -> Plan:
    """Return the plan of a line with drawn arcs or sharp corners, rounded."""
    legs = pieces_of(line.xy, line.bulge, line.ids)
    pieces: list[Piece] = []
    findings: list[Finding] = []
    at = 0
    scatter = residual = 0.0
    guesses: list[float] = []
    for number in own:
        run = runs[number]
        if laid is None:
            continue
        pieces += legs[at : run.first]
        pieces += laid.pieces(number, line, run.first)
        findings += laid.findings(number, line, run.first)
        scatter, residual = max(scatter, laid.scatter(number)), max(residual, laid.residual(number))
        guesses.append(float(laid.found.scatter.guess[number]))
        at = run.last
    pieces += legs[at:]
    rounded = round_corners(
        pieces, line.xy, sweep=options.sweep, tolerance=options.chord_tolerance, where=line.where,
        what="grade break" if line.upright else "corner", locate=line.locate,
    )  # fmt: skip
    origins = _with_doubt(rounded, max([scatter, *guesses]))
    return Plan(rounded.course, origins, rounded.stations, (*findings, *rounded.findings), scatter, residual)


def _with_doubt(rounded: Rounded, scatter: float) -> tuple[Origin, ...]:
    """Return the origins, corners between legs that may scatter with how far their turn may be off.

    Each leg's direction is off by the scatter of its two ends over its length.
    """
    if not scatter:
        return rounded.origins
    length, turn = rounded.course.length, rounded.course.turn
    out = list(rounded.origins)
    for i in range(1, len(out) - 1):
        if turn[i] and out[i].sigma_turn is None and not turn[i - 1] and not turn[i + 1]:
            reach = [length[j] + length[i] / 2 for j in (i - 1, i + 1)]
            doubt = scatter * math.sqrt(2.0) * math.hypot(1.0 / reach[0], 1.0 / reach[1])
            out[i] = Origin(out[i].id, out[i].how, doubt, out[i].sigma_radius)
    return tuple(out)


def not_at_end(plan: Plan, line: Ready, tolerance: float) -> Finding | None:
    """Return a finding where the course does not end where the line does.

    Parameters
    ----------
    plan : Plan
        Of the line.
    line : Ready
        The line.
    tolerance : float
        How far off it may end. [m]

    Returns
    -------
    Finding or None
        ``end-moved``.
    """
    ends = np.stack((np.asarray(plan.course.start), np.asarray(plan.course.end)))
    miss = np.hypot(*(ends - line.xy[[0, -1]]).T)
    worst = int(miss.argmax())
    if miss[worst] <= tolerance:
        return None
    where: Where = line.placed(line.xy[[0, -1][worst]])
    return Finding(
        "end-moved", "warning", f"the recovered shape ends {miss[worst]:.3g} m from the line's end", where,
        "look at the line there: a stray end, or a kink beside an arc",
    )  # fmt: skip
