"""The row sliced into pulls, both ways, against the same laid end to end by hand."""

import numpy as np
import pytest
from scipy.integrate import quad

from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.track import Bore, Friction
from network.row import Row, RowVault, Stretch

DUCT = Bore(0.127, Friction(0.2, 0.5, 300.0), label="5 in")
BIG = Bore(0.154, Friction(0.2, 0.5, 300.0), label="6 in")
GUIDES = Bore(None, Friction(0.12), guide=True)
REEL = Bore(None, Friction(0.1), guide=True, label="at the reel")


def stretch(bore: Bore, name: str, *segments: tuple[float, float, float, float]) -> Stretch:
    columns = [list(c) for c in zip(*segments, strict=True)] or [[]] * 4
    n = len(segments)
    ids = tuple(f"{name}{k}" for k in range(n))
    return Stretch(Chain(*columns), (bore,) * n, ids, ("drawn",) * n)


SPANS = (
    stretch(DUCT, "a", (100.0, 0.0, 0.0, 0.0), (5.0, 0.0, 0.1, 0.5)),
    stretch(BIG, "b", (50.0, 0.1, 0.1, 0.0), (20.0, 0.1, -0.2, 0.0), (30.0, -0.2, -0.2, 0.0)),
    stretch(DUCT, "c", (70.0, -0.2, 0.0, -1.0)),
)
CROSSINGS = (stretch(GUIDES, "x", (0.6, 0.1, 0.1, 0.4), (0.6, 0.1, 0.1, -0.4)), stretch(GUIDES, "y"))
VAULTS = tuple(RowVault(t) for t in "ABCD")
ROW = Row(VAULTS, SPANS, CROSSINGS, feed_guide=stretch(REEL, "f", (1.0, 0.0, 0.0, 1.5)), pull_guide=None)


def test_track_is_spans_and_crossings_end_to_end() -> None:
    track = ROW.track(0, 3)
    assert track.chain.length.tolist() == [1.0, 100.0, 5.0, 0.6, 0.6, 50.0, 20.0, 30.0, 70.0]
    assert [track.bores[k].label for k in track.bore] == [
        "at the reel", "5 in", "5 in", "", "", "6 in", "6 in", "6 in", "5 in",
    ]  # fmt: skip
    assert track.vaults == ((3, 5), (8, 8))
    assert track.tags == ("B", "C")
    assert ROW.track(1, 2).chain.length.tolist() == [1.0, 50.0, 20.0, 30.0]
    assert ROW.track(1, 2).vaults == ()


def test_track_against_the_row_is_the_same_reversed_with_its_own_guides() -> None:
    track = ROW.track(3, 0)
    assert track.chain.length.tolist() == [1.0, 70.0, 30.0, 20.0, 50.0, 0.6, 0.6, 5.0, 100.0]
    assert track.chain.grade_in[2] == 0.2
    assert track.chain.turn.tolist() == [1.5, 1.0, 0, 0, 0, 0.4, -0.4, -0.5, 0]
    assert track.tags == ("C", "B")
    assert track.vaults == ((2, 2), (5, 7))
    mirrored = Row(VAULTS, SPANS, CROSSINGS, pull_guide=ROW.feed_guide).track(3, 0)
    assert mirrored.chain.length.tolist() == [*track.chain.length.tolist()[1:], 1.0]
    assert mirrored.vaults == ((1, 1), (4, 6))


@pytest.mark.parametrize(("feed", "pull"), [(0, 3), (3, 0), (1, 3), (2, 1)])
def test_segments_stand_beside_the_track_one_for_one(feed: int, pull: int) -> None:
    track, segments = ROW.track(feed, pull), ROW.segments(feed, pull)
    for name in ("length", "grade_in", "grade_out", "turn"):
        assert np.array_equal(getattr(track.chain, name), getattr(segments.chain, name))
    assert [track.bores[k] for k in track.bore] == list(segments.bores)
    assert segments.ids[0] == "f0"
    assert len(segments.ids) == len(segments.how) == len(track.chain)


def test_length_leaves_the_crossings_at_its_ends_out() -> None:
    assert ROW.length(0, 1) == pytest.approx(105.0)
    assert ROW.length(1, 3) == pytest.approx(170.0)
    assert ROW.length(3, 0) == pytest.approx(105.0 + 1.2 + 100.0 + 70.0)
    assert ROW.facts.length(0, 3) == ROW.length(0, 3)


def test_climb_is_the_rises_alone() -> None:
    def rises(stretches: list[Stretch], sign: float) -> float:
        total = 0.0
        for s in stretches:
            for length, g0, g1 in zip(s.chain.length, s.chain.grade_in, s.chain.grade_out, strict=True):
                level = [length * g0 / (g0 - g1)] if g0 * g1 < 0 else None
                total += quad(
                    lambda x, a=g0, b=g1, m=length: max(np.sin(sign * (a + (b - a) * x / m)), 0.0),
                    0.0,
                    length,
                    points=level,
                )[0]
        return total

    way = [SPANS[0], CROSSINGS[0], SPANS[1], CROSSINGS[1], SPANS[2]]
    assert ROW.climb(0, 3) == pytest.approx(rises(way, 1.0), rel=1e-9)
    assert ROW.climb(3, 0) == pytest.approx(rises(way, -1.0), rel=1e-9)
    assert ROW.climb(2, 1) == pytest.approx(rises([SPANS[1]], -1.0), rel=1e-9)


def test_rows_that_do_not_fit_together_are_refused() -> None:
    with pytest.raises(DomainError, match="3 spans, 3 vaults"):
        Row(VAULTS[:3], SPANS, CROSSINGS)
    with pytest.raises(DomainError, match="unique"):
        Row((*VAULTS[:3], RowVault("A")), SPANS, CROSSINGS)
    with pytest.raises(DomainError, match=r"spans\[1\] must not be empty"):
        Row(VAULTS, (SPANS[0], stretch(DUCT, "e"), SPANS[2]), CROSSINGS)
    for feed, pull in ((1, 1), (-1, 2), (0, 4)):
        with pytest.raises(DomainError, match="two different vaults from 0 to 3"):
            ROW.track(feed, pull)
