"""Ways through vaults: every one leads from mouth to mouth, in the right directions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mechanics.centreline import place
from mechanics.crossing import Crossing, vault_crossing
from mechanics.errors import DomainError

R = 0.9144


def lands(way: Crossing, heading: float, grade: float) -> tuple[np.ndarray, float, float]:
    """End point, heading and grade of a way that begins at the origin."""
    if not len(way.chain):
        return np.zeros(3), heading, grade
    placed = place(way.chain, (0.0, 0.0, 0.0), heading)
    return placed.points[-1], placed.heading, float(way.chain.grade_out[-1])


def bends(way: Crossing) -> float:
    return float(np.abs(way.chain.turn).sum())


def test_face_to_face_needs_nothing_but_the_gap() -> None:
    way = vault_crossing((3.0, 0, 0), 0.0, 0.0, 0.0, 0.0, R)
    assert way.chain.length.tolist() == [3.0]
    assert (way.guide.tolist(), way.set_back) == ([False], 0.0)
    assert len(vault_crossing((0, 0, 0), 1.0, 0.1, 1.0, 0.1, R).chain) == 0


def test_under_a_degree_there_is_no_guide() -> None:
    for degrees, guides in ((0.9, 0), (1.1, 1)):
        way = vault_crossing((0, 0, 0), 0.0, 0.0, math.radians(degrees), 0.0, R)
        assert way.guide.sum() == guides
        rise = vault_crossing((0, 0, 0), 0.0, 0.0, 0.0, math.radians(degrees), R)
        assert rise.guide.sum() == guides


def test_one_bend_where_the_ducts_meet_ahead() -> None:
    way = vault_crossing((1.5, 2.0, 0), 0.0, 0.0, math.pi / 2, 0.0, R)
    assert way.guide.tolist() == [False, True, False]
    assert way.chain.length == pytest.approx([1.5 - R, R * math.pi / 2, 2.0 - R])
    end, heading, _ = lands(way, 0.0, 0.0)
    assert end == pytest.approx([1.5, 2.0, 0.0])
    assert heading == pytest.approx(math.pi / 2)


def test_mouths_set_apart_make_an_s() -> None:
    # two arcs with a common inner tangent of length l: l^2 = gap^2 + offset^2 - 4 R offset
    for gap, offset in ((3.0, 0.3), (3.0, 1.0), (2.0, 0.1)):
        way = vault_crossing((gap, offset, 0), 0.0, 0.0, 0.0, 0.0, R)
        assert way.guide.tolist() == [True, False, True]
        assert way.chain.length[1] == pytest.approx(math.sqrt(gap**2 + offset**2 - 4 * R * offset))
        end, heading, _ = lands(way, 0.0, 0.0)
        assert end == pytest.approx([gap, offset, 0.0], abs=1e-6)
        assert heading == pytest.approx(0.0, abs=1e-12)
        up = vault_crossing((gap, 0, offset), 0.0, 0.0, 0.0, 0.0, R)
        assert lands(up, 0.0, 0.0)[0] == pytest.approx([gap, 0.0, offset], abs=1e-6)
        assert up.chain.length == pytest.approx(way.chain.length)


def test_mouths_too_near_are_set_back_just_enough() -> None:
    # without a straight between, two arcs of angle a need 2 R sin a of room and shift by 2 R (1 - cos a)
    angle = math.acos(1 - 0.3 / (2 * R))
    way = vault_crossing((0.2, 0.3, 0), 0.0, 0.0, 0.0, 0.0, R)
    assert np.abs(way.chain.turn) == pytest.approx([angle, angle], abs=1e-3)
    assert way.set_back == pytest.approx((2 * R * math.sin(angle) - 0.2) / 2, abs=1e-3)


@pytest.mark.parametrize(
    ("offset", "heading_in", "heading_out"),
    [((1.5, -3.0, 0.0), 0.0, 0.0), ((0.9, 2.2, 0.0), 0.1, -0.4), ((4.8, -2.1, 0.0), 0.85, 0.7)],
)
def test_mouths_far_aside_leave_a_straight_between_the_bends(
    offset: tuple[float, float, float], heading_in: float, heading_out: float
) -> None:
    # set back for the way not to lead back, not for want of room: the bends do not touch
    way = vault_crossing(offset, heading_in, 0.0, heading_out, 0.0, 0.6)
    assert way.guide.tolist() == [True, False, True]
    end, heading, _ = lands(way, heading_in, 0.0)
    back = way.set_back * np.array(
        [math.cos(heading_in) + math.cos(heading_out), math.sin(heading_in) + math.sin(heading_out), 0.0]
    )
    assert end == pytest.approx(offset + back, abs=1e-3)
    assert heading == pytest.approx(heading_out)


def test_far_apart_and_no_room_goes_straight_over() -> None:
    way = vault_crossing((0.0, 3.0, 0), 0.0, 0.0, 0.0, 0.0, R)
    assert np.degrees(np.abs(way.chain.turn[way.guide])) == pytest.approx([90.0, 90.0], abs=0.1)


def test_drawn_to_one_point_is_one_bend() -> None:
    for degrees in (5.0, 90.0, 149.0, 170.0, 180.0):
        way = vault_crossing((0, 0, 0), 0.3, 0.0, 0.3 - math.radians(degrees), 0.0, R)
        assert way.chain.turn == pytest.approx([-math.radians(degrees)])
        assert way.chain.length == pytest.approx([R * math.radians(degrees)])


def test_change_of_grade_on_a_guide() -> None:
    way = vault_crossing((0, 0, 0), 0.0, -0.2, 0.0, 0.3, R)
    assert (way.chain.grade_in[0], way.chain.grade_out[0]) == (-0.2, 0.3)
    assert way.chain.length[0] == pytest.approx(R * 0.5)


def test_up_a_riser() -> None:
    # out of the ground and into a vertical duct: the heading of a vertical one means nothing
    way = vault_crossing((1.0, 0, 1.0), 0.0, 0.0, 2.0, math.pi / 2, R)
    assert way.chain.grade_out[-1] == pytest.approx(math.pi / 2)
    assert float((way.chain.curvature * way.chain.length).sum()) < 3.0


@pytest.mark.parametrize("seed", range(4))
def test_random_crossings_land_where_they_should(seed: int) -> None:
    rng = np.random.default_rng(seed)
    fitted = 0
    for _ in range(150):
        offset = rng.normal(size=3) * 10.0 ** rng.uniform(-3.0, 1.0) * [1.0, 1.0, 0.1]
        a, b = rng.uniform(-0.1, 0.1, 2)
        turn = rng.uniform(-2.5, 2.5)
        way = vault_crossing(offset, 0.4, a, 0.4 + turn, b, R)
        end, heading, grade = lands(way, 0.4, a)
        angle = float((way.chain.curvature * way.chain.length)[way.guide].sum())
        assert angle < 2 * math.pi
        assert np.all(way.chain.length[way.guide] > 0.0)
        assert math.remainder(heading - 0.4 - turn, 2 * math.pi) == pytest.approx(0.0, abs=0.02)
        assert grade == pytest.approx(b, abs=0.02)
        if way.set_back == 0.0 and len(way.chain) and abs(way.chain.grade_out).max() < 0.2:
            fitted += 1
            # a guide bends evenly in heading and grade, not quite along a circle in a tilted plane
            assert end == pytest.approx(offset, abs=0.08 * np.linalg.norm(offset) + 0.01)
    assert fitted >= 8


def test_turning_the_vault_changes_nothing() -> None:
    offset = np.array([2.0, 0.7, 0.2])
    way = vault_crossing(offset, 0.0, 0.1, 0.4, -0.1, R)
    c, s = math.cos(2.0), math.sin(2.0)
    turned = vault_crossing((c * 2.0 - s * 0.7, s * 2.0 + c * 0.7, 0.2), 2.0, 0.1, 2.4, -0.1, R)
    assert turned.chain.turn == pytest.approx(way.chain.turn)
    assert turned.chain.length == pytest.approx(way.chain.length)


def test_the_way_back_is_the_same_way() -> None:
    way = vault_crossing((2.0, 0.7, 0.2), 0.0, 0.1, 0.4, -0.1, R)
    back = vault_crossing((-2.0, -0.7, -0.2), 0.4 + math.pi, 0.1, math.pi, -0.1, R)
    assert back.chain.length == pytest.approx(way.chain.length[::-1], abs=1e-6)
    assert back.chain.turn == pytest.approx(-way.chain.turn[::-1], abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"offset": (1.0, 2.0)}, r"offset must have shape \(3,\), got \(2,\)"),
        ({"offset": (1.0, math.nan, 0.0)}, r"offset\[1\] must be finite"),
        ({"radius": 0.0}, "radius must be above 0"),
        ({"radius": math.nan}, "radius must be above 0, got nan"),
        ({"heading_in": math.inf}, "heading_in must be finite"),
        ({"grade_out": 2.0}, "grade_out must be at least"),
        ({"least_angle": -1.0}, "least_angle must be at least 0"),
    ],
)
def test_bad_arguments(arguments: dict[str, object], message: str) -> None:
    good = {
        "offset": (1, 0, 0),
        "heading_in": 0,
        "grade_in": 0,
        "heading_out": 0,
        "grade_out": 0,
        "radius": R,
    }
    with pytest.raises(DomainError, match=message):
        vault_crossing(**{**good, **arguments})  # type: ignore[arg-type]
