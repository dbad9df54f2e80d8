"""Cutting chains."""

from __future__ import annotations

import numpy as np
import pytest

from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.pieces import cut

CHAIN = Chain([10.0, 20.0, 5.0], [0.0, 0.2, 0.3], [0.2, 0.3, -0.1], [1.0, 0.0, -2.0], [0, 2, 2, 3])


def test_pieces_add_up() -> None:
    pieces, source = cut(CHAIN, [2, 0, 0, 1], [0.3, 0.75, 0.25, 0.5])
    assert source.tolist() == [0, 0, 0, 1, 1, 2, 2]
    assert pieces.offsets.tolist() == [0, 5, 5, 7]
    for name in ("length", "turn"):
        assert np.bincount(source, getattr(pieces, name)) == pytest.approx(getattr(CHAIN, name))
    assert pieces.grade_in[1:5] == pytest.approx(pieces.grade_out[:4])
    assert pieces.grade_in[[0, 3, 5]].tolist() == CHAIN.grade_in.tolist()
    assert pieces.grade_out[[2, 4, 6]].tolist() == CHAIN.grade_out.tolist()
    assert pieces.length[:3] == pytest.approx([2.5, 5.0, 2.5])


def test_cuts_at_the_ends_or_on_top_of_each_other_cut_nothing() -> None:
    pieces, source = cut(CHAIN, [0, 0, 1, 1, 1], [0.0, 1.0, 0.5, 0.5, 0.5 + 1e-12])
    assert source.tolist() == [0, 1, 1, 2]
    assert len(pieces) == 4


def test_no_cuts() -> None:
    pieces, source = cut(CHAIN, [], [])
    assert pieces.length.tolist() == CHAIN.length.tolist()
    assert source.tolist() == [0, 1, 2]
    nothing, none = cut(Chain([], [], [], []), [], [])
    assert (len(nothing), none.size) == (0, 0)


@pytest.mark.parametrize(
    ("segment", "fraction", "message"),
    [
        ([3], [0.5], "segment must be from 0 to 2, got 3 to 3"),
        ([-1], [0.5], "segment must be from 0 to 2"),
        ([0], [1.5], r"fraction\[0\] must be at least 0 and at most 1"),
        ([0], [np.nan], r"fraction\[0\] must be at least 0"),
        ([0, 1], [0.5], "segment must be a row of integers like fraction"),
        ([0.5], [0.5], "segment must be a row of integers"),
    ],
)
def test_bad_cuts(segment: list[float], fraction: list[float], message: str) -> None:
    with pytest.raises(DomainError, match=message):
        cut(CHAIN, segment, fraction)
