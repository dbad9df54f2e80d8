"""What any book of statics or any table of pipes says of ropes, slopes and water."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mechanics import Bundle, Cable, Chain, holding_tension, tension_along
from mechanics.bundle import weight_of
from mechanics.peaks import steep

INCH, LBF, FOOT = 0.0254, 4.4482216152605, 0.3048


@pytest.mark.parametrize(
    ("friction", "turns", "printed"),
    [
        (0.1, 1, 1.9), (0.1, 2, 3.5), (0.1, 3, 6.6), (0.1, 4, 12), (0.1, 5, 23),
        (0.2, 1, 3.5), (0.2, 2, 12), (0.2, 3, 43), (0.2, 4, 152), (0.2, 5, 535),
        (0.3, 1, 6.6), (0.3, 2, 43), (0.3, 3, 286), (0.3, 4, 1881), (0.3, 5, 12392),
    ],
)  # fmt: skip
def test_rope_round_a_bollard(friction: float, turns: int, printed: float) -> None:
    """Ratio of the tensions of a rope wound round a post, the capstan equation's usual table (from memory)."""
    angle = 2 * math.pi * turns
    wound = Chain([angle * 0.2], [0.0], [0.0], [angle])
    ratio = float(tension_along(wound, weight=0.0, friction=friction, entry=1.0)[0])
    digit = 0.1 if printed < 10 else 1.0
    assert ratio == pytest.approx(printed, abs=0.5 * digit + 1e-9)


@pytest.mark.parametrize(
    ("inside", "printed"),
    [(2.067, 1.45), (3.068, 3.20), (4.026, 5.51), (6.065, 12.51)],
)
def test_water_that_a_cable_displaces(inside: float, printed: float) -> None:
    """Weight of water in steel pipe of schedule 40, lb/ft, as tables of pipe print it (from memory): 2, 3, 4, 6 in.

    Half of the last digit, and 0.2 % since the tables take water at 62.3 to 62.4 lb/ft3.
    """
    bundle = Bundle((Cable(diameter=inside * INCH, weight=400.0),))
    lift = weight_of(bundle) - weight_of(bundle, flooded=True)
    assert lift * FOOT / LBF == pytest.approx(printed, abs=0.005 + 0.002 * printed)


@pytest.mark.parametrize(
    ("friction", "degrees"), [(0.1, 5.71), (0.2, 11.31), (0.3, 16.70), (0.4, 21.80), (0.5, 26.57)]
)
def test_angle_of_repose(friction: float, degrees: float) -> None:
    """The slope on which a body just slides by itself, arctan of the friction, as books of statics print it."""
    for off, slides in ((-0.01, False), (0.01, True)):
        grade = -math.radians(degrees + off)
        slope = Chain([100.0], [grade], [grade], [0.0])
        assert bool(steep(slope, friction)[0]) is slides
        assert (holding_tension(slope, 20.0, friction) > 0.0) is slides


def test_without_friction_only_the_rise_counts() -> None:
    """Conservation of energy: along any smooth way the tension gains weight times rise."""
    rng = np.random.default_rng(3)
    n = 200
    grades = rng.uniform(-1.4, 1.4, (2, n))
    grades[1, ::4] = grades[0, ::4]
    length, turn = rng.uniform(1.0, 40.0, n), rng.uniform(-2.0, 2.0, n) * (np.arange(n) % 3 > 0)
    chain = Chain(length, grades[0], grades[1], turn, np.arange(n + 1))
    # rise of an arc whose grade changes evenly: L (cos g0 - cos g1)/(g1 - g0)
    sweep = grades[1] - grades[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        rise = np.where(
            sweep == 0.0, length * np.sin(grades[0]), length * (np.cos(grades[0]) - np.cos(grades[1])) / sweep
        )
    out = tension_along(chain, weight=30.0, friction=0.0, entry=np.full(n, 500.0))
    assert out == pytest.approx(500.0 + 30.0 * rise, rel=1e-9, abs=1e-6)
