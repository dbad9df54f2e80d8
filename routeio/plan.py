"""Plans: lines in plan as courses of straights and tangent bends, with where each came from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import FloatArray
from routeio.corners import round_corners
from routeio.course import Course
from routeio.elements import laid_out
from routeio.explain import Beliefs, explained, plainer, straighter
from routeio.faithful import faithless, left_behind
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.legs import Piece, pieces_of
from routeio.options import ReadOptions
from routeio.radii import settle_radii
from routeio.ready import Ready
from routeio.runs import Run, Runs
from routeio.strays import FEWEST
from routeio.survey import Origin

#: From which of the plainer ways on a shape goes through the vertices.
_THROUGH = 2
#: Standard deviation of a turn from which it is said that scatter was assumed. [rad]
_DOUBT = math.radians(1.0)


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
    miss : tuple of 2 floats, optional
        How far its start and its end lie from the first and the last vertex, where known. [m]
    chain : Chain, optional
        Level, the way the line is drawn, where it is worked out.
    end : tuple of 3 floats, optional
        x and y of the course's end, and the heading there, looking back, where worked out. [m, m, rad]
    """

    course: Course
    origins: tuple[Origin, ...]
    stations: FloatArray
    findings: tuple[Finding, ...]
    scatter: float = 0.0
    residual: float = 0.0
    miss: tuple[float, float] | None = None
    chain: Chain | None = None
    end: tuple[float, float, float] | None = None


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
            if laid is not None and _is_all(own, runs, line) and not laid.sharp[own[0]]:
                out.append(_smooth(line, own[0], laid))
            else:
                out.append(_pieced(line, own, runs, laid, options))
        except InputRefusedError as refusal:
            out.append(refusal)
    return out


def _is_all(own: list[int], runs: list[Run], line: Ready) -> bool:
    """Whether a line is one run from end to end, with no drawn arc before it or behind."""
    return len(own) == 1 and (runs[own[0]].first, runs[own[0]].last) == (0, len(line.turn))


def _smooth(line: Ready, run: int, laid: Runs) -> Plan:
    """Return the plan of a line that is one run without sharp corners."""
    course, origins = laid.course(run, line)
    start, end = laid.miss[run]
    chain, last = (None, None) if line.upright else laid.whole(run)
    # how far its first and last vertex are from it says nothing of how far it goes
    start = max(start, math.dist(course.start, line.xy[0]))
    end = max(end, math.dist(course.end if last is None else last[:2], line.xy[-1]))
    findings = laid.findings(run, line, 0)
    if laid.assumed[run]:
        findings += _doubted(line, origins, laid.guess[run], laid.averaged[run])
    return Plan(
        course, origins, laid.stations(run), findings, laid.scatter[run], laid.residual[run],
        (start, end), chain, last,
    )  # fmt: skip


def _runs(number: int, line: Ready) -> list[Run]:
    """Return the runs of at least two straight legs."""
    if not line.turn.any():
        return [Run(number, 0, len(line.turn))]
    straight = np.concatenate(([False], line.turn == 0.0, [False]))
    edges = np.flatnonzero(straight[1:] != straight[:-1])
    return [Run(number, int(a), int(b)) for a, b in edges.reshape(-1, 2) if b - a > 1]


def _explained(lines: Sequence[Ready], runs: list[Run], options: ReadOptions, beliefs: Beliefs) -> Runs:
    xy = np.concatenate([lines[r.line].xy[r.first : r.last + 1] for r in runs])
    offsets = np.concatenate(([0], np.cumsum([r.last - r.first + 1 for r in runs])))
    drawn = np.array([lines[r.line].drawn for r in runs])
    beside_arcs = np.array([bool(lines[r.line].turn.any()) for r in runs])
    found = explained(xy, offsets, drawn, exact=beside_arcs, sigma=options.scatter, beliefs=beliefs)
    radii = settle_radii(found, beliefs.prior, options.standard_radii, options.sweep)
    elements = laid_out(found.traces, radii.chain, radii.sharp)
    plain = np.zeros(len(runs), bool)
    # a shape that leaves its line gives way to a plainer one: where vertices scatter without the few that are stray, then
    # by straights alone; then straights and arcs through the vertices, then the legs
    long = np.diff(offsets) >= FEWEST
    some, leaves = np.arange(len(runs)), np.zeros(len(runs), bool)
    for plainness in range(4):
        loose = found.averaged & ~found.scatter.exact
        if some.size:
            # only those that changed are looked at again
            leaves[some] = faithless(
                found.traces.take(some), elements.take(some, offsets), beliefs.tolerance, loose[some]
            )
        away = leaves & loose & long if plainness < _THROUGH else leaves.copy()
        some = np.flatnonzero(away)
        if some.size == 0:
            continue
        if plainness == 0:
            behind = left_behind(found.traces, elements, beliefs.tolerance, away)
            weight = np.where(behind, 0.0, found.traces.weight)
            found = replace(found, traces=replace(found.traces, weight=weight))
            continue
        if plainness < _THROUGH:
            found = straighter(found, some, beliefs)
        else:
            plain |= away
            found = plainer(found, some, beliefs, arcs=plainness == _THROUGH)
        radii = settle_radii(found, beliefs.prior, options.standard_radii, options.sweep)
        elements = laid_out(found.traces, radii.chain, radii.sharp)
    return Runs(found, radii, elements, plain, np.array([lines[r.line].backward for r in runs]))


def _pieced(line: Ready, own: list[int], runs: list[Run], laid: Runs | None, options: ReadOptions) -> Plan:
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
        scatter, residual = max(scatter, laid.scatter[number]), max(residual, laid.residual[number])
        guesses.append(laid.guess[number])
        at = run.last
    pieces += legs[at:]
    rounded = round_corners(
        pieces, line.xy, sweep=options.sweep, tolerance=options.chord_tolerance, where=line.where,
        what="grade break" if line.upright else "corner", locate=line.locate,
        scatter=max([scatter, *guesses]),
    )  # fmt: skip
    findings += rounded.findings
    if laid is not None and any(laid.assumed[number] for number in own):
        findings += _doubted(line, rounded.origins, max(guesses), any(laid.averaged[k] for k in own))
    return Plan(rounded.course, rounded.origins, rounded.stations, tuple(findings), scatter, residual)


def _doubted(line: Ready, origins: Sequence[Origin], guess: float, fitted: bool) -> tuple[Finding, ...]:
    """Return what is to be said of the turns of a line by itself, of which the vertices may scatter."""
    worst = max((o.sigma_turn or 0.0 for o in origins), default=0.0)
    if not worst > _DOUBT:
        return ()
    return (Finding(
        "scatter-assumed", "info",
        f"{len(line.xy)} vertices, alone or with those of their layer, hardly tell how far they scatter: "
        f"{'the fewest straights and bends that explain it are taken' if fitted else 'its turns are kept as drawn'}, one turn "
        f"may be {math.degrees(1.96 * worst):.0f} degrees off if the vertices are {span_text(guess)} off", line.where,
        "state the scatter, 0 where the line was drawn and not digitised",
    ),)  # fmt: skip


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
    miss = plan.miss
    if miss is None:
        (x0, y0), (x1, y1) = plan.course.start, plan.course.end
        first, last = line.xy[0].tolist(), line.xy[-1].tolist()
        miss = math.hypot(x0 - first[0], y0 - first[1]), math.hypot(x1 - last[0], y1 - last[1])
    worst = int(miss[1] > miss[0])
    if miss[worst] <= tolerance:
        return None
    where: Where = line.placed(line.xy[-worst])
    return Finding(
        "end-moved", "warning", f"the recovered shape ends {span_text(miss[worst])} from the line's end", where,
        "look at the line there: a stray end, or a kink beside an arc",
    )  # fmt: skip
