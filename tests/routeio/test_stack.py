"""What is worked out some thousand lines at a time is what each line alone gives."""

import numpy as np
import pytest

from routeio.bulges import leg_lengths, line_lengths
from routeio.exact import exact
from routeio.rawlines import RawLine
from routeio.stack import run_boxes, stacked


@pytest.fixture(scope="module")
def lines():
    rng = np.random.default_rng(4)
    sizes = rng.integers(2, 5, 5000)
    return [
        RawLine(
            np.column_stack((np.cumsum(rng.uniform(1.0, 9.0, (size, 2)), axis=0), np.full(size, np.nan))),
            rng.choice([0.0, 0.3, -2.0], size - 1),
            ("a",) * int(size - 1),
            True,
        )
        for size in sizes.tolist()
    ]


SAMPLE = (0, 1, 2047, 2048, 2049, 4095, 4096, 4999)


def test_boxes_and_lengths(lines):
    boxes, owner = run_boxes(stacked(lines), 3)
    lengths = line_lengths([line.points for line in lines], [line.bulge for line in lines])
    assert (np.unique(owner) == np.arange(len(lines))).all()
    for k in SAMPLE:
        alone, _ = run_boxes(stacked([lines[k]]), 3)
        assert (boxes[owner == k] == alone).all()
        assert lengths[k] == pytest.approx(leg_lengths(lines[k].points, lines[k].bulge).sum(), rel=1e-12)


def test_exact_lines(lines):
    straight = [RawLine(line.points[:2], line.bulge[:1], ("a",), True) for line in lines]
    found = exact(straight, 0.01)
    assert 2000 < len(found) < 5000
    for k in SAMPLE:
        alone = exact([straight[k]], 0.01)
        assert (0 in alone) == (k in found)
        if 0 in alone:
            assert (alone[0].chain.turn == found[k].chain.turn).all()
            assert alone[0].heading == found[k].heading
