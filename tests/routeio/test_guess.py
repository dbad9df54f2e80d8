"""Guesses of fields by their names."""

import pytest

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


def ducts_and(drawing, *, blocks=(), outline=False, layer="0"):
    """Two ducts of 100 m on E-DUCT with something at their ends; one more line of a name that says air ducts."""
    space = drawing.modelspace()
    for k in (0, 1):
        space.add_line((100 * k, 0), (100 * k + 100, 0), dxfattribs={"layer": "E-DUCTBANK"})
    space.add_line((0, 50), (90, 50), dxfattribs={"layer": "HVAC-DUCT"})
    for k in range(3):
        for name in blocks:
            symbol = space.add_blockref(name, (100 * k, 0), dxfattribs={"layer": layer})
            symbol.add_auto_attribs({"MH_NO": f"{k}"})
        if outline:
            corners = [(100 * k - 1, -1), (100 * k + 1, -1), (100 * k + 1, 1), (100 * k - 1, 1)]
            for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
                space.add_line(a, b, dxfattribs={"layer": layer})


def test_blocks_are_taken_for_vaults_by_the_attribute_that_names_vaults(drawing, saved):
    drawing.blocks.new("SYM-12").add_circle((0, 0), 1)
    drawing.blocks.get("SYM-12").add_attdef("MH_NO", (0, 0))
    drawing.blocks.new("ARROW").add_line((0, 0), (1, 0))
    ducts_and(drawing, blocks=("SYM-12", "ARROW"))
    seen = peek(saved(drawing))
    assert seen.guessed("ducts") == ("E-DUCTBANK",)
    assert seen.guessed("vaults by block") == ("SYM-12",)
    assert seen.guessed("vaults.name") == ("MH_NO",)


@pytest.mark.parametrize("layer", ["E-VAULT", "E-POWR-MHOL", "U-ELEC-STRC"])
def test_vaults_drawn_as_loose_lines_are_guessed_by_their_layer(drawing, saved, survey, layer):
    ducts_and(drawing, outline=True, layer=layer)
    path = saved(drawing)
    assert peek(path).guessed("vaults") == (layer,)
    read = survey(path)
    assert len(read.vaults) == 3
    assert all(duct.start_vault and duct.end_vault for duct in read.ducts)
    assert [round(duct.chain.total_length, 6) for duct in read.ducts] == [100.0, 100.0]


def test_without_another_layer_it_is_said_that_there_is_none(drawing, saved, survey):
    drawing.modelspace().add_line((0, 0), (9, 0), dxfattribs={"layer": "0"})
    (said,) = [f for f in survey(saved(drawing)).findings if f.code == "no-vaults"]
    assert "no other layer" in said.remedy
