"""Guesses of fields by their names."""

from routeio.guess import fields_like, unit_in_name
from routeio.peeking import peek


def test_where_splicing_feeding_and_pulling_are_allowed():
    found = fields_like(("splice", "feed", "pull"), ("TAG", "SPLICE", "FEED_OK", "Pull"))
    assert {(g.what, g.name) for g in found} == {("splice", "SPLICE"), ("feed", "FEED_OK"), ("pull", "Pull")}


def test_names_that_end_in_a_unit():
    found = fields_like(
        ("rim", "invert", "inside_diameter", "length"),
        ("INV_IN", "Rim El. [m]", "invert_ft", "bore (mm)", "LENGTHFT"),
    )
    assert {(g.what, g.name) for g in found} == {
        ("rim", "Rim El. [m]"), ("invert", "invert_ft"), ("inside_diameter", "bore (mm)"), ("length", "LENGTHFT"),
    }  # fmt: skip
    assert "its unit, ft" in next(g.reason for g in found if g.what == "invert")
    # INV_IN is the invert of what comes in; STREAM and size have no unit
    assert [unit_in_name("invert", n) for n in ("INV_IN", "STREAM", "INV_US_FT")] == [
        "",
        "",
        "us_survey_foot",
    ]
    assert unit_in_name("size", "size_in") == ""


def test_a_layer_of_blocks_with_lines_in_them_is_guessed(drawing, saved, survey):
    """Ducts made as blocks: their lines stand on layer 0 inside; so do the lines of a symbol on a layer of another name."""
    space = drawing.modelspace()
    for name in ("RUN", "ARROW"):
        drawing.blocks.new(name).add_line((0, 0), (50, 0))
    for k in (0, 1):
        space.add_blockref("RUN", (50 * k, 0), dxfattribs={"layer": "E-DUCT"})
    space.add_blockref("ARROW", (0, 9), dxfattribs={"layer": "SIGNS"})
    space.add_line((0, 30), (50, 30), dxfattribs={"layer": "WATER"})
    path = saved(drawing)
    assert peek(path).guessed("ducts") == ("E-DUCT",)
    assert survey(path).ducts[0].chain.total_length == 100
