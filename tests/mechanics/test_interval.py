"""Holding back and intervals of tension, against brute force over finely cut chains."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from mechanics.balance import tension_along
from mechanics.chain import Chain
from mechanics.contact import PressedFriction
from mechanics.errors import DomainError
from mechanics.interval import carry_interval, entry_for, greatest_entry, holding_tension
from mechanics.level import contact_force, cut_at_level, slope
from mechanics.passage import Passage
from mechanics.pieces import cut

Floats = NDArray[np.float64]


def random_chain(rng: np.random.Generator, most: int = 6) -> Chain:
    """Hilly, with bends of every kind, grades joined."""
    n = int(rng.integers(1, most + 1))
    kind = rng.integers(0, 4, n)
    grade = rng.uniform(-1.2, 1.2)
    rows = []
    for k in kind:
        after = rng.uniform(-1.2, 1.2) if k >= 2 else grade
        rows.append((rng.uniform(1.0, 60.0), grade, after, rng.uniform(-1.6, 1.6) if k % 2 else 0.0))
        grade = after
    return Chain(*np.array(rows).T)


def finely(chain: Chain, parts: int = 40) -> tuple[Chain, NDArray[np.int64]]:
    n = len(chain)
    return cut(chain, np.repeat(np.arange(n), parts - 1), np.tile(np.arange(1, parts) / parts, n))


def profile(pieces: Chain, weight: float, friction: float, entry: float) -> Floats:
    return np.concatenate(([entry], tension_along(pieces, weight, friction, entry)))


def test_held_is_taut_and_no_less_would_do() -> None:
    rng = np.random.default_rng(21)
    held_some = 0
    for _ in range(40):
        chain, c, w = random_chain(rng), float(rng.uniform(0.05, 0.6)), 20.0
        held = holding_tension(chain, w, c)
        pieces, _ = finely(chain)
        assert profile(pieces, w, c, held).min() >= -1e-7 * w * chain.length.max()
        if held > 0.0:
            held_some += 1
            bottoms, _ = cut_at_level(chain, w, c, 0.0)
            assert profile(bottoms, w, c, held).min() == pytest.approx(0.0, abs=1e-6 * w)
            assert profile(bottoms, w, c, held * 0.999 - 0.001).min() < 0.0
    assert held_some > 10


def test_bottom_inside_a_sag_lies_where_tan_g_is_minus_c() -> None:
    # at T = 0 the slope is w (sin g + c cos g), whatever the curvature
    for turn in (0.0, 0.8):
        sag = Chain([60.0], [-0.6], [0.3], [turn])
        pieces, source = cut_at_level(sag, 20.0, 0.35, 0.0)
        assert pieces.grade_out[0] == pytest.approx(-math.atan(0.35), abs=1e-7)
        assert source.tolist() == [0, 0]
        held = holding_tension(sag, 20.0, 0.35)
        assert tension_along(pieces, 20.0, 0.35, held)[0] == pytest.approx(0.0, abs=1e-9)


def test_peak_at_a_level_in_a_crest() -> None:
    # w sin g + c (w cos g + T/R) = 0: sqrt(1 + c^2) sin(g + atan c) = -c T / (w R)
    w, c, r, level = 20.0, 0.2, 80.0, 900.0
    crest = Chain([r * 1.2], [0.3], [-0.9], [0.0])
    pieces, _ = cut_at_level(crest, w, c, level)
    expected = -math.atan(c) - math.asin(c * level / (w * r * math.sqrt(1 + c * c)))
    assert pieces.grade_out[0] == pytest.approx(expected, abs=1e-6)
    assert slope(pieces, w, c, level, 1.0)[0] == pytest.approx(0.0, abs=1e-5)


def test_peak_in_a_steep_sag() -> None:
    # on the crown: w sin g + c (T/R - w cos g) = 0 has its root beyond -atan(1/c) too
    w, c, r = 20.0, 0.35, 20.0
    sag = Chain([r * 1.5], [-1.5], [0.0], [0.0])
    level = w * r * math.sqrt(1 + c * c) / c * 0.999
    pieces, _ = cut_at_level(sag, w, c, level)
    roots = [math.atan(c) - math.pi / 2 - s * math.acos(0.999) for s in (1, -1)]
    assert pieces.grade_out[:-1] == pytest.approx(sorted(roots), abs=1e-5)


def within(pieces: Chain, source: NDArray[np.int64], upper: Floats, w: float, c: float, entry: float) -> bool:
    """Whether an entry tension serves, seen at many places."""
    t = profile(pieces, w, c, entry)
    bound = upper[source] * (1 + 1e-7)
    return bool(t.min() >= -1e-6 * w * 60 and np.all(t[1:] <= bound) and np.all(t[:-1] <= bound))


def test_intervals_are_those_found_by_trying() -> None:
    rng = np.random.default_rng(22)
    empty = 0
    for _ in range(40):
        chain, c, w = random_chain(rng, 5), float(rng.uniform(0.05, 0.6)), 20.0
        upper = rng.uniform(500.0, 8000.0, len(chain))
        stretch = Passage(chain, w, c, upper)
        low, high = (float(end) for end in stretch.entering())
        pieces, source = finely(chain, 12)
        if math.isnan(low):
            empty += 1
            assert math.isnan(high)
            assert math.isnan(float(stretch.leaving()[0]))
            assert not any(
                within(pieces, source, upper * 0.999, w, c, e) for e in np.linspace(0.1, 8000.0, 12)
            )
            continue
        assert within(pieces, source, upper, w, c, low)
        assert within(pieces, source, upper, w, c, high)
        assert within(pieces, source, upper, w, c, 0.5 * (low + high))
        coarse, back = cut_at_level(chain, w, c, upper)
        assert not within(coarse, back, upper, w, c, high * 1.001 + 0.1)
        out = [float(end) for end in stretch.leaving(0.0, 1e6)]
        expected = [tension_along(chain, w, c, e)[-1] for e in (low, high)]
        assert out == pytest.approx(expected, rel=1e-9, abs=1e-6)
    assert 3 < empty < 35


def test_there_and_back() -> None:
    rng = np.random.default_rng(23)
    chains = [random_chain(rng) for _ in range(20)]
    many = Chain.ragged([*chains[:10], Chain([], [], [], []), *chains[10:]])
    c = rng.uniform(0.05, 0.6, len(many))
    jumps = np.where(rng.random(len(many)) < 0.2, rng.uniform(-200.0, 200.0, len(many)), 0.0)
    entry = rng.uniform(0.0, 4000.0, many.count)
    leaving = tension_along(many, 20.0, c, entry, jumps)
    out = entry.copy()
    used = np.diff(many.offsets) > 0
    out[used] = leaving[many.offsets[1:][used] - 1]
    assert entry_for(many, 20.0, c, out, jumps) == pytest.approx(entry, rel=1e-6, abs=1e-4)


def test_many_chains_at_once_as_one_by_one() -> None:
    rng = np.random.default_rng(24)
    chains = [random_chain(rng) for _ in range(12)]
    many = Chain.ragged(chains)
    upper = rng.uniform(1000.0, 9000.0, len(many))
    low, high = carry_interval(many, 20.0, 0.3, 0.0, 5000.0, upper)
    for k, chain in enumerate(chains):
        a, b = many.offsets[k], many.offsets[k + 1]
        alone = carry_interval(chain, 20.0, 0.3, 0.0, 5000.0, upper[a:b])
        assert [low[k], high[k]] == pytest.approx([float(x) for x in alone], rel=1e-9, abs=1e-6, nan_ok=True)


def test_many_labels_through_one_stretch() -> None:
    chain = Chain([100.0, 6.0, 80.0], [0, 0, -0.5], [0, 0, -0.5], [0, 1.0, 0])
    stretch = Passage(chain, 20.0, 0.3, 6000.0)
    lows = np.array([[0.0, 500.0], [np.nan, 3000.0]])
    highs = np.array([[4000.0, 600.0], [np.nan, 2000.0]])
    low, high = stretch.leaving(lows, highs)
    assert low.shape == (2, 2)
    assert np.isnan(low[1]).all()
    assert np.isnan(high[1]).all()  # an empty interval and one whose ends are crossed
    for k in range(2):
        alone = stretch.leaving(lows[0, k], highs[0, k])
        assert [low[0, k], high[0, k]] == [float(alone[0]), float(alone[1])]


def test_forces_added_on_the_way_are_seen_on_both_sides() -> None:
    level = Chain([100.0, 100.0], [0, 0], [0, 0], [0, 0])
    # 700 N a segment; an assist takes 500 N off between them
    assert greatest_entry(level, 20.0, 0.35, 1000.0, added=[-500.0, 0.0]) == pytest.approx(100.0)
    assert holding_tension(level, 20.0, 0.35, added=[-900.0, 0.0]) == pytest.approx(200.0)
    low, high = carry_interval(level, 20.0, 0.35, 0.0, 300.0, 1000.0, added=[-900.0, 0.0])
    assert [float(low), float(high)] == pytest.approx([700.0, 800.0])


def test_no_limit_is_no_limit() -> None:
    chain = Chain([100.0, 3.0], [-0.5, 0], [-0.5, 0], [0, 1.0])
    low, high = Passage(chain, 20.0, 0.2).leaving()
    assert math.isinf(high)
    assert low == pytest.approx(tension_along(chain.part(1, 2), 20.0, 0.2)[0])
    assert [float(x) for x in Passage(chain, 20.0, 0.2).entering()][1] == math.inf


def test_an_empty_stretch_passes_everything() -> None:
    low, high = Passage(Chain([], [], [], []), 20.0, 0.2, 100.0).leaving(3.0, 5.0)
    assert (float(low), float(high)) == (3.0, 5.0)
    assert entry_for(Chain([], [], [], []), 20.0, 0.2, 7.0).tolist() == [7.0]


def test_held_with_friction_that_depends_on_contact() -> None:
    chain = Chain([40.0, 5.0, 100.0], [0, 0, -0.6], [0, -0.6, -0.6], [0.8, 0.3, 0.0])
    law = PressedFriction(0.4, 0.2, force=60.0)
    held = holding_tension(chain, 20.0, law)
    assert tension_along(chain, 20.0, law, held)[-1] == pytest.approx(0.0, abs=1e-5)
    light, pressed = (holding_tension(chain, 20.0, c) for c in (0.4, 0.2))
    assert light < held < pressed


@given(
    st.floats(-1.5, 1.5), st.floats(-1.5, 1.5), st.floats(-1.5, 1.5), st.floats(0.02, 1.3), st.floats(0, 5000)
)
@settings(max_examples=80, deadline=None)
def test_nothing_goes_slack_once_held(a: float, b: float, turn: float, c: float, more: float) -> None:
    chain = Chain([30.0, 20.0], [a, b], [b, b], [turn, 0.0])
    held = holding_tension(chain, 20.0, c)
    pieces, _ = finely(chain, 30)
    assert profile(pieces, 20.0, c, held + more).min() >= -1e-6 * 20 * 30


def test_contact_force_and_slope_are_the_balance() -> None:
    # |T k - w k_perp| and its part in dT/ds, by vectors
    chain = Chain([8.0], [0.2], [0.5], [0.9])
    t, w, c, f = 700.0, 20.0, 0.3, 0.4
    g, h = 0.2 + 0.3 * f, 0.9 * f
    up = np.array([-math.sin(g) * math.cos(h), -math.sin(g) * math.sin(h), math.cos(g)])
    left = np.array([-math.sin(h), math.cos(h), 0.0])
    curvature = 0.3 / 8 * up + 0.9 / 8 * math.cos(g) * left
    across = w * math.cos(g) * up  # the vertical, less its part along the duct
    force = float(np.linalg.norm(t * curvature - across))
    assert contact_force(chain, w, t, f)[0] == pytest.approx(force, rel=1e-12)
    assert slope(chain, w, c, t, f)[0] == pytest.approx(w * math.sin(g) + c * force, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda c: Passage(c, 20.0, 0.3, 0.0), r"upper\[0\] must be above 0"),
        (lambda c: Passage(c, 20.0, 0.3, [1.0, math.nan]), r"upper\[1\] must be above 0, got nan"),
        (lambda c: Passage(c, -20.0, 0.3), "weight must be at least 0"),
        (lambda c: Passage(c, 20.0, math.nan), "friction must be at least 0, got nan"),
        (lambda c: Passage(c, 20.0, 0.3, added=math.inf), "added must be finite"),
        (lambda c: holding_tension(Chain.ragged([c, c]), 20.0, 0.3), "must be a single chain, got 2"),
        (lambda c: Passage(Chain.ragged([c, c]), 20.0, 0.3).leaving([1.0, 2.0, 3.0], 9.0), r"shape \(2,\)"),
        (
            lambda c: entry_for(c, 20.0, 0.3, [1.0, 2.0]),
            r"exit_tension must be a number or have shape \(1,\)",
        ),
        (lambda c: cut_at_level(c, 20.0, 0.3, -1.0), "level must be at least 0"),
        (lambda c: slope(c, 20.0, 0.3, 1.0, 1.5), "fraction must be at least 0 and at most 1"),
    ],
)
def test_bad_arguments(call: object, message: str) -> None:
    chain = Chain([100.0, 3.0], [-0.5, 0], [-0.5, 0], [0, 1.0])
    with pytest.raises(DomainError, match=message):
        call(chain)  # type: ignore[operator]
