"""Where two ducts are drawn to one vault, a drafter's slip of millimetres is no bend on guides."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mechanics.chain import Chain
from mechanics.track import Bore, Friction
from network import DuctNetwork, Guides, build_row, feeder_route
from routeio.survey import Duct, Ground, Survey, Vault

WIDE = 0.1274  # inside diameter of a 5 in duct [m]


def _crossing(slip: tuple[float, float, float], turn: float = 0.0) -> tuple[Chain, list[bool]]:
    """Ducts of 50 m from A to B and on to C, the second one starting off B by ``slip`` and turned by ``turn``."""
    start = (50.0 + slip[0], slip[1], slip[2])
    far = (start[0] + 50.0 * math.cos(turn), start[1] + 50.0 * math.sin(turn), start[2])
    ducts = tuple(
        Duct(*(tag, Chain([50.0], [0.0], [0.0], [0.0]), a, heading, b, *ends, ()), elevated=True)
        for tag, a, heading, b, ends in (
            ("1", (0.0, 0.0, 0.0), 0.0, (50.0, 0.0, 0.0), ("A", "B")),
            ("2", start, turn, far, ("B", "C")),
        )
    )
    vaults = (Vault("A", 0.0, 0.0), Vault("B", 50.0, 0.0), Vault("C", far[0], far[1]))
    network = DuctNetwork.from_survey(Survey("x", "", Ground(1.0, "metre"), ducts, vaults, ()))
    bore = Bore(WIDE, Friction(0.2))
    crossing = build_row(feeder_route(network, ["A", "C"]), lambda duct: bore, Guides()).crossings[0]
    return crossing.chain, [b.guide for b in crossing.bores]


@pytest.mark.parametrize(
    "slip", [(0.0, 0.0, 0.0), (0.0, 0.006, 0.0), (-0.015, 0.006, 0.0), (0.01, -0.03, 0.02), (-0.02, 0.0, 0.0)]
)
def test_slip_is_no_guide(slip: tuple[float, float, float]) -> None:
    chain, guide = _crossing(slip)
    assert not any(guide)
    assert chain.total_length <= 0.02


@pytest.mark.parametrize("slip", [(0.0, 0.006, 0.0), (-0.015, -0.006, 0.0)])
def test_slip_adds_nothing_to_a_turn(slip: tuple[float, float, float]) -> None:
    chain, guide = _crossing(slip, turn=math.radians(40.0))
    assert guide.count(True) == 1
    assert float(np.abs(chain.turn).sum()) == pytest.approx(math.radians(40.0))


def test_mouths_set_apart_by_more_than_the_duct_are_an_s() -> None:
    chain, guide = _crossing((3.0, 0.5, 0.0))
    assert guide.count(True) == 2
    # tangents of two equal bends: 0.5 = 2 R (1 - cos a) + l sin a, 3.0 = 2 R sin a + l cos a with R 0.9144
    angle = float(np.abs(chain.turn).max())
    straight = float(chain.length[[not g for g in guide]].sum())
    assert 2 * 0.9144 * (1 - math.cos(angle)) + straight * math.sin(angle) == pytest.approx(0.5, abs=1e-6)
    assert 2 * 0.9144 * math.sin(angle) + straight * math.cos(angle) == pytest.approx(3.0, abs=1e-6)
