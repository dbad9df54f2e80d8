"""Small random rows, on the flat and in hills, for the tests of this folder."""

import random
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.pull import Override, Rules
from mechanics.track import Bore, Friction
from network.row import Row, RowVault, Stretch

GUIDES = Bore(None, Friction(0.12), guide=True)


@dataclass(frozen=True)
class Case:
    """A row with what is pulled through it."""

    row: Row
    bundle: Bundle
    rules: Rules


def _segment(
    rng: random.Random, grade: float, hilly: bool, steepest: float
) -> tuple[float, float, float, float]:
    kind = rng.choice(["straight", "bend", "slope", "compound"] if hilly else ["straight", "bend"])
    turn = rng.choice([-1, 1]) * rng.uniform(0.05, 0.5)
    radius = rng.choice([4.0, 8.0, 15.0])
    if kind == "straight":
        return rng.uniform(20.0, 100.0), grade, grade, 0.0
    if kind == "bend":
        return radius * abs(turn), grade, grade, turn
    new = rng.uniform(-steepest, steepest)
    length = max(rng.choice([8.0, 30.0]) * abs(new - grade), 0.5)
    return length, grade, new, turn if kind == "compound" else 0.0


def _stretch(bore: Bore, segments: list[tuple[float, float, float, float]]) -> Stretch:
    columns = [list(c) for c in zip(*segments, strict=True)] or [[]] * 4
    return Stretch(Chain(*columns), (bore,) * len(segments))


@pytest.fixture(scope="session")
def random_case() -> Callable[..., Case]:
    """A function of a seed; with ``extras`` the rules also have assists, a pusher, a winch and the like."""

    def make(seed: int, spans: int, hilly: bool, ages: bool = True, extras: bool = False) -> Case:
        rng = random.Random(seed)
        hold = rng.uniform(10.0, 60.0) if ages else None
        small = Bore(0.127, Friction(0.2, 0.5 if ages else None, hold))
        pressed = {"pressed": 0.15, "press_force": 400.0} if extras and rng.random() < 0.4 else {}
        large = Bore(
            0.154,
            Friction(0.25, 0.6 if ages else None, hold, **pressed),
            waviness=0.01 * rng.randint(0, 1),
            flooded=extras and rng.random() < 0.4,
        )
        grade, steepest = 0.0, rng.choice([0.1, 0.3, 0.6])
        laid, crossings = [], []
        for k in range(spans):
            segments = []
            for _ in range(rng.randint(1, 4)):
                segments.append(_segment(rng, grade, hilly, steepest))
                grade = segments[-1][2]
            laid.append(_stretch(rng.choice([small, small, large]), segments))
            if k < spans - 1:
                turn = rng.uniform(0.05, 0.3)
                bends = rng.choice([[], [turn], [turn, -turn]])
                crossings.append(_stretch(GUIDES, [(0.9144 * abs(t), grade, grade, t) for t in bends]))
        ends = [_stretch(GUIDES, [(1.2, 0.0, 0.0, 1.2)]) if rng.random() < 0.3 else None for _ in range(2)]
        vaults = tuple(RowVault(f"V{k}", *(rng.random() < 0.85 for _ in range(3))) for k in range(spans + 1))
        row = Row(vaults, tuple(laid), tuple(crossings), *ends)
        cable = Cable(0.041, 25.5, conductor_area=2.5e-4)
        bundle = Bundle((cable,) * rng.choice([1, 3]))
        limit = rng.choice([1.5e3, 4e3, 1e4]) * rng.uniform(0.6, 1.4) * len(bundle.cables)
        overrides = {"max_tension": Override(limit)}
        if extras and rng.random() < 0.4:
            overrides["restart_tension"] = Override(None, True)
            overrides["restart_sidewall"] = Override(None, True)
        rules = Rules(
            entry=rng.choice([0.0, 400.0]),
            max_sidewall=rng.choice([1e3, 3e3, 1e4]) * rng.uniform(0.6, 1.4),
            overrides=overrides,
            low_friction_factor=rng.choice([None, 0.7]) if extras else None,
            pusher=rng.choice([0.0, 1500.0]) if extras else 0.0,
            assists={f"V{k}": 3000.0 for k in range(1, spans) if rng.random() < 0.3} if extras else {},
            puller=rng.choice([None, 1.5 * limit]) if extras else None,
        )
        return Case(row, bundle, rules)

    return make


@pytest.fixture(scope="session")
def rng() -> np.random.Generator:
    """Random numbers, the same in every run."""
    return np.random.default_rng(20240)
