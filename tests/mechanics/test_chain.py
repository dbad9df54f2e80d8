"""Chains: what they accept, how they are turned round, joined and taken apart."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from mechanics.chain import Chain
from mechanics.errors import DomainError

CHAIN = Chain(
    [10.0, 20.0, 5.0, 7.0], [0.0, 0.2, 0.3, 0.0], [0.2, 0.3, -0.1, 0.0], [1.0, 0.0, -2.0, 0.0], [0, 2, 2, 4]
)


def test_turned_round_each_chain_for_itself() -> None:
    back = CHAIN.reversed()
    assert back.length.tolist() == [20.0, 10.0, 7.0, 5.0]
    assert back.grade_in.tolist() == [-0.3, -0.2, 0.0, 0.1]
    assert back.grade_out.tolist() == [-0.2, 0.0, 0.0, -0.3]
    assert back.turn.tolist() == [0.0, -1.0, 0.0, 2.0]
    assert back.offsets.tolist() == [0, 2, 2, 4]
    assert not any(
        np.signbit(getattr(back, name)[getattr(back, name) == 0.0]).any() for name in ("grade_in", "turn")
    )


def test_parts_and_wholes() -> None:
    apart = [CHAIN.chain(k) for k in range(3)]
    assert [len(c) for c in apart] == [2, 0, 2]
    again = Chain.ragged(apart)
    assert again.offsets.tolist() == CHAIN.offsets.tolist()
    assert Chain.joined(apart).length.tolist() == CHAIN.length.tolist()
    some = CHAIN.chains(1, 3)
    assert (some.offsets.tolist(), some.turn.tolist()) == ([0, 0, 2], [-2.0, 0.0])
    assert CHAIN.station.tolist() == [10.0, 30.0, 5.0, 12.0]
    for call in (lambda: CHAIN.chain(3), lambda: CHAIN.chains(2, 1), lambda: CHAIN.chains(0, 4)):
        with pytest.raises(DomainError, match="must"):
            call()


def test_greatest_curvature_stands_where_the_grade_is_least_steep() -> None:
    # heading rate times cos(grade), across the vertical rate
    bends = Chain([10.0] * 3, [0.5, -0.5, 0.0], [0.9, 0.2, 0.0], [1.0, 1.0, 0.0])
    assert bends.curvature == pytest.approx(
        [math.hypot(0.04, 0.1 * math.cos(0.5)), math.hypot(0.07, 0.1), 0.0]
    )


def test_arrays_are_the_chains_own() -> None:
    length = np.array([1.0, 2.0])
    chain = Chain(length, [0, 0], [0, 0], [0, 0])
    length[0] = 99.0
    assert chain.length[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        chain.length[0] = 5.0
    with pytest.raises(ValueError, match="read-only"):
        chain.reversed().turn[0] = 5.0


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        (([0.0], [0], [0], [0]), r"length\[0\] must be above 0, got 0.0"),
        (([1.0, math.nan], [0, 0], [0, 0], [0, 0]), r"length\[1\] must be above 0, got nan"),
        (([1.0], [1.6], [0], [0]), r"grade_in\[0\] must be at least"),
        (([1.0], [0], [-1.6], [0]), r"grade_out\[0\] must be at least"),
        (([1.0], [0], [0], [math.inf]), r"turn\[0\] must be finite"),
        (([1.0, 2.0], [0], [0, 0], [0, 0]), r"grade_in must have shape \(2,\) like length, got \(1,\)"),
        ((["long"], [0], [0], [0]), r"length\[0\] must be a real number"),
        (([1.0], [0], [0], [0], [0, 2]), "offsets must rise from 0"),
        (([1.0], [0], [0], [0], [0.0, 1.0]), "offsets must be a row of integers"),
    ],
)
def test_bad_chains(fields: tuple[object, ...], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        Chain(*fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (
            lambda: Chain([1, 1, 1], [0] * 3, [0] * 3, [0] * 3, np.array([0, 2, 1, 3], dtype=np.uint64)),
            "offsets must rise",
        ),
        (
            lambda: Chain([1], [0], [0], [0], np.array([0, 2**63], dtype=np.uint64)),
            r"got offsets\[1\] = 9223372036854775808",
        ),
        (lambda: Chain([1], [0], [0], [0], [[0], [0, 1]]), "rows of several lengths"),
        (lambda: Chain([1], [0], [0], [0]).chain(0.5), "index must be a whole number"),
        (lambda: Chain([1, 2], [0] * 2, [0] * 2, [0] * 2).part(0, -1), "start and stop must rise"),
        (lambda: Chain(5.0, 0, 0, 0), "length must be a row"),
    ],
)
def test_what_is_no_chain_or_no_part_of_one_is_refused(wrong: Callable[[], Chain], said: str) -> None:
    with pytest.raises(DomainError, match=said):
        wrong()


def test_chains_apart_are_the_chains_one_by_one() -> None:
    for one, other in zip(CHAIN.apart(), (CHAIN.chain(k) for k in range(3)), strict=True):
        for name in ("length", "grade_in", "grade_out", "turn", "offsets"):
            assert getattr(one, name).tolist() == getattr(other, name).tolist()
            assert not getattr(one, name).flags.writeable
