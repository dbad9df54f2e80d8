"""Networks of LandXML: pipes as ducts, structures of every shape as vaults."""

import pytest

from routeio.landxml_peek import peek

UNITS = '<Units><Metric linearUnit="meter" diameterUnit="millimeter" widthUnit="millimeter"/></Units>'
STRUCTS = (
    '<Struct name="MH-1" elevRim="15"><Center>0 0</Center><RectStruct length="4" width="2000"/>'
    '<Invert elev="10" refPipe="P1" flowDir="out"/></Struct>'
    '<Struct name="MH-2"><Center>0 60</Center><CircStruct diameter="1500"/><Invert elev="11" refPipe="P1"/>'
    '<Invert elev="12" refPipe="P2"/></Struct>'
    '<Struct name="MH-3"><Center>30 100</Center><InletStruct/><Invert elev="13" refPipe="P2"/></Struct>'
)
PIPES = (
    '<Pipe name="P1" refStart="MH-1" refEnd="MH-2" length="60"><CircPipe diameter="128.2"/></Pipe>'
    '<Pipe name="P2" refStart="MH-2" refEnd="MH-3" length="50"><RectPipe width="200" height="200"/></Pipe>'
    '<Pipe name="P3" refStart="MH-1" refEnd="MH-3"><CircPipe diameter="128.2"/><Center>50 0</Center></Pipe>'
    '<Pipe name="P4" refStart="MH-1" refEnd="MH-9"><CircPipe diameter="128.2"/></Pipe>'
)
LINE = '<Alignments><Alignment name="CL"><CoordGeom><Line><Start>0 0</Start><End>0 90</End></Line></CoordGeom></Alignment></Alignments>'


@pytest.fixture
def network(tmp_path):
    def write(structs=STRUCTS, pipes=PIPES, name="feeder", more=""):
        path = tmp_path / "route.xml"
        path.write_text(
            f'<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">{UNITS}'
            f'<PipeNetworks><PipeNetwork name="{name}"><Structs>{structs}</Structs><Pipes>{pipes}</Pipes></PipeNetwork>'
            f"</PipeNetworks>{more}</LandXML>",
            encoding="utf-8",
        )
        return path

    return write


def test_straight_pipes_are_ducts_between_their_structures(survey, network, said, codes):
    found = survey(network())
    assert [(d.start_vault, d.end_vault) for d in found.ducts] == [("MH-1", "MH-2"), ("MH-2", "MH-3")]
    # 3-4-5: from (60, 0) to (100, 30); northing stands first
    assert [d.end[:2] for d in found.ducts] == [(60, 0), (100, 30)]
    assert [(d.start[2], d.end[2]) for d in found.ducts] == [(10, 11), (12, 13)]
    assert found.ducts[0].chain.total_length == pytest.approx((60**2 + 1) ** 0.5)
    assert found.ducts[0].fields.inside_diameter == pytest.approx(0.1282)
    assert [d.fields.recorded_length for d in found.ducts] == [60, 50]
    skipped = said(found, "entity-skipped")
    assert len(skipped) == 2
    assert "curved about a centre" in skipped[0]
    assert "(P4)" in skipped[1]
    # MH-2 has an invert for each of its pipes, so that none holds for both
    assert [v.invert for v in found.vaults] == [10, None, 13]
    assert "line-against-invert" not in codes(found)


def test_rectangles_and_circles_are_outlines_in_their_own_unit(survey, network):
    one, two, three = survey(network()).vaults
    # the circle that fits into 4 m by 2000 mm, and 1500 mm across
    assert one.footprint.bounds == pytest.approx((-1, -1, 1, 1), abs=0.01)
    assert two.footprint.bounds == pytest.approx((59.25, -0.75, 60.75, 0.75), abs=0.01)
    assert three.footprint is None


def test_everything_is_read_or_skipped_with_a_reason(raw, network, codes):
    found = raw(network(more=LINE), ducts="network feeder")
    assert found.counts == {"read Struct": 3, "read Pipe": 2, "skipped Pipe": 2, "skipped Line": 1}
    assert codes(found)["entity-unused"] == 1


@pytest.mark.parametrize(
    ("name", "more", "ducts"),
    [
        ("feeder", "", ["network feeder"]),
        ("storm", LINE, ["CL"]),
        ("storm", "", ["network storm"]),
        ("Ducts", "", ["network Ducts"]),
    ],
)
def test_what_new_takes_for_ducts(network, raw, name, more, ducts):
    """A network beside an alignment is a drain unless its name says ducts; where it is taken, its structures are vaults."""
    path = network(name=name, more=more)
    guessed = [(g[0], g[1]) for g in peek(path)["guesses"]]
    assert [n for what, n in guessed if what == "ducts"] == ducts
    assert ("vaults", f"network {name}") in guessed
    assert {line.where.layer for line in raw(path).lines} == set(ducts)
    assert {v.tag for v in raw(path).vaults} >= {"MH-1", "MH-2", "MH-3"}
