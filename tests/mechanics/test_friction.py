"""Friction with distance: where pieces are cut, what each takes, and what the lubricant's age counts from."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from mechanics.balance import tension_along
from mechanics.chain import Chain
from mechanics.contact import PressedFriction
from mechanics.errors import DomainError
from mechanics.friction import constant_friction, friction_after, prepare
from mechanics.track import Bore, Friction, Track

WEARING = Bore(0.1, Friction(0.2, dry=0.5, hold=150.0))
STEADY = Bore(0.1, Friction(0.3))
GUIDES = Bore(None, Friction(0.12, dry=0.9, hold=1.0), guide=True)


def level(
    *lengths: float, bores: tuple[Bore, ...] = (WEARING,), bore: object = None, **more: object
) -> Track:
    n = len(lengths)
    flat = np.zeros(n)
    which = np.zeros(n, dtype=np.int64) if bore is None else np.array(bore)
    return Track(Chain(list(lengths), flat, flat, flat), which, bores, **more)  # type: ignore[arg-type]


def test_the_model_as_it_is_stated() -> None:
    # lubricated while d <= hold, then dry - (dry - lubricated) exp(-(d - hold) / hold)
    law = WEARING.friction
    assert friction_after(law, [0.0, 75.0, 150.0]).tolist() == [0.2] * 3
    assert friction_after(law, 300.0) == pytest.approx(0.5 - 0.3 / math.e)
    assert friction_after(law, 1e6) == pytest.approx(0.5)
    assert friction_after(Friction(0.2), [0.0, 1e6]).tolist() == [0.2, 0.2]
    assert friction_after(Friction(0.2, dry=0.5), 1e6) == 0.2  # without a hold it always holds
    assert friction_after(Friction(0.2, hold=10.0), 1e6) == 0.2


def test_pieces_differ_by_a_hundredth_at_most() -> None:
    track = level(100.0, 30.0, 700.0, 5.0, 2000.0)
    done = prepare(track)
    assert done.chain.total_length == pytest.approx(track.chain.total_length)
    edges = np.concatenate(([0.0], done.chain.station))
    values = friction_after(WEARING.friction, edges)
    assert np.all(values[1:] / values[:-1] <= 1.01 + 1e-9)
    assert done.friction == pytest.approx(friction_after(WEARING.friction, 0.5 * (edges[1:] + edges[:-1])))
    assert done.distance == pytest.approx(0.5 * (edges[1:] + edges[:-1]))
    assert np.bincount(done.source_segment).min() >= 1
    assert len(done.chain) < 110  # log(0.5 / 0.2) / log(1.01) = 92 steps


def test_the_sum_is_the_integral() -> None:
    # on the level the tension is w times the integral of the friction; a piece across which friction grows by 1 %
    # and not evenly is off by less than a tenth of that
    done = prepare(level(1500.0))
    integral, _ = quad(lambda d: float(friction_after(WEARING.friction, d)), 0.0, 1500.0, points=[150.0])
    assert tension_along(done.chain, 20.0, done.friction)[-1] == pytest.approx(20.0 * integral, rel=5e-4)


def test_lubricant_added_on_the_way_counts_anew() -> None:
    track = level(400.0, 2.0, 400.0, vaults=((1, 2),), tags=("B",))
    dry, again = prepare(track), prepare(track, [0])
    assert dry.friction[-1] > 0.45
    after = again.source_segment == 2
    assert again.distance[after][0] == pytest.approx(0.5 * again.chain.length[after][0])
    fresh = prepare(level(400.0))
    assert again.friction[after] == pytest.approx(fresh.friction)
    crossing = again.source_segment == 1
    assert np.all(again.friction[crossing] > 0.4)  # the crossing itself comes before it


def test_lubricant_added_at_the_very_end_changes_nothing() -> None:
    track = level(400.0, vaults=((1, 1),), tags=("B",))
    assert prepare(track, [0]).friction.tolist() == prepare(track).friction.tolist()


def test_guides_have_their_own_friction_and_do_not_age_it() -> None:
    bores = (WEARING, GUIDES)
    with_guides = prepare(level(200.0, 50.0, 200.0, bores=bores, bore=[0, 1, 0]))
    without = prepare(level(200.0, 200.0))
    on_guides = with_guides.source_segment == 1
    assert with_guides.friction[on_guides].tolist() == [0.12]
    assert with_guides.friction[~on_guides] == pytest.approx(without.friction)


def test_ducts_that_change_along_the_pull() -> None:
    done = prepare(level(100.0, 100.0, 100.0, bores=(WEARING, STEADY), bore=[0, 1, 0]))
    assert done.friction[done.source_segment == 1].tolist() == [0.3]
    last = done.source_segment == 2  # the distance went on counting in the steady duct
    assert done.friction[last][0] == pytest.approx(
        float(friction_after(WEARING.friction, done.distance[last][0]))
    )
    assert done.distance[last][0] > 200.0


def test_the_shape_stays() -> None:
    chain = Chain([300.0, 60.0, 300.0], [0.1, 0.1, -0.2], [0.1, -0.2, -0.2], [0.0, 1.0, 0.0])
    track = Track(chain, np.zeros(3, dtype=np.int64), (WEARING,))
    done = prepare(track)
    for k in range(3):
        own = done.source_segment == k
        assert done.chain.turn[own].sum() == pytest.approx(chain.turn[k])
        assert done.chain.grade_in[own][0] == chain.grade_in[k]
        assert done.chain.grade_out[own][-1] == chain.grade_out[k]


def test_waviness_is_turn_added_in_the_sense_of_the_bend() -> None:
    chain = Chain([100.0, 10.0, 10.0, 5.0], [0.4, 0, 0, 0], [0.4, 0, 0, 0], [0.0, 0.5, -0.5, 0.7])
    wavy = Bore(0.1, Friction(0.2), waviness=0.02)
    done = prepare(Track(chain, np.array([0, 0, 0, 1]), (wavy, GUIDES)))
    assert done.chain.turn == pytest.approx([2.0 / math.cos(0.4), 0.7, -0.7, 0.7])
    assert done.chain.curvature[0] == pytest.approx(0.02)


class TestPressed:
    """Two coefficients and the force between them."""

    LAW = Friction(0.4, pressed=0.2, press_force=100.0)

    def test_plain_friction_stays_a_plain_array(self) -> None:
        done = prepare(level(10.0))
        assert isinstance(done.rubbing(1.3), np.ndarray)
        assert np.all(done.rubbing(1.3) == 1.3 * done.friction)

    def test_force_is_that_of_one_cable(self) -> None:
        done = prepare(level(10.0, 10.0, bores=(Bore(0.1, self.LAW), STEADY), bore=[0, 1]))
        law = done.rubbing(1.5, share=0.5)
        assert isinstance(law, PressedFriction)
        assert law.light.tolist() == pytest.approx([0.6, 0.45])
        assert law.pressed.tolist() == pytest.approx([0.3, 0.45])
        assert law.force[0] == 200.0  # of the bundle, of which half presses on one cable

    def test_drying_changes_both_in_proportion(self) -> None:
        bore = Bore(0.1, Friction(0.2, dry=0.5, hold=50.0, pressed=0.1, press_force=100.0))
        done = prepare(level(1000.0, bores=(bore,)))
        assert done.pressed == pytest.approx(0.5 * done.friction)

    def test_one_coefficient_that_gives_the_same(self) -> None:
        chain = Chain([40.0, 4.0, 30.0, 6.0], [0, 0, 0.2, 0.2], [0, 0, 0.2, -0.3], [0, 1.2, 0, 0.4])
        law = PressedFriction(0.4, 0.2, force=150.0)
        out = tension_along(chain, 20.0, law, 300.0)
        same = constant_friction(chain, 20.0, law, np.concatenate(([300.0], out[:-1])), out)
        assert np.all((same >= 0.2 - 1e-12) & (same <= 0.4 + 1e-12))
        assert tension_along(chain, 20.0, same, 300.0) == pytest.approx(out, rel=1e-9)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"lubricated": 0.0}, r"friction\.lubricated must be above 0, got 0.0"),
        ({"lubricated": math.nan}, r"friction\.lubricated must be above 0, got nan"),
        ({"lubricated": 0.3, "dry": 0.2, "hold": 5.0}, r"friction\.dry must be at least 0.3, got 0.2"),
        ({"lubricated": 0.3, "dry": 0.4, "hold": 0.0}, r"friction\.hold must be above 0"),
        ({"lubricated": 0.3, "pressed": 0.2}, r"pressed and .*press_force must be given together"),
        ({"lubricated": 0.3, "pressed": 0.2, "press_force": -1.0}, r"press_force must be above 0"),
    ],
)
def test_bad_friction(given: dict[str, float], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        Friction(**given)


def test_bad_waviness_and_vaults() -> None:
    with pytest.raises(DomainError, match=r"bore\.waviness must be at least 0"):
        Bore(0.1, Friction(0.2), waviness=-0.1)
    with pytest.raises(DomainError, match="relube must be indices of the 0 pass-through vaults, got 0"):
        prepare(level(10.0), [0])
