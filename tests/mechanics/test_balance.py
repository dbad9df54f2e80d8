"""The force balance against scipy's integrators, against the handbook's forms, and its properties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from mechanics.balance import Layout, tension_along
from mechanics.chain import Chain
from mechanics.contact import PressedFriction
from mechanics.errors import DomainError
from mechanics.layout import kinds
from mechanics.pieces import cut

Floats = NDArray[np.float64]
HALF_PI = math.pi / 2


def random_segments(count: int, seed: int) -> tuple[Chain, Floats, Floats, Floats]:
    """Single segments of every kind, nearly straight ones and vertical runs among them, with what is pulled."""
    rng = np.random.default_rng(seed)
    kind = rng.integers(0, 7, count)
    length = 10.0 ** rng.uniform(-0.5, 2.2, count)
    steep = np.where(rng.random(count) < 0.5, 0.15, 1.0)
    first, last = steep * rng.uniform(-HALF_PI, HALF_PI, (2, count))
    turn = rng.uniform(-2.0, 2.0, count) * 10.0 ** rng.uniform(-6.0, 0.0, count)
    vertical = rng.choice([-HALF_PI, HALF_PI], count)
    first = np.select([kind == 1, kind == 5], [0.0, vertical], first)
    last = np.select([kind <= 1, kind == 6], [first, first + 1e-7 * rng.normal(size=count)], last)
    last = np.clip(last, -HALF_PI, HALF_PI)
    turn = np.where((kind == 0) | (kind == 2), 0.0, turn)
    weight, friction = 10.0 ** rng.uniform(0.0, 2.3, count), rng.uniform(0.0, 1.0, count)
    radius = length / np.maximum(np.abs(last - first) + np.abs(turn), 0.01)
    entry = np.where(rng.random(count) < 0.2, 0.0, weight * radius * 10.0 ** rng.uniform(-2.0, 1.5, count))
    return Chain(length, first, last, turn, np.arange(count + 1)), weight, friction, entry


def integrated(chain: Chain, weight: float, friction: float, entry: float, steps: int = 20) -> float:
    """One segment by scipy's DOP853 in at least so many steps, from the balance as it is written down."""
    length, start, turn = float(chain.length[0]), float(chain.grade_in[0]), float(chain.turn[0])
    sweep = float(chain.grade_out[0]) - start

    def rate(s: float, t: Floats) -> Floats:
        g = start + sweep * s / length
        press = np.hypot(t * sweep / length - weight * math.cos(g), t * turn / length * math.cos(g))
        return np.asarray(weight * math.sin(g) + friction * press)

    found = solve_ivp(
        rate,
        (0.0, length),
        [entry],
        method="DOP853",
        rtol=1e-12,
        atol=1e-12 * weight * length,
        max_step=length / steps,
    )
    return float(found.y[0, -1])


def worst_error(count: int, seed: int) -> float:
    chain, weight, friction, entry = random_segments(count, seed)
    out = tension_along(chain, weight, friction, entry)
    scale = np.maximum(np.abs(out), weight * chain.length)
    worst = 0.0
    for i in range(count):
        case = chain.chain(i), float(weight[i]), float(friction[i]), float(entry[i])
        error = abs(out[i] - integrated(*case)) / scale[i]
        if error > 1e-8:  # the reference may have stepped over a change of side: look closer
            error = abs(out[i] - integrated(*case, steps=2000)) / scale[i]
        worst = max(worst, error)
    return worst


def test_random_segments_against_direct_integration() -> None:
    assert worst_error(250, seed=3) < 1e-7


@pytest.mark.slow
def test_many_random_segments_against_direct_integration() -> None:
    assert worst_error(20_000, seed=4) < 1e-7


def fine_steps(chain: Chain, weight: Floats, friction: Floats, entry: Floats, steps: int) -> Floats:
    """Every segment at once by the classical fourth-order rule in equal steps, straight from the balance."""
    sweep, turn = chain.grade_out - chain.grade_in, chain.turn
    heavy = weight * chain.length

    def rate(at: float, t: Floats) -> Floats:
        cosine = np.cos(chain.grade_in + sweep * at)
        press = np.sqrt((t * sweep - heavy * cosine) ** 2 + (t * turn * cosine) ** 2)
        return np.asarray(heavy * np.sin(chain.grade_in + sweep * at) + friction * press)

    t, h = entry.copy(), 1.0 / steps
    for k in range(steps):
        at = k * h
        k1 = rate(at, t)
        k2 = rate(at + h / 2, t + h / 2 * k1)
        k3 = rate(at + h / 2, t + h / 2 * k2)
        k4 = rate(at + h, t + h * k3)
        t = t + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    return t


@pytest.mark.slow
def test_a_hundred_thousand_segments_against_fine_steps() -> None:
    chain, weight, friction, entry = random_segments(100_000, seed=5)
    out = tension_along(chain, weight, friction, entry)
    truth = fine_steps(chain, weight, friction, entry, 4000)
    # where the cable changes sides the equal steps themselves are off by some 1e-8
    assert np.max(np.abs(out - truth) / np.maximum(np.abs(truth), weight * chain.length)) < 1e-7


def test_contact_changes_twice_in_one_sag() -> None:
    # the cable comes down on the crown, drops to the floor near the level, and lifts again on the way up
    sag = Chain([60 * 1.0], [-0.5], [0.5], [0.0])
    w, c, r = 20.0, 0.1, 60.0
    entry = 1180.0
    out, source = cut(sag, np.zeros(399, dtype=int), np.arange(1, 400) / 400)
    tension = np.concatenate(([entry], tension_along(out, w, c, entry)))
    grade = np.concatenate(([-0.5], out.grade_out))
    side = np.sign(tension - w * r * np.cos(grade))
    assert (np.flatnonzero(np.diff(side)).size, side[0], side[-1]) == (2, 1.0, 1.0)
    assert tension[-1] == pytest.approx(integrated(sag, w, c, entry), rel=1e-9)
    assert set(source.tolist()) == {0}


def test_nearly_straight_bends_lose_no_digits() -> None:
    # a bend of 1e8 m radius is a straight to within rounding, though w R is 2e9 N
    straight = tension_along(Chain([100.0], [0.1], [0.1], [0.0]), 20.0, 0.35, 1000.0)[0]
    for change in (1e-6, 1e-9, 1e-13):
        bent = tension_along(Chain([100.0], [0.1], [0.1 + change], [0.0]), 20.0, 0.35, 1000.0)[0]
        assert bent == pytest.approx(straight, rel=2 * change + 1e-14)
        turned = tension_along(Chain([100.0], [0.0], [0.0], [change]), 20.0, 0.35, 1000.0)[0]
        assert turned == pytest.approx(1000.0 + 0.35 * 20 * 100, rel=change + 1e-14)


def test_vertical_runs_weigh_and_do_not_rub() -> None:
    for grade, sign in ((HALF_PI, 1.0), (-HALF_PI, -1.0)):
        shaft = Chain([50.0, 50.0], [grade, grade], [grade, grade], [0.0, 1.0])
        assert tension_along(shaft, 20.0, 0.5, 3000.0) == pytest.approx(
            [3000 + sign * 1000, 3000 + sign * 2000], rel=1e-12
        )


def test_flat_bends_of_one_radius_compose() -> None:
    # asinh(T2 / wR) = asinh(T1 / wR) + c theta, from the closed form
    w, r, c = 20.0, 3.0, 0.35
    out = tension_along(Chain([r * 0.5] * 3, [0] * 3, [0] * 3, [0.5, -0.5, 0.5]), w, c, 50.0)
    assert np.arcsinh(out / (w * r)) == pytest.approx(
        np.arcsinh(50.0 / (w * r)) + c * np.array([0.5, 1.0, 1.5])
    )


def test_added_forces_stand_at_segment_ends() -> None:
    chain = Chain([100.0, 100.0], [0, 0], [0, 0], [0, 0])
    out = tension_along(chain, 10.0, 0.2, entry=50.0, added=[-100.0, 30.0])
    assert out.tolist() == [150.0, 380.0]


def test_ragged_chains_each_start_from_their_own_entry() -> None:
    rng = np.random.default_rng(8)
    chain, weight, friction, _ = random_segments(400, seed=9)
    bounds = np.unique(np.concatenate(([0, 0, 400], rng.integers(0, 400, 60))))
    offsets = np.concatenate(
        (bounds[:5], bounds[4:5], bounds[5:], bounds[-1:])
    )  # two chains without segments
    many = Chain(chain.length, chain.grade_in, chain.grade_out, chain.turn, offsets)
    entry = rng.uniform(0.0, 5000.0, many.count)
    out = tension_along(many, weight, friction, entry)
    layout = Layout(many)
    assert tension_along(layout, weight, friction, entry).tolist() == out.tolist()
    for k in range(many.count):
        a, b = many.offsets[k], many.offsets[k + 1]
        alone = tension_along(many.chain(k), weight[a:b], friction[a:b], entry[k])
        assert out[a:b] == pytest.approx(alone, rel=1e-12, abs=1e-9)


def test_chains_beyond_one_block() -> None:
    # more chains than are worked on at a time, beginning with both kinds
    count = 20_011
    sizes = np.arange(count) % 4
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    n = int(offsets[-1])
    turn = np.where(np.arange(n) % 3 == 0, 0.5, 0.0)
    chain = Chain(np.full(n, 2.0), np.zeros(n), np.zeros(n), turn, offsets)
    entry = np.arange(count, dtype=float)
    out = tension_along(chain, 20.0, 0.3, entry)
    assert tension_along(Layout(chain), 20.0, 0.3, entry).tolist() == out.tolist()
    each = tension_along(chain, np.full(n, 20.0), np.full(n, 0.3), entry, np.zeros(n))
    assert each == pytest.approx(out, rel=1e-14)
    law = PressedFriction(0.3, 0.3, force=50.0)
    assert tension_along(chain, 20.0, law, entry) == pytest.approx(out, rel=1e-14)
    for k in (1, 2, 3, 8190, 8191, 8193, 16385, 20_010):
        part = slice(int(offsets[k]), int(offsets[k + 1]))
        assert out[part] == pytest.approx(tension_along(chain.chain(k), 20.0, 0.3, float(k)), rel=1e-13)


def test_no_segments() -> None:
    nothing = Chain([], [], [], [])
    assert tension_along(nothing, 10.0, 0.3, 5.0).shape == (0,)
    assert kinds(nothing) == ()


class TestPressed:
    """Friction that depends on the contact force."""

    def test_light_and_hard_contact(self) -> None:
        straight = Chain([100.0], [0], [0], [0])
        law = PressedFriction(0.4, 0.2, force=15.0)
        assert tension_along(straight, 10.0, law)[0] == pytest.approx(0.4 * 10 * 100)  # 10 N/m: light
        assert tension_along(straight, 20.0, law)[0] == pytest.approx(0.2 * 20 * 100)  # 20 N/m: pressed
        bend = Chain([2.0], [0], [0], [1.0])
        plain = tension_along(bend, 10.0, 0.2, 1000.0)
        assert tension_along(bend, 10.0, law, 1000.0) == pytest.approx(plain, rel=1e-9)

    def test_against_direct_integration(self) -> None:
        law = PressedFriction(0.45, 0.25, force=300.0)
        bend = Chain([4.0], [0.0], [0.3], [1.2])

        def rate(s: float, t: Floats) -> Floats:
            g = 0.3 * s / 4
            press = np.hypot(t * 0.3 / 4 - 20 * math.cos(g), t * 1.2 / 4 * math.cos(g))
            return np.asarray(20 * math.sin(g) + law.at(press) * press)

        for entry in (100.0, 700.0, 900.0, 3000.0):
            truth = solve_ivp(rate, (0, 4), [entry], method="DOP853", rtol=1e-11, atol=1e-9, max_step=0.01)
            assert tension_along(bend, 20.0, law, entry)[0] == pytest.approx(truth.y[0, -1], rel=1e-7)

    @given(st.floats(0, 5000), st.floats(0.1, 200))
    @settings(max_examples=50, deadline=None)
    def test_more_entry_never_leaves_as_less(self, entry: float, more: float) -> None:
        law = PressedFriction(0.5, 0.15, force=250.0)
        bend = Chain([4.0], [-0.2], [0.3], [1.2])
        low, high = (float(tension_along(bend, 20.0, law, e)[0]) for e in (entry, entry + more))
        assert high > low

    def test_bad_laws(self) -> None:
        with pytest.raises(DomainError, match="force must be above 0"):
            PressedFriction(0.4, 0.2, 0.0)
        with pytest.raises(DomainError, match=r"friction\.pressed"):
            tension_along(Chain([1.0], [0], [0], [0]), 1.0, PressedFriction(0.4, [0.2, 0.1], 5.0))


# One segment: length, turn, grade at its end (None: as before).
segment = st.tuples(
    st.floats(0.5, 80.0),
    st.one_of(st.just(0.0), st.floats(-1.6, 1.6)),
    st.one_of(st.none(), st.just(0.0), st.floats(-1.5, 1.5)),
)


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    """Chains with steady grades across joints."""
    grade = draw(st.one_of(st.just(0.0), st.floats(-1.5, 1.5)))
    rows = []
    for length, turn, end in draw(st.lists(segment, min_size=1, max_size=6)):
        after = grade if end is None else end
        rows.append((length, grade, after, turn))
        grade = after
    return Chain(*np.array(rows).T)


pulls = (chains(), st.floats(1.0, 200.0), st.floats(0.01, 0.8), st.floats(0.0, 20_000.0))


def close(a: Floats, b: Floats, chain: Chain, weight: float) -> bool:
    scale = np.maximum(np.maximum(np.abs(a), np.abs(b)), weight * chain.length.max())
    return bool(np.all(np.abs(a - b) <= 1e-8 * scale))


@given(*pulls, st.lists(st.tuples(st.integers(0, 5), st.floats(0.01, 0.99)), max_size=6))
@settings(max_examples=60, deadline=None)
def test_splitting_changes_nothing(
    chain: Chain, weight: float, friction: float, entry: float, cuts: list[tuple[int, float]]
) -> None:
    cuts = [(k, f) for k, f in cuts if k < len(chain)]
    pieces, source = cut(chain, [k for k, _ in cuts], [f for _, f in cuts])
    whole = tension_along(chain, weight, friction, entry)
    last = np.append(source[1:] != source[:-1], True)
    assert close(tension_along(pieces, weight, friction, entry)[last], whole, chain, weight)


@given(*pulls)
@settings(max_examples=60, deadline=None)
def test_reversing_twice_changes_nothing(chain: Chain, weight: float, friction: float, entry: float) -> None:
    again = chain.reversed().reversed()
    assert (
        tension_along(again, weight, friction, entry).tolist()
        == tension_along(chain, weight, friction, entry).tolist()
    )


@given(*pulls)
@settings(max_examples=60, deadline=None)
def test_mirror_images_are_alike(chain: Chain, weight: float, friction: float, entry: float) -> None:
    mirrored = Chain(chain.length, chain.grade_in, chain.grade_out, -chain.turn)
    assert (
        tension_along(mirrored, weight, friction, entry).tolist()
        == tension_along(chain, weight, friction, entry).tolist()
    )


@given(*pulls, st.floats(0.0, 5000.0))
@settings(max_examples=60, deadline=None)
def test_more_entry_never_lowers_a_tension(
    chain: Chain, weight: float, friction: float, entry: float, more: float
) -> None:
    low, high = (tension_along(chain, weight, friction, e) for e in (entry, entry + more))
    assert np.all(high >= low - 1e-8 * np.maximum(np.abs(low), weight * chain.length))


@given(*pulls, st.floats(0.0, 0.5))
@settings(max_examples=60, deadline=None)
def test_more_friction_never_lowers_a_tension(
    chain: Chain, weight: float, friction: float, entry: float, more: float
) -> None:
    low, high = (tension_along(chain, weight, c, entry) for c in (friction, friction + more))
    assume(low.min() >= 0.0)  # below zero the cable pushes, and what holds for ropes does not
    assert np.all(high >= low - 1e-8 * np.maximum(np.abs(low), weight * chain.length))


ONE = Chain([10.0], [0.0], [0.0], [0.0])
TWO = Chain([10.0, 5.0], [0.0, 0.0], [0.0, 0.0], [0.0, 1.0])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
@pytest.mark.parametrize("name", ["weight", "friction"])
def test_numbers_out_of_range(name: str, bad: float) -> None:
    given_ = {"weight": 10.0, "friction": 0.3}
    with pytest.raises(DomainError, match=rf"^{name} must be at least 0, got"):
        tension_along(ONE, **{**given_, name: bad})
    with pytest.raises(DomainError, match=rf"^{name}\[1\] must be at least 0, got"):
        tension_along(TWO, **{**given_, name: [1.0, bad]})


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_entry_and_added_must_be_finite(bad: float) -> None:
    with pytest.raises(DomainError, match=r"^entry must be finite"):
        tension_along(ONE, 10.0, 0.3, bad)
    with pytest.raises(DomainError, match=r"^added\[0\] must be finite"):
        tension_along(ONE, 10.0, 0.3, added=[bad])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"weight": [1.0, 2.0, 3.0]}, r"weight must be a number or have shape \(2,\)"),
        ({"friction": [[0.1, 0.2]]}, r"friction must be a number or have shape \(2,\)"),
        ({"entry": [1.0, 2.0]}, r"entry must be a number or have shape \(1,\)"),
        ({"added": [1.0]}, r"added must be a number or have shape \(2,\)"),
        ({"weight": "heavy"}, "weight must be a real number"),
    ],
)
def test_wrong_shapes(arguments: dict[str, object], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        tension_along(TWO, **{"weight": 10.0, "friction": 0.3, **arguments})  # type: ignore[arg-type]


def test_more_than_a_float_holds() -> None:
    spiral = Chain([10.0, 10.0], [0.0, 0.0], [0.0, 0.0], [1.0, 5000.0])
    with pytest.raises(DomainError, match="end of segment 1 is beyond"):
        tension_along(spiral, 10.0, 0.5, 1.0)
    helix = Chain([10.0], [0.1], [0.1], [5000.0])
    with pytest.raises(DomainError, match="end of segment 0 is beyond"):
        tension_along(helix, 10.0, 0.5, 1.0)
    with pytest.raises(DomainError, match=r"turn\[0\] must be within 10000"):
        tension_along(Chain([10.0], [0.1], [0.1], [1e9]), 10.0, 0.0, 1.0)


def test_weightless_and_frictionless_are_legal() -> None:
    bend = Chain([3.0], [0.0], [0.0], [1.0])
    assert tension_along(bend, 0.0, 0.3, 100.0)[0] == pytest.approx(100 * math.exp(0.3))
    assert tension_along(bend, 0.0, 0.3, 0.0)[0] == 0.0
    assert tension_along(bend, 10.0, 0.0, 100.0)[0] == 100.0
    climb = Chain([3.0], [0.2], [0.9], [1.0])
    assert tension_along(climb, 0.0, 0.3, 0.0)[0] == 0.0
