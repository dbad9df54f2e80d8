"""How true the recovered shape is, beside taking lines vertex by vertex and beside simplifying them; and what it costs.

Random ducts (see ``truth/routes.py``) are drawn by chords and digitised with scatter; what tension a pull through what
is recovered takes is set beside that through the true duct, in both directions. Scatter and step are not told to the
program, each line is recovered by itself, and corners left sharp get a sweep of 5 m. The simplified line has the scatter
told to it: Douglas and Peucker's at three times the scatter, at least 5 cm, corners swept at 5 m. The fit from the truth
knows how many bends there are, where, and the scatter: no method that has only the vertices does better but by luck.

Run ``python benchmarks/shape.py [--routes N] [part ...]`` with any of the parts flat, dirty, short, hills, speed.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from truth.oracle import best_fit
from truth.routes import FloatArray, digitised, drawn, route, short_line

from mechanics.balance import tension_along
from mechanics.chain import Chain
from routeio.options import ReadOptions
from routeio.rawlines import RawLine
from routeio.shape import Shape, recover_many

WEIGHT, FRICTION, ENTRY, SWEEP = 20.0, 0.25, 500.0, 5.0
OPTIONS = ReadOptions(sweep=SWEEP)


def raw(points: FloatArray, hilly: bool = False) -> RawLine:
    """The line as a layer without arcs would give it."""
    if not hilly:
        points = np.column_stack((points[:, :2], np.full(len(points), np.nan)))
    return RawLine(points, np.zeros(len(points) - 1), ("1",) * (len(points) - 1), False)


def cornered(points: FloatArray, radius: float, hilly: bool) -> Chain:
    """Legs as straights, with a bend of the radius at every vertex, or what radius the legs leave room for."""
    step = np.diff(points, axis=0)
    flat = np.hypot(step[:, 0], step[:, 1])
    step, flat = step[flat > 1e-9], flat[flat > 1e-9]
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    grade = np.arctan2(step[:, 2], flat) if hilly else np.zeros(len(flat))
    leg = flat / np.cos(grade)
    turn, rise = np.diff(heading), np.diff(grade)
    bend = np.maximum(np.hypot(turn, rise), 1e-12)
    half = np.tan(np.minimum(bend, 3.0) / 2.0)
    tangent = np.minimum(radius * half, 0.49 * np.minimum(leg[:-1], leg[1:]))
    length = np.empty(2 * len(leg) - 1)
    length[::2] = leg - np.concatenate(([0.0], tangent)) - np.concatenate((tangent, [0.0]))
    length[1::2] = np.maximum(tangent / half * bend, 1e-9)
    turns, grade_in, grade_out = np.zeros(len(length)), np.repeat(grade, 2)[:-1], np.repeat(grade, 2)[:-1]
    turns[1::2], grade_in[1::2], grade_out[1::2] = turn, grade[:-1], grade[1:]
    return Chain(length, grade_in, grade_out, turns)


def simplified(points: FloatArray, scatter: float) -> FloatArray:
    """The vertices that are left, with their heights."""
    line = shapely.simplify(shapely.linestrings(points), max(3.0 * scatter, 0.05), preserve_topology=False)
    return shapely.get_coordinates(line, include_z=True)


def judged(chain: Chain) -> FloatArray:
    """Exit tension both ways [N], greatest sidewall pressure both ways [N/m], total turn [degrees] of a chain."""
    found = []
    for way in (chain, chain.reversed()):
        tension = tension_along(way, WEIGHT, FRICTION, ENTRY)
        found.append((tension[-1], (tension * way.curvature).max()))
    return np.array([*(f[0] for f in found), *(f[1] for f in found), np.degrees(np.abs(chain.turn).sum())])


@dataclass(frozen=True)
class Case:
    """A duct and its digitised vertices."""

    truth: Chain
    points: FloatArray
    hilly: bool = False
    clean: FloatArray | None = None


def shapes_of(cases: Sequence[Case], together: bool = False) -> list[Shape | Exception]:
    """The recovered shapes, each line by itself unless they are one layer."""
    lines = [raw(case.points, case.hilly) for case in cases]
    if together:
        return recover_many(lines, OPTIONS)
    return [recover_many([line], OPTIONS)[0] for line in lines]


def table(name: str, cases: Sequence[Case], scatter: float) -> None:
    """Print the errors of one cell."""
    truth = np.array([judged(case.truth) for case in cases])
    ways: dict[str, Callable[[int, Case], Chain | None]] = {}
    shapes = shapes_of(cases)
    refused = sum(isinstance(shape, Exception) for shape in shapes)

    def recovered(i: int, _case: Case) -> Chain | None:
        shape = shapes[i]
        return shape.chain if isinstance(shape, Shape) else None

    ways["vertex by vertex"] = lambda _, case: cornered(case.points, 1e-6, case.hilly)
    ways["simplified, swept"] = lambda _, case: cornered(simplified(case.points, scatter), SWEEP, case.hilly)
    ways["recovered"] = recovered
    bounds: list[float] = []

    def from_truth(_i: int, case: Case) -> Chain | None:
        if case.clean is None:
            return None
        chain, bound = best_fit(case.truth, case.clean, case.points, scatter)
        bounds.append(np.degrees(bound))
        return chain

    if scatter and cases[0].clean is not None:
        ways["from the truth"] = from_truth
    for label, way in ways.items():
        rows = []
        for i, case in enumerate(cases):
            chain = way(i, case)
            if chain is not None:
                rows.append((judged(chain), truth[i]))
        got, want = (np.array(r) for r in zip(*rows, strict=True))
        off = 100.0 * np.abs(got[:, :4] / want[:, :4] - 1.0)
        tension, pressure = off[:, :2].max(axis=1), off[:, 2:].max(axis=1)
        turn = np.abs(got[:, 4] - want[:, 4])
        cells = [f"{figure(np.median(v))} /{figure(np.percentile(v, 95))}" for v in (tension, pressure, turn)]
        print(f"  {name if label == 'vertex by vertex' else '':24} {label:18}" + "  ".join(cells))
    if bounds:
        # errors of all routes as normal deviates, each of its bound
        deviate = [NormalDist().inv_cdf(0.5 + (k + 0.5) / 400) for k in range(200)]
        least = np.outer(bounds, deviate)
        cell = f"{figure(np.median(least))} /{figure(np.percentile(least, 95))}"
        print(f"  {'':24} {'least possible':18}{'':44}{cell}")
    if refused:
        print(f"  {'':24} refused: {refused} of {len(cases)}")


def figure(value: float) -> str:
    """A number in nine places; sidewall pressure where a line has no radius is beyond any."""
    return f"{value:9.2f}" if value < 1e5 else f"{value:9.0e}"


def heading(title: str) -> None:
    print(
        f"\n{title}\n  {'':24} {'':18}{'tension %':>20}  {'sidewall pressure %':>20}  {'total turn, deg':>20}"
    )


FLAT = {
    "as drawn": (None, 0.0),
    "2 m": (2.0, 0.0),
    "2 m, 2 cm": (2.0, 0.02),
    "2 m, 5 cm": (2.0, 0.05),
    "5 m, 10 cm": (5.0, 0.10),
    "10 m, 30 cm": (10.0, 0.30),
}


def flat(count: int) -> None:
    heading(f"flat, {count} routes a cell: median / 95th percentile of the error against the truth")
    for name, (step, scatter) in FLAT.items():
        rng = np.random.default_rng(11)
        truths = [route(rng) for _ in range(count)]
        clean = [drawn(t, step) for t in truths]
        cases = [Case(t, digitised(c, rng, scatter), clean=c) for t, c in zip(truths, clean, strict=True)]
        table(name, cases, scatter)


def dirty(count: int) -> None:
    heading(f"dirty lines, 2 m, 5 cm, {count} routes a cell")
    for name, how in {
        "3 % of vertices 1 m off": {"strays": 0.03},
        "two and two 1 m off": {"strays": 0.03, "together": 2},
        "correlated by 0.8": {"correlation": 0.8},
    }.items():
        rng = np.random.default_rng(12)
        truths = [route(rng) for _ in range(count)]
        table(name, [Case(t, digitised(drawn(t, 2.0), rng, 0.05, **how)) for t in truths], 0.05)


def hills(count: int) -> None:
    heading(f"with elevations, grades to 10 %, {count} routes a cell")
    for name, (step, scatter, heights) in {
        "as drawn": (None, 0.0, 0.0),
        "2 m, 2 cm, z 2 cm": (2.0, 0.02, 0.02),
        "2 m, 5 cm, z 5 cm": (2.0, 0.05, 0.05),
        "5 m, 10 cm, z 5 cm": (5.0, 0.10, 0.05),
    }.items():
        rng = np.random.default_rng(13)
        truths = [route(rng, hilly=True) for _ in range(count)]
        noisy = [digitised(drawn(t, step), rng, scatter, heights=heights) for t in truths]
        table(name, [Case(t, p, True) for t, p in zip(truths, noisy, strict=True)], scatter)


def short_case(rng: np.random.Generator, scatter: float, bent: bool) -> Case:
    """A line of 4 to 10 vertices 5 m apart or so: a straight, or two straights and a bend."""
    truth, points = short_line(rng, bent)
    return Case(truth, digitised(points, rng, scatter))


def short(count: int) -> None:
    """How often 1.96 of the deviations stated for bends cover what they, and the total turn, are off."""
    print(
        f"\nlines of 4 to 10 vertices 5 m apart, {count} of a kind: covered by what is stated, times in 100, and how wide"
    )
    print(
        f"  {'':24}{'':10}{'total turn, deg: covered   stated  off: median / 95th':>54}"
        f"{'  each turn, deg: covered   stated    off':42}{'vertex by vertex':>18}"
    )
    for scatter in (0.02, 0.05, 0.10, 0.30):
        rng = np.random.default_rng(14)
        kinds = {
            name: [short_case(rng, scatter, bent) for _ in range(count)]
            for name, bent in (("straight", False), ("one bend", True))
        }
        layer = shapes_of([c for cases in kinds.values() for c in cases], together=True)
        for k, (name, cases) in enumerate(kinds.items()):
            bare = [abs(judged(cornered(c.points, 1e-6, False))[-1] - judged(c.truth)[-1]) for c in cases]
            for how, shapes in (
                ("alone", shapes_of(cases)),
                ("a layer", layer[k * count : (k + 1) * count]),
            ):
                off, allowed = _false_turns(cases, shapes)
                each, room = _each_turn(cases, shapes)
                label = f"{100 * scatter:.0f} cm, {name}" if how == "alone" else ""
                print(
                    f"  {label:24}{how:10}{100.0 * np.mean(off <= allowed):24.1f}{_middle(allowed):9.1f}"
                    f"{np.median(off):10.2f} / {np.percentile(off, 95):6.2f}{'':2}"
                    f"{_share(each <= room):23.1f}{_middle(room):9.1f}{_middle(each):7.2f}{'':3}"
                    f"{np.median(bare):8.2f} / {np.percentile(bare, 95):6.2f}"
                )


def _false_turns(cases: Sequence[Case], shapes: Sequence[Shape | Exception]) -> tuple[FloatArray, FloatArray]:
    """How far total turn is off, and what the deviations stated for the bends, added up, allow. [degrees]"""
    false, allowed = [], []
    for case, shape in zip(cases, shapes, strict=True):
        if isinstance(shape, Exception):
            false.append(np.inf)
            allowed.append(0.0)
            continue
        false.append(abs(np.degrees(np.abs(shape.chain.turn).sum()) - judged(case.truth)[-1]))
        allowed.append(np.degrees(1.96 * sum(o.sigma_turn or 0.0 for o in shape.origins)) + 1e-6)
    return np.array(false), np.array(allowed)


def _each_turn(cases: Sequence[Case], shapes: Sequence[Shape | Exception]) -> tuple[FloatArray, FloatArray]:
    """How far each bend's turn is from the duct's between the middles of the straights beside it, and 1.96 of what is
    stated for it. [degrees]
    """
    off, allowed = [], []
    for case, shape in zip(cases, shapes, strict=True):
        if isinstance(shape, Exception):
            continue
        truth, chain = case.truth, shape.chain
        ends, way = (np.concatenate(([0.0], np.cumsum(v))) for v in (truth.length, truth.turn))
        knots = np.concatenate(([0.0], np.cumsum(chain.length)))
        for k in np.flatnonzero(chain.turn):
            low, high = knots[k], knots[k + 1]
            if k and not chain.turn[k - 1]:
                low = 0.5 * (knots[k - 1] + knots[k])
            if k + 1 < len(chain.turn) and not chain.turn[k + 1]:
                high = 0.5 * (knots[k + 1] + knots[k + 2])
            a, b = np.interp(np.array([low, high]) * ends[-1] / knots[-1], ends, way)
            off.append(abs(np.degrees(chain.turn[k] - (b - a))))
            allowed.append(np.degrees(1.96 * (shape.origins[k].sigma_turn or 0.0)))
    return np.array(off), np.array(allowed)


def _share(inside: FloatArray) -> float:
    """Times in 100; of nothing, all."""
    return 100.0 * float(np.mean(inside)) if len(inside) else 100.0


def _middle(values: FloatArray) -> float:
    """Median; of nothing, 0."""
    return float(np.median(values)) if len(values) else 0.0


def spent(task: Callable[[], object]) -> float:
    """CPU time. [s]"""
    start = time.process_time()
    task()
    return time.process_time() - start


def speed(lines: int) -> None:
    rng = np.random.default_rng(15)
    cases = [short_case(rng, 0.05, bool(k % 2)).points for k in range(1000)]
    cases = [c for c in cases if len(c) == 10][:100] or cases
    many = []
    for k in range(lines):
        points = cases[k % len(cases)].copy()
        points[:, :2] += rng.normal(0.0, 0.05, (len(points), 2))
        many.append(points)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ducts.gpkg"
        offsets = np.array([len(p) for p in many]).cumsum()
        index = np.repeat(np.arange(lines), np.diff(np.concatenate(([0], offsets))))
        wkb = shapely.to_wkb(shapely.linestrings(np.concatenate(many)[:, :2], indices=index))
        pyogrio.raw.write(
            path, wkb, [np.arange(lines)], np.array(["n"]), layer="ducts", geometry_type="LineString",
            crs="EPSG:32632",
        )  # fmt: skip
        read = min(spent(lambda: pyogrio.read_dataframe(path, use_arrow=True)) for _ in range(5))
    print(
        f"\n{lines} noisy lines of {len(many[0])} vertices: CPU time beside pyogrio's Arrow read of them, {read:.3f} s"
    )
    rows = [raw(p) for p in many]
    print(f"  {'':34}{'CPU s':>8}{'ratio':>8}{'vertices a second':>20}")
    for part in (rows[: lines // 4], rows):
        taken = spent(lambda part=part: recover_many(part, OPTIONS))
        share = read * len(part) / lines
        vertices = sum(len(r.points) for r in part)
        print(
            f"  {f'{len(part)} lines, {vertices} vertices':34}{taken:8.2f}{taken / share:8.1f}{vertices / taken:20.0f}"
        )
    for wanted in (lines // 4, lines):
        rng = np.random.default_rng(16)
        long = drawn(route(rng, bends=max(4, wanted // 27)), 2.0)[:wanted]
        line = raw(digitised(long, rng, 0.05))
        taken = spent(lambda line=line: recover_many([line], OPTIONS))
        print(f"  {f'one line of {len(long)} vertices':34}{taken:8.2f}{'':8}{len(long) / taken:20.0f}")


PARTS: dict[str, Callable[[int], None]] = {"flat": flat, "dirty": dirty, "hills": hills}


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--routes", type=int, default=40, help="routes a cell")
    parser.add_argument("--lines", type=int, default=100_000, help="lines for the speed")
    parser.add_argument("parts", nargs="*", help="flat, dirty, short, hills, speed; default all")
    told = parser.parse_args()
    parts = told.parts or ["flat", "dirty", "hills", "short", "speed"]
    for part in parts:
        if part == "short":
            short(5 * told.routes)
        elif part == "speed":
            speed(told.lines)
        else:
            PARTS[part](told.routes)


if __name__ == "__main__":
    main()
