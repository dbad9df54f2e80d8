"""Vaults of a drawing: blocks with attributes, points, circles, closed outlines, and the texts beside them."""

import math

import pytest

from routeio.findings import InputRefusedError
from routeio.options import Selection

DUCT, VAULT = {"layer": "DUCT"}, {"layer": "VAULT"}


@pytest.fixture
def route(drawing):
    drawing.modelspace().add_line((0, 0), (100, 0), dxfattribs=DUCT)
    return drawing


@pytest.fixture
def manhole(route):
    block = route.blocks.new("MH", base_point=(1, 1))
    block.add_lwpolyline([(-1, 0), (3, 0), (3, 2), (-1, 2)], close=True)
    for tag in ("VAULT_NO", "KIND", "RIM_ELEV", "INV", "SPLICE", "OWNER"):
        block.add_attdef(tag, (0, 0))
    block.add_attdef("MAKE", (0, 0), text="precast").is_const = True
    return route


def test_attributes_in_our_names_others_in_theirs(manhole, saved, survey, codes):
    insert = manhole.modelspace().add_blockref("MH", (0, 0), dxfattribs=VAULT)
    insert.add_auto_attribs(
        {
            "VAULT_NO": "MH-7",
            "KIND": "manhole",
            "RIM_ELEV": "112.5",
            "INV": "108.25'",
            "SPLICE": "no",
            "OWNER": "city",
        }
    )
    (vault,) = survey(saved(manhole), vaults=Selection("VAULT", fields={"splice": "SPLICE"})).vaults
    assert (vault.tag, vault.kind, vault.rim) == ("MH-7", "manhole", 112.5)
    assert (
        vault.invert == vault.z == pytest.approx(108.25 * 0.3048)
    )  # feet by their mark, in a drawing in metres
    assert (vault.splice, vault.feed, vault.pull) == (False, True, True)
    assert vault.fields["OWNER"] == "city"
    assert vault.fields["MAKE"] == "precast"
    assert (vault.x, vault.y) == (0, 0)
    assert vault.footprint.bounds == (-2, -1, 2, 1)


def test_attribute_that_no_block_has_is_refused(manhole, saved, raw):
    manhole.modelspace().add_blockref("MH", (0, 0), dxfattribs=VAULT)
    with pytest.raises(InputRefusedError, match="'VAULT_NO'") as refused:
        raw(saved(manhole), vaults=Selection("VAULT", fields={"name": "TAGG"}))
    assert refused.value.code == "missing-field"


def test_turned_mirrored_scaled_and_array(manhole, saved, survey):
    space = manhole.modelspace()
    space.add_blockref("MH", (10, 20), dxfattribs={**VAULT, "rotation": 90, "xscale": -2, "yscale": 2})
    space.add_blockref("MH", (50, 0), dxfattribs={**VAULT, "column_count": 3, "column_spacing": 10})
    vaults = survey(saved(manhole), vaults="VAULT").vaults
    assert vaults[0].footprint.bounds == pytest.approx((8, 16, 12, 24))
    assert [v.x for v in vaults[1:]] == [50, 60, 70]
    assert len({v.tag for v in vaults}) == 4
    assert all(v.tag.startswith("V@") for v in vaults)


def test_inside_another_block(manhole, saved, survey):
    outer = manhole.blocks.new("PLAN")
    insert = outer.add_blockref("MH", (5, 5), dxfattribs=VAULT)
    insert.add_auto_attribs({"VAULT_NO": "MH-1"})
    outer.add_line((5, 5), (9, 5), dxfattribs=DUCT)
    manhole.modelspace().add_blockref("PLAN", (100, 0), dxfattribs={"rotation": 90})
    read = survey(saved(manhole), vaults="VAULT")
    assert (read.vaults[0].tag, read.vaults[0].x, read.vaults[0].y) == (
        "MH-1",
        pytest.approx(95),
        pytest.approx(5),
    )
    assert read.ducts[1].start_vault == "MH-1"


def test_attributes_of_other_blocks_are_not_guessed_for_vaults(manhole, saved, survey, codes):
    """The block with a tag is a title, the vaults are circles."""
    manhole.modelspace().add_blockref("MH", (0, 0), dxfattribs={"layer": "TITLE"})
    manhole.modelspace().add_circle((50, 0), 1.5, dxfattribs=VAULT)
    assert "field-guessed" not in codes(survey(saved(manhole), vaults="VAULT"))


@pytest.mark.parametrize(
    ("written", "metres"), [("12.5 ft", 3.81), ("IE 12.5", 12.5), ("12.5", 12.5), ("-9999 ft", None)]
)
def test_a_level_written_with_its_unit(manhole, saved, survey, written, metres):
    """In a drawing in metres."""
    manhole.modelspace().add_blockref("MH", (0, 0), dxfattribs=VAULT).add_auto_attribs({"INV": written})
    (vault,) = survey(saved(manhole), vaults="VAULT").vaults
    assert vault.invert == (None if metres is None else pytest.approx(metres))


def test_points_circles_and_outlines(route, saved, survey, codes):
    space = route.modelspace()
    space.add_point((0, 0, 55.5), dxfattribs=VAULT)
    space.add_circle((50, 0), 1.5, dxfattribs=VAULT)
    space.add_lwpolyline(
        [(99, -1, 0), (101, -1, 1), (101, 1, 0), (99, 1, 1)], format="xyb", close=True, dxfattribs=VAULT
    )
    space.add_lwpolyline([(0, 5), (9, 5)], dxfattribs=VAULT)
    space.add_line((0, 5), (9, 5), dxfattribs=VAULT)
    read = survey(saved(route), vaults="VAULT")
    point, circle, outline = read.vaults
    assert (point.x, point.footprint) == (0, None)
    assert circle.footprint.area == pytest.approx(math.pi * 1.5**2, rel=1e-2)
    # a square of 2 with half circles of radius 1 on two sides
    assert outline.footprint.area == pytest.approx(4 + math.pi, rel=1e-2)
    assert (outline.x, outline.y) == pytest.approx((100, 0), abs=1e-6)
    assert codes(read)["entity-skipped"] == 2
    assert [(d.start_vault, d.end_vault) for d in read.ducts] == [
        (point.tag, circle.tag),
        (circle.tag, outline.tag),
    ]


def test_nearest_text_names_a_vault_without_a_tag(route, saved, survey, said):
    space = route.modelspace()
    for x, text in ((0, "MH-1"), (50, "MH-2")):
        space.add_circle((x, 0), 1, dxfattribs=VAULT)
        space.add_text(text, height=1, dxfattribs={**VAULT, "insert": (x + 2, 1.5)})
    space.add_mtext("MH-3\\Prim 812.4", dxfattribs={**VAULT, "insert": (101, 1)})
    space.add_circle((100, 0), 1, dxfattribs=VAULT)
    space.add_circle((200, 0), 1, dxfattribs=VAULT)
    space.add_text("far away", dxfattribs={**VAULT, "insert": (210, 0)})
    read = survey(saved(route), vaults="VAULT")
    assert [v.tag for v in read.vaults[:3]] == ["MH-1", "MH-2", "MH-3"]
    assert read.vaults[3].tag.startswith("V@")
    assert len(said(read, "tag-from-text")) == 3
    assert survey(saved(route), vaults="VAULT", text_reach=12.0).vaults[3].tag == "far away"


@pytest.mark.parametrize(
    ("beside", "tag"),
    [
        (("RIM 110.25", "INV. IN 100.10", "MH-1"), "MH-1"),
        (("EL=98.4", "6'x6'x7' PRECAST", "12"), "12"),
        (('4-5" PVC, SCH 40', "STA 12+50.00", "SUB A"), "SUB A"),
        (("EL-5",), "EL-5"),
        (("TOP-3",), "TOP-3"),
        (("3.1",), "3.1"),
        (("RIM 110.25", "110.25"), None),
    ],
)
def test_levels_and_sizes_beside_a_vault_are_not_its_name(route, saved, survey, beside, tag):
    """The nearest text says how high the vault is or how large; what it is called stands a little farther off."""
    space = route.modelspace()
    space.add_circle((0, 0), 1, dxfattribs=VAULT)
    for k, text in enumerate(beside):
        space.add_text(text, height=0.3, dxfattribs={**VAULT, "insert": (1.2 + 0.3 * k, 0)})
    (vault,) = survey(saved(route), vaults="VAULT").vaults
    assert vault.tag == tag or (tag is None and vault.tag.startswith("V@"))


def test_one_text_names_one_vault(route, saved, survey):
    space = route.modelspace()
    space.add_circle((0, 0), 0.5, dxfattribs=VAULT)
    space.add_circle((3, 0), 0.5, dxfattribs=VAULT)
    space.add_text("MH-1", dxfattribs={**VAULT, "insert": (2.0, 0)})
    tags = [v.tag for v in survey(saved(route), vaults="VAULT").vaults]
    assert tags[1] == "MH-1"
    assert tags[0].startswith("V@")


def test_outline_around_a_tagged_mark_is_its_footprint(manhole, saved, survey, codes):
    space = manhole.modelspace()
    insert = space.add_blockref("MH", (0, 0), dxfattribs=VAULT)
    insert.add_auto_attribs({"VAULT_NO": "MH-1"})
    space.add_lwpolyline([(-4, -4), (4, -4), (4, 4), (-4, 4)], close=True, dxfattribs=VAULT)
    read = survey(saved(manhole), vaults="VAULT")
    (vault,) = read.vaults
    assert (vault.tag, vault.footprint.area) == ("MH-1", 64)
    assert codes(read)["outline-joined"] == 1


def test_a_symbol_is_no_outline(route, saved, survey, codes):
    block = route.blocks.new("SYMBOL")
    block.add_circle((0, 0), 40)
    route.modelspace().add_blockref("SYMBOL", (0, 0), dxfattribs=VAULT)
    read = survey(saved(route), vaults="VAULT")
    assert read.vaults[0].footprint is None
    assert codes(read)["vault-symbol-large"] == 1


def test_repeated_and_doubled_vaults(manhole, saved, survey, codes):
    space = manhole.modelspace()
    for x in (0, 0, 50):
        space.add_blockref("MH", (x, 0), dxfattribs=VAULT).add_auto_attribs({"VAULT_NO": "MH-1"})
    space.add_blockref("MH", (100, 0), dxfattribs=VAULT).add_auto_attribs({"VAULT_NO": "MH-2"})
    read = survey(saved(manhole), vaults="VAULT")
    tags = [v.tag for v in read.vaults]
    assert len(set(tags)) == 3
    assert [t.split("@")[0] for t in tags] == ["MH-1", "MH-1", "MH-2"]
    assert "MH-1" not in tags  # a feeder that names it must be told that there are two
    assert (codes(read)["duplicate-vault"], codes(read)["repeated-tag"]) == (1, 2)


def test_absurd_and_missing_levels(manhole, saved, survey, codes):
    space = manhole.modelspace()
    for k, (rim, invert) in enumerate((("812.4 / 809.1", "n/a"), ("0", "-9999"), ("100", "105"))):
        space.add_blockref("MH", (50 * k, 0), dxfattribs=VAULT).add_auto_attribs(
            {"VAULT_NO": f"MH-{k}", "RIM_ELEV": rim, "INV": invert}
        )
    read = survey(saved(manhole), vaults="VAULT")
    assert [(v.rim, v.invert) for v in read.vaults] == [(None, None), (None, None), (100, 105)]
    assert codes(read)["field-unreadable"] == 2
    assert codes(read)["rim-below-invert"] == 1


def test_outlines_drawn_as_loose_pieces(route, saved, survey, said):
    """Four lines, a line and an arc, and a line that belongs to nothing."""
    space = route.modelspace()
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        space.add_line(a, b, dxfattribs=VAULT)
    space.add_line((50, -1), (50, 1.001), dxfattribs=VAULT)
    space.add_arc((50, 0), 1, 270, 90, dxfattribs=VAULT)
    space.add_line((70, 5), (71, 5), dxfattribs=VAULT)
    read = survey(saved(route), vaults="VAULT")
    square, half = read.vaults
    assert square.footprint.area == pytest.approx(4, rel=0.02)
    assert half.footprint.area == pytest.approx(math.pi / 2, rel=0.02)
    assert [d.start_vault for d in read.ducts][:2] == [square.tag, half.tag]
    assert "closes no outline" in said(read, "entity-skipped")[0]
    assert (read.counts["read LINE"], read.counts["skipped LINE"], read.counts["read ARC"]) == (6, 1, 1)


def test_what_a_drawing_cannot_be_asked(route, saved, raw):
    for selection, code in (
        (Selection("DUCT", "size = 5"), "no-filter-here"),
        (Selection("DUCT", fields={"size": "SIZE"}), "missing-field"),
    ):
        with pytest.raises(InputRefusedError) as refused:
            raw(saved(route), ducts=selection)
        assert refused.value.code == code


def test_texts_of_the_vault_layer_go_before_others(route, saved, survey):
    space = route.modelspace()
    for x in (0, 50):
        space.add_circle((x, 0), 1, dxfattribs=VAULT)
    space.add_text("5 in PVC", dxfattribs={**DUCT, "insert": (0.5, 0.5)})
    space.add_text("MH-1", dxfattribs={**VAULT, "insert": (2, 2)})
    space.add_text("MH-2", dxfattribs={"layer": "NOTES", "insert": (51, 1)})
    assert [v.tag for v in survey(saved(route), ducts="DUCT", vaults="VAULT").vaults] == ["MH-1", "MH-2"]


def test_a_text_of_millions_of_letters_is_cut_and_said(manhole, saved, raw, codes):
    space = manhole.modelspace()
    insert = space.add_blockref("MH", (0, 0), dxfattribs=VAULT)
    insert.add_auto_attribs({"VAULT_NO": "MH-1"})
    insert.add_attrib("NOTE", "X" * 3_000_000, (0, 0))
    space.add_point((50, 0), dxfattribs=VAULT)
    space.add_mtext("MH-2\\P" + "Y" * 300_000, dxfattribs={**VAULT, "insert": (51, 0)})
    space.add_text("Z" * 3_000_000, dxfattribs={"layer": "NOTES", "insert": (500, 0)})
    read = raw(saved(manhole), vaults="VAULT")
    assert [v.tag for v in read.vaults] == ["MH-1", "MH-2"]
    assert codes(read)["text-cut"] == 2  # that of the MTEXT is in its second line, which no one reads
