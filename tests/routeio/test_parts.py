"""Ducts whose attributes or layer change with no vault between: cut there, each part keeping its own."""

import math

import numpy as np
import pytest

DUCT, BORE = {"layer": "DUCT"}, {"layer": "DUCT-BORE"}


def test_a_straight_that_goes_on_in_another_layer(drawing, saved, survey, codes):
    space = drawing.modelspace()
    space.add_line((0, 0), (30, 0), dxfattribs=DUCT)
    space.add_line((80, 0), (30, 0), dxfattribs=BORE)
    space.add_line((80, 0), (100, 0), dxfattribs=DUCT)
    read = survey(saved(drawing), ducts="DUCT*")
    (duct,) = read.ducts
    assert duct.chain.length.tolist() == pytest.approx([30, 50, 20])
    assert [duct.at(k).where.layer for k in range(3)] == ["DUCT", "DUCT-BORE", "DUCT"]
    assert len(duct.origins) == 3
    assert codes(read)["pieces-differ"] == 1


def test_corners_before_the_change_do_not_shift_it(drawing, saved, survey):
    """Eight sharp corners swept at 6 m shorten the line; the change stays where it is drawn."""
    zigzag = [(20 * k, 20 * (k % 2)) for k in range(10)]
    space = drawing.modelspace()
    space.add_lwpolyline([*zigzag, (250, zigzag[-1][1])], dxfattribs=DUCT)
    space.add_line((250, 20), (300, 20), dxfattribs=BORE)
    (duct,) = survey(saved(drawing), ducts="DUCT*", sweep=6.0).ducts
    assert duct.chain.length[-1] == pytest.approx(50)
    assert duct.parts[0].stop == len(duct.chain) - 1


def test_a_change_within_an_arc_shares_its_turn(drawing, saved, survey):
    """Two arcs of one circle: 30 and 60 degrees of radius 9."""
    space = drawing.modelspace()
    space.add_arc((0, 0), 9, 0, 30, dxfattribs=DUCT)
    space.add_arc((0, 0), 9, 30, 90, dxfattribs=BORE)
    (duct,) = survey(saved(drawing), ducts="DUCT*").ducts
    assert np.degrees(np.abs(duct.chain.turn)).tolist() == pytest.approx([30, 60])
    assert duct.chain.length.tolist() == pytest.approx([9 * math.pi / 6, 9 * math.pi / 3])


def test_a_change_where_a_segment_ends_cuts_nothing(drawing, saved, survey):
    space = drawing.modelspace()
    space.add_line((0, 0), (30, 0), dxfattribs=DUCT)
    space.add_arc((30, 9), 9, 270, 360, dxfattribs=BORE)
    (duct,) = survey(saved(drawing), ducts="DUCT*").ducts
    assert len(duct.chain) == 2
    assert [p.stop for p in duct.parts] == [1, 2]


def test_elevations_keep_their_grades(drawing, saved, survey):
    space = drawing.modelspace()
    space.add_line((0, 0, 100), (30, 0, 103), dxfattribs=DUCT)
    space.add_line((30, 0, 103), (50, 0, 105), dxfattribs=BORE)
    (duct,) = survey(saved(drawing), ducts="DUCT*").ducts
    assert np.tan(duct.chain.grade_in) == pytest.approx(0.1)
    assert duct.chain.length.tolist() == pytest.approx([30 * math.sqrt(1.01), 20 * math.sqrt(1.01)])


def test_ducts_that_do_not_change_have_no_parts(drawing, saved, survey):
    space = drawing.modelspace()
    space.add_line((0, 0), (30, 0), dxfattribs=DUCT)
    space.add_line((30, 0), (50, 0), dxfattribs=DUCT)
    (duct,) = survey(saved(drawing), ducts="DUCT*").ducts
    assert duct.parts == ()
    assert duct.at(0) is duct
