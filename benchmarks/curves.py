"""Curves that turn and change grade at once, against scipy's general integrator, side by side in one run.

Both are held against DOP853 at a relative tolerance of 1e-12. CPU time. Run ``python benchmarks/curves.py [curves] [by scipy]``.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

from mechanics.balance import Layout, tension_along
from mechanics.chain import Chain
from mechanics.errors import FloatArray


def random_curves(count: int, rng: np.random.Generator) -> tuple[Chain, FloatArray, FloatArray, FloatArray]:
    """Single curves of every sharpness and steepness; weights, frictions, entry tensions."""
    angle = rng.uniform(0.05, 1.5, count)
    radius = 10.0 ** rng.uniform(0.0, 2.0, count)
    start = rng.uniform(-1.5, 1.5, count) * np.where(rng.random(count) < 0.5, 0.1, 1.0)
    end = np.clip(start + angle * rng.uniform(-0.7, 0.7, count), -np.pi / 2, np.pi / 2)
    turn = angle * rng.choice([-1.0, 1.0], count) * 10.0 ** rng.uniform(-4.0, 0.0, count)
    chain = Chain(radius * angle, start, end, turn, np.arange(count + 1))
    weight = 10.0 ** rng.uniform(0.5, 2.3, count)
    entry = np.where(rng.random(count) < 0.2, 0.0, weight * radius * 10.0 ** rng.uniform(-2.0, 1.5, count))
    return chain, weight, rng.uniform(0.05, 0.7, count), entry


def by_scipy(
    chain: Chain, i: int, weight: float, friction: float, entry: float, method: str, tolerance: float
) -> float:
    """One curve by scipy."""
    length, start, turn = float(chain.length[i]), float(chain.grade_in[i]), float(chain.turn[i])
    sweep = float(chain.grade_out[i]) - start

    def rate(s: float, t: FloatArray) -> FloatArray:
        grade = start + sweep * s / length
        level = np.cos(grade)
        return weight * np.sin(grade) + friction * np.sqrt(
            (t * sweep / length - weight * level) ** 2 + (t * turn / length * level) ** 2
        )

    solved = solve_ivp(
        rate, (0.0, length), [entry], method=method, rtol=tolerance, atol=tolerance * weight * length
    )
    return float(solved.y[0, -1])


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    some = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
    chain, weight, friction, entry = random_curves(count, np.random.default_rng(11))
    layout = Layout(chain)
    times = []
    for _ in range(5):
        begin = time.process_time()
        ours = tension_along(layout, weight, friction, entry)
        times.append((time.process_time() - begin) / count)
    rows = [(i, float(weight[i]), float(friction[i]), float(entry[i])) for i in range(some)]
    begin = time.process_time()
    theirs = np.array([by_scipy(chain, *row, "RK45", 1e-9) for row in rows])
    slow = (time.process_time() - begin) / some
    truth = np.array([by_scipy(chain, *row, "DOP853", 1e-12) for row in rows])
    scale = np.maximum(np.abs(truth), weight[:some] * chain.length[:some])
    print(f"{count} curves; scipy on the first {some}")
    print(f"  {'':28s} {'us a curve':>12s} {'ratio':>8s} {'worst error':>12s}")
    for name, taken, found in (
        ("scipy RK45, 1e-9", slow, theirs),
        ("tension_along", min(times), ours[:some]),
    ):
        worst = float(np.max(np.abs(found - truth) / scale))
        print(f"  {name:28s} {taken * 1e6:12.2f} {slow / taken:8.1f} {worst:12.1e}")


if __name__ == "__main__":
    main()
