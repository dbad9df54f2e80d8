"""Tension along many chains at once against the plain Python loop, both directions, side by side in one run.

Straights on slight slopes and flat bends by turns, spans of ten to thirty segments; CPU time, so that a busy machine does
not matter. Run ``python benchmarks/chains.py [chains] [segments]``.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable

import numpy as np

from mechanics.balance import Layout, tension_along
from mechanics.chain import Chain
from mechanics.errors import FloatArray

WEIGHT, FRICTION = 20.0, 0.35


def random_chains(count: int, mean: int, rng: np.random.Generator) -> Chain:
    """Ragged chains of ``mean`` segments on average, straights and bends by turns."""
    sizes = rng.integers(mean // 2, mean + mean // 2 + 1, count)
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    n = int(offsets[-1])
    bend = np.arange(n) % 2 == 1
    turn = np.where(
        bend, rng.choice(np.radians([11.25, 22.5, 45.0, 90.0]), n) * rng.choice([-1.0, 1.0], n), 0.0
    )
    length = np.where(bend, rng.uniform(1.0, 15.0, n) * np.abs(turn), rng.uniform(5.0, 60.0, n))
    grade = np.where(bend, 0.0, rng.uniform(-0.05, 0.05, n))
    return Chain(length, grade, grade, turn, offsets)


Rows = tuple[list[float], list[float], list[float], list[int]]


def inlined_loop(rows: Rows, weight: float, friction: float) -> list[float]:
    """The same tensions by a loop over plain floats, written out for speed."""
    length, grade, turn, offsets = rows
    cosh, sinh, sqrt, cos, sin = math.cosh, math.sinh, math.sqrt, math.cos, math.sin
    out = []
    for k in range(len(offsets) - 1):
        tension = 0.0
        for i in range(offsets[k], offsets[k + 1]):
            if turn[i] == 0.0:
                tension += weight * length[i] * (sin(grade[i]) + friction * cos(grade[i]))
            else:
                angle = friction * abs(turn[i])
                press = weight * length[i] / turn[i]
                tension = tension * cosh(angle) + sqrt(tension * tension + press * press) * sinh(angle)
            out.append(tension)
    return out


def leaving(
    tension: float, weight: float, friction: float, length: float, grade: float, turn: float
) -> float:
    """Tension leaving one straight or flat bend."""
    if turn == 0.0:
        return tension + weight * length * (math.sin(grade) + friction * math.cos(grade))
    angle = friction * abs(turn)
    press = weight * length / abs(turn)
    return tension * math.cosh(angle) + math.sqrt(tension**2 + press**2) * math.sinh(angle)


def plain_loop(rows: Rows, weight: float, friction: float) -> list[float]:
    """The same by a loop over plain floats, a call a segment."""
    length, grade, turn, offsets = rows
    out = []
    for k in range(len(offsets) - 1):
        tension = 0.0
        for i in range(offsets[k], offsets[k + 1]):
            tension = leaving(tension, weight, friction, length[i], grade[i], turn[i])
            out.append(tension)
    return out


def best(task: Callable[[], object], rounds: int) -> float:
    """Least CPU time of a few rounds. [s]"""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        task()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    mean = int(sys.argv[2]) if len(sys.argv) > 2 else 20
    chain = random_chains(count, mean, np.random.default_rng(7))
    back = chain.reversed()
    rows = [
        (c.length.tolist(), c.grade_in.tolist(), c.turn.tolist(), c.offsets.tolist()) for c in (chain, back)
    ]
    layouts = Layout(chain), Layout(back)

    def loop() -> list[list[float]]:
        return [plain_loop(r, WEIGHT, FRICTION) for r in rows]

    def inlined() -> list[list[float]]:
        return [inlined_loop(r, WEIGHT, FRICTION) for r in rows]

    def reused() -> list[FloatArray]:
        return [tension_along(layout, WEIGHT, FRICTION) for layout in layouts]

    def fresh() -> list[FloatArray]:
        return [tension_along(c, WEIGHT, FRICTION) for c in (chain, chain.reversed())]

    for slow, quick in zip(inlined(), reused(), strict=True):
        if not np.allclose(quick, slow, rtol=1e-12):
            sys.exit("the two disagree")
    work = 2 * len(chain)
    print(f"{count} chains, {len(chain)} segments, both directions")
    print(f"  {'':28s} {'million a second':>16s} {'ratio':>8s}")
    plain = 0.0
    for name, task, rounds in (
        ("plain Python loop", loop, 3),
        ("the same, inlined", inlined, 3),
        ("geometry reused", reused, 9),
        ("geometry set out anew", fresh, 9),
    ):
        taken = best(task, rounds)
        plain = plain or taken
        print(f"  {name:28s} {work / taken / 1e6:16.1f} {plain / taken:8.1f}")


if __name__ == "__main__":
    main()
