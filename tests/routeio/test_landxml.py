"""LandXML: alignments as drawn, profiles as stated, and every way in which such files go wrong."""

import math
import os
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.special import fresnel

from mechanics.centreline import place
from routeio.findings import InputRefusedError
from routeio.options import Selection
from routeio.read import read_survey

OPEN = os.environ.get("TAUTLINE_OPEN_DATA")
FOLDER = Path(OPEN or "") / "landxml"
FILES = ("M3_RS-CL.tg.xml", "Y10_RS-CL.tg.xml", "Y11_RS-CL.tg.xml")
outside = pytest.mark.skipif(not OPEN, reason="TAUTLINE_OPEN_DATA names no folder of open data")

LINE = "<Line><Start>0 0</Start><End>0 100</End></Line>"
METRIC = '<Units><Metric linearUnit="meter" directionUnit="decimal degrees"/></Units>'
PVIS = "<PVI>0 10</PVI><PVI>100 12</PVI>"


@pytest.fixture
def xml(tmp_path):
    def write(geometry=LINE, profile="", units=METRIC, more="", attributes="", inside="", name="route.xml"):
        path = tmp_path / name
        path.write_text(
            f'<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2" version="1.2">{units}{more}'
            f'<Alignments><Alignment name="Duct 1" {attributes}><CoordGeom>{geometry}</CoordGeom>{inside}'
            f"{f'<Profile>{profile}</Profile>' if profile else ''}</Alignment></Alignments></LandXML>",
            encoding="utf-8",
        )
        return path

    return write


def refusal(read, path, **options):
    with pytest.raises(InputRefusedError) as refused:
        read(path, **options)
    assert refused.value.remedy
    assert refused.value.where.file == path.name
    return refused.value


def profile(points):
    return f'<ProfAlign name="design">{points}</ProfAlign>'


# -- open data: three alignments of a road, with lengths and stations that their own program wrote ------------------


@outside
@pytest.mark.parametrize("name", FILES)
def test_lengths_and_ends_are_those_the_file_states(name, survey, raw):
    path = FOLDER / name
    text = path.read_text(encoding="iso-8859-1")
    stated = [float(v) for v in re.findall(r'<(?:Line|Curve) length="([\d.]+)"', text)]
    found = raw(path)
    line = found.lines[0]
    drawn = np.hypot(*np.diff(line.points[:, :2], axis=0).T) / np.sinc(2 * np.arctan(line.bulge) / np.pi)
    assert drawn == pytest.approx(stated, abs=2e-6)
    whole = float(re.search(r'<Alignment [^>]*length="([\d.]+)"', text)[1])
    assert drawn.sum() == pytest.approx(whole, abs=1e-5)
    radii = [float(v) for v in re.findall(r'radius="([\d.]+)" rot', text)]
    bent = line.bulge != 0
    assert drawn[bent] / np.abs(4 * np.arctan(line.bulge[bent])) == pytest.approx(radii, abs=1e-4)
    assert {f.code for f in found.findings} <= {"layer-guessed", "end-as-vault", "profile-drawn-on"}
    (duct,) = survey(path).ducts
    assert duct.elevated
    # northing first: the end of the last line as the file writes it
    north, east = (float(v) for v in re.findall(r"<End>([\d.]+) ([\d.]+)", text)[-1])
    end = place(duct.chain, duct.start, duct.heading).points[-1]
    assert end[:2] == pytest.approx([east, north], abs=0.03)


@outside
@pytest.mark.parametrize("name", FILES)
def test_elevations_are_those_of_the_stated_curves(name, survey):
    path = FOLDER / name
    text = path.read_text(encoding="iso-8859-1")
    (duct,) = survey(path).ducts
    drawn = place(duct.chain, duct.start, duct.heading, sagitta=1e-5)
    level = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(drawn.points[:, :2], axis=0).T))))
    curves = re.findall(r'<CircCurve length="([\d.]+)" radius="(-?[\d.]+)">([\d.]+) ([\d.]+)<', text)
    assert curves
    for length, radius, station, z in ((float(v) for v in row) for row in curves):
        # at its middle a circular curve lies off the intersection by R(1/cos(a/2) - 1), on the side of its centre
        off = abs(radius) * (1 / math.cos(0.5 * length / abs(radius)) - 1) * math.copysign(1, radius)
        assert np.interp(station, level, drawn.points[:, 2]) == pytest.approx(z + off, abs=0.035)


@outside
def test_an_open_file_through_the_worker():
    found = read_survey(FOLDER / FILES[0])
    assert found.ground.crs == "EPSG:3875"
    assert [v.tag for v in found.vaults] == ["V@M3_RS - CL start", "V@M3_RS - CL end"]


# -- geometry --------------------------------------------------------------------------------------------------------


def test_northing_comes_first(survey, xml):
    (duct,) = survey(xml("<Line><Start>500 20</Start><End>600 20</End></Line>")).ducts
    assert duct.start[:2] == pytest.approx((20.0, 500.0))
    assert duct.heading == pytest.approx(math.pi / 2)


@pytest.mark.parametrize(("length", "radius"), [(60.0, 40.0), (100.0, 500.0), (20.0, 5.0)])
def test_a_clothoid_lies_where_the_fresnel_integrals_say(raw, survey, xml, said, length, radius):
    # clothoid from a straight: x + iy = a sqrt(pi) (C + iS)(s / (a sqrt(pi))), a^2 = R L; scipy's integrals
    a = math.sqrt(radius * length)

    def at(s):
        sine, cosine = fresnel(s / (a * math.sqrt(math.pi)))
        return a * math.sqrt(math.pi) * np.array([cosine, sine])

    x, y = at(length)
    spiral = (
        f'<Line><Start>0 -50</Start><End>0 0</End></Line><Spiral length="{length}" radiusStart="INF" radiusEnd="{radius}" '
        f'rot="ccw" spiType="clothoid"><Start>0 0</Start><PI>0 {x / 2}</PI><End>{y:.9f} {x:.9f}</End></Spiral>'
    )
    found = raw(xml(spiral))
    points = found.lines[0].points[1:, :2]
    assert points == pytest.approx(np.array([at(s) for s in np.linspace(0, length, len(points))]), abs=1e-7)
    turn = 4 * np.arctan(found.lines[0].bulge)
    assert turn.sum() == pytest.approx(0.5 * length / radius)
    assert len(said(found, "spiral-as-arcs")) == 1
    assert not said(found, "element-differs")
    (duct,) = survey(xml(spiral)).ducts
    assert duct.chain.total_length == pytest.approx(length + 50, abs=1e-3)
    drawn = place(duct.chain, duct.start, duct.heading).points[-1]
    assert drawn[:2] == pytest.approx([x, y], abs=0.003)


def test_a_clothoid_whose_end_is_stated_elsewhere(raw, xml, codes):
    spiral = (
        '<Spiral length="60" radiusStart="INF" radiusEnd="40" rot="cw" spiType="clothoid"><Start>0 0</Start>'
        "<PI>0 40</PI><End>-15 58</End></Spiral>"
    )
    assert codes(raw(xml(spiral)))["element-differs"]


@pytest.mark.parametrize("kind", ["bloss", "cubicParabola", "sinusoid", ""])
def test_other_spirals_are_refused_by_name(raw, xml, kind):
    spiral = (
        f'<Spiral length="60" radiusStart="INF" radiusEnd="40" rot="cw" spiType="{kind}"><Start>0 0</Start><PI>0 40</PI>'
        "<End>-14 56</End></Spiral>"
    )
    refused = refusal(raw, xml(spiral))
    assert refused.code == "spiral-not-clothoid"
    assert (kind or "unstated") in str(refused)


def test_more_than_half_a_circle(survey, xml):
    curve = '<Curve rot="ccw"><Start>0 50</Start><Center>50 50</Center><End>50 0</End></Curve>'
    (duct,) = survey(xml("<Line><Start>0 0</Start><End>0 50</End></Line>" + curve)).ducts
    assert duct.chain.turn.sum() == pytest.approx(1.5 * math.pi)
    assert duct.chain.total_length == pytest.approx(50 + 1.5 * math.pi * 50)


def test_points_by_name_and_irregular_lines(survey, raw, xml):
    points = '<CgPoints><CgPoint name="1">0 0</CgPoint><CgPoint name="2">0 80 3</CgPoint></CgPoints>'
    path = xml('<Line><Start pntRef="1"/><End pntRef="2"/></Line>', more=points)
    assert survey(path).ducts[0].chain.total_length == pytest.approx(80)
    refused = refusal(raw, xml('<Line><Start pntRef="9"/><End>0 9</End></Line>', more=points))
    assert "'9'" in str(refused)
    found = raw(xml("<IrregularLine><PntList3D>0 0 1 0 50 2 0 90 4</PntList3D></IrregularLine>"))
    assert found.lines[0].points.tolist() == [[0, 0, 1], [50, 0, 2], [90, 0, 4]]


# -- units and angles ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "metres"), [("foot", 0.3048), ("USSurveyFoot", 1200 / 3937), ("meter", 1.0), ("inch", 0.0254)]
)
def test_units_as_stated(survey, xml, word, metres):
    system = "Metric" if word == "meter" else "Imperial"
    found = survey(xml(units=f'<Units><{system} linearUnit="{word}"/></Units>'))
    assert found.ducts[0].chain.total_length == pytest.approx(100 * metres, rel=1e-12)


def test_no_units_unknown_units_and_units_stated_otherwise(raw, xml, codes):
    refused = refusal(raw, xml(units=""))
    assert refused.code == "no-units"
    assert "m if ft" in str(refused)
    assert raw(xml(units=""), units="ft").ground.unit == "ft"
    assert refusal(raw, xml(units='<Units><Metric linearUnit="smoot"/></Units>')).code == "unknown-unit"
    assert codes(raw(xml(), units="ft"))["units-overridden"] == 1


@pytest.mark.parametrize(
    ("unit", "written"),
    [("decimal degrees", "45.5041666667"), ("grads", "50.5601851852"), ("radians", "0.7941975310"),
     ("decimal dd.mm.ss", "45.3015")],
)  # fmt: skip
def test_directions_in_every_unit(raw, xml, codes, unit, written):
    # a line at 45 degrees 30 minutes 15 seconds from east
    a = math.radians(45 + 30 / 60 + 15 / 3600)
    line = (
        f'<Line dir="{written}"><Start>0 0</Start><End>{100 * math.sin(a)} {100 * math.cos(a)}</End></Line>'
    )
    assert "direction-differs" not in codes(raw(xml(line, units=METRIC.replace("decimal degrees", unit))))
    other = "grads" if unit != "grads" else "radians"
    assert codes(raw(xml(line, units=METRIC.replace("decimal degrees", other))))["direction-differs"] == 1


def test_elevations_in_a_unit_of_their_own(survey, xml):
    units = '<Units><Imperial linearUnit="USSurveyFoot" elevationUnit="meter"/></Units>'
    (duct,) = survey(xml(profile=profile(PVIS), units=units)).ducts
    assert duct.end[2] - duct.start[2] == pytest.approx(2.0)


# -- profiles --------------------------------------------------------------------------------------------------------


def test_a_parabola_is_held_within_tolerance(survey, xml, said):
    pvis = '<PVI>0 0</PVI><ParaCurve length="60">50 5</ParaCurve><PVI>100 0</PVI>'
    found = survey(xml(profile=profile(pvis)))
    (duct,) = found.ducts
    drawn = place(duct.chain, duct.start, duct.heading, sagitta=1e-6).points
    x = drawn[:, 0]
    stated = np.where(x < 20, 0.1 * x, np.where(x > 80, 10 - 0.1 * x, 0.1 * x - 0.2 / 120 * (x - 20) ** 2))
    assert drawn[:, 2] == pytest.approx(stated, abs=0.003)
    assert len(said(found, "parabola-as-arcs")) == 1


def test_an_unsymmetrical_parabola(survey, xml):
    pvis = '<PVI>0 0</PVI><UnsymParaCurve lengthIn="20" lengthOut="40">50 5</UnsymParaCurve><PVI>100 0</PVI>'
    (duct,) = survey(xml(profile=profile(pvis))).ducts
    drawn = place(duct.chain, duct.start, duct.heading, sagitta=1e-6).points
    # offset at the intersection: |A| L1 L2 / (2 (L1 + L2)), as surveying handbooks have it (from memory)
    assert np.interp(50, drawn[:, 0], drawn[:, 2]) == pytest.approx(5 - 0.2 * 20 * 40 / 120, abs=0.003)


@pytest.mark.parametrize(("length", "told"), [("20.0", 0), ("26", 1)])
def test_a_circular_vertical_curve_of_another_length_than_its_radius_makes_is_said(
    survey, xml, codes, length, told
):
    # grades of +10 % and -10 %: 2 atan 0.1 = 0.19934 rad, so a radius of 100 m makes a curve of 19.93 m
    pvis = f'<PVI>0 0</PVI><CircCurve length="{length}" radius="100">50 5</CircCurve><PVI>100 0</PVI>'
    found = survey(xml(profile=profile(pvis)))
    assert codes(found).get("element-differs", 0) == told
    bends = found.ducts[0].chain.grade_out - found.ducts[0].chain.grade_in
    assert np.abs(found.ducts[0].chain.length[bends != 0.0] / bends[bends != 0.0]) == pytest.approx(100.0)


def test_a_negative_start_station(survey, xml):
    pvis = "<PVI>-250 10</PVI><PVI>-150 12</PVI>"
    (duct,) = survey(xml(profile=profile(pvis), attributes='staStart="-250"')).ducts
    assert (duct.start[2], duct.end[2]) == pytest.approx((10, 12))


def test_several_profiles(survey, xml, codes):
    two = profile(PVIS) + '<ProfAlign name="other"><PVI>0 1</PVI><PVI>100 1</PVI></ProfAlign>'
    surface = '<ProfSurf name="ground"><PntList2D>0 9 100 9</PntList2D></ProfSurf>'
    path = xml(profile=two + surface)
    found = survey(path)
    assert codes(found)["profile-chosen"] == 1
    assert found.ducts[0].end[2] == pytest.approx(12)
    assert found.counts["skipped ProfSurf"] == 1
    other = survey(path, ducts=Selection("Duct 1", fields={"profile": "other"}))
    assert other.ducts[0].end[2] == pytest.approx(1)
    missing = survey(path, ducts=Selection("Duct 1", fields={"profile": "none"}))
    assert codes(missing)["profile-missing"] == 1
    assert not missing.ducts[0].elevated


@pytest.mark.parametrize(
    ("pvis", "word"),
    [
        ("<PVI>0 1</PVI>", "fewer than two"),
        ("<PVI>50 1</PVI><PVI>0 1</PVI>", "beyond the one before"),
        ("<PVI>0 1</PVI><PVI>100 1e7</PVI>", "no duct has"),
        ("<PVI>0 x</PVI><PVI>100 1</PVI>", "station and an elevation"),
        ("<PVI>0 1</PVI><PVI>40 1</PVI>", "runs from"),
        ('<PVI>0 1</PVI><ParaCurve length="90">30 2</ParaCurve><PVI>100 1</PVI>', "no room"),
        ('<PVI>0 1</PVI><ParaCurve length="-9">30 2</ParaCurve><PVI>100 1</PVI>', "above 0"),
        ('<ParaCurve length="9">0 2</ParaCurve><PVI>100 1</PVI>', "begins or ends"),
        ("<PVI>0 1</PVI><CircCurve>30 2</CircCurve><PVI>100 1</PVI>", "neither a radius"),
    ],
)
def test_a_broken_profile_is_an_error_and_flat(survey, xml, said, pvis, word):
    found = survey(xml(profile=profile(pvis)))
    (told,) = said(found, "profile-broken")
    assert word in told
    assert not found.ducts[0].elevated


@pytest.mark.parametrize(
    "pvis",
    [
        '<PVI>0 5</PVI><ParaCurve length="1">99 -900</ParaCurve><PVI>100 8900</PVI>',
        '<PVI>0 5</PVI><ParaCurve length="10">50 -900</ParaCurve><PVI>100 8000</PVI>',
        "<PVI>0 5</PVI><PVI>50 8900</PVI><PVI>100 0</PVI>",
        "<PVI>0 5</PVI><PVI>50 5</PVI><PVI>50.001 8900</PVI><PVI>50.002 5</PVI><PVI>100 5</PVI>",
    ],
)
def test_a_profile_that_no_duct_has_is_an_error_and_flat(survey, xml, codes, pvis):
    found = survey(xml(profile=profile(pvis)))
    assert codes(found)["profile-not-laid"] == 1
    assert not found.ducts[0].elevated


def test_a_profile_that_ends_a_little_early_goes_on(survey, xml, codes):
    found = survey(xml(profile=profile("<PVI>0.5 10</PVI><PVI>99.5 11.98</PVI>")))
    assert codes(found)["profile-drawn-on"] == 1
    assert (found.ducts[0].start[2], found.ducts[0].end[2]) == pytest.approx((9.99, 11.99))


def test_station_equations_are_said(raw, xml, codes):
    assert codes(raw(xml(inside='<StaEquation staBack="50" staAhead="80"/>')))["station-equations"] == 1


# -- what does not fit -----------------------------------------------------------------------------------------------


def test_kinks_gaps_and_lengths_that_differ(raw, survey, xml, codes, said):
    kink = LINE + "<Line><Start>0 100</Start><End>50 150</End></Line>"
    assert codes(raw(xml(kink)))["element-kink"] == 1
    with pytest.raises(InputRefusedError, match="sharp"):
        survey(xml(kink))
    assert survey(xml(kink), sweep=5.0).ducts[0].chain.turn.sum() == pytest.approx(math.pi / 4)
    gap = LINE + "<Line><Start>0 103</Start><End>0 150</End></Line>"
    found = raw(xml(gap))
    assert [f.severity for f in found.findings if f.code == "element-gap"] == ["error"]
    assert codes(raw(xml(LINE.replace("<Line>", '<Line length="120">'))))["element-differs"] == 1
    assert said(survey(xml(attributes='length="130"')), "length-differs")
    curve = '<Curve rot="cw" radius="{}"><Start>0 0</Start><Center>-50 0</Center><End>-50 50</End></Curve>'
    assert "element-differs" not in codes(raw(xml(curve.format(50))))
    assert codes(raw(xml(curve.format(60))))["element-differs"] == 1


@pytest.mark.parametrize(
    ("geometry", "word"),
    [
        ("<Line><Start>0 0</Start></Line>", "End"),
        ("<Line><Start>0 zero</Start><End>0 9</End></Line>", "northing"),
        ("<Line><Start>0 1e999</Start><End>0 9</End></Line>", "no place"),
        ('<Curve rot="up"><Start>0 0</Start><Center>5 0</Center><End>5 5</End></Curve>', "rot"),
        ('<Curve rot="cw"><Start>0 0</Start><Center>0 0</Center><End>5 5</End></Curve>', "no radius"),
        ("<Chain>1 2 3</Chain>", "Chain"),
        ('<Spiral spiType="clothoid" rot="cw" length="x" radiusStart="INF" radiusEnd="9"><Start>0 0</Start>'
         "<PI>0 4</PI><End>1 9</End></Spiral>", "length"),
    ],
)  # fmt: skip
def test_elements_that_cannot_be_read_are_refused_by_number(raw, xml, geometry, word):
    refused = refusal(raw, xml(geometry))
    assert word in str(refused)
    assert "1" in refused.where.id


def test_no_alignment_with_a_course(raw, xml):
    assert refusal(raw, xml(), ducts="no such").code == "missing-layer"
    path = xml()
    path.write_text("<LandXML><Surfaces><Surface/></Surfaces></LandXML>", encoding="utf-8")
    assert refusal(raw, path).code == "nothing-to-read"


# -- the rest of the file --------------------------------------------------------------------------------------------


def test_structures_are_vaults(survey, xml, codes, said):
    network = (
        '<PipeNetworks><PipeNetwork name="vaults"><Structs><Struct name="MH-1" elevRim="15"><Center>0 0</Center>'
        '<Invert elev="10"/></Struct><Struct name="MH-2"><Center>0 60</Center></Struct><Struct name="MH-3">'
        '<Center>1.5 100</Center><CircStruct diameter="4"/></Struct></Structs></PipeNetwork></PipeNetworks>'
    )
    found = survey(xml(more=network, profile=profile(PVIS)))
    assert [(d.start_vault, d.end_vault) for d in found.ducts] == [("MH-1", "MH-2"), ("MH-2", "MH-3")]
    # each part on its part of the profile
    assert [(d.start[2], d.end[2]) for d in found.ducts] == [
        pytest.approx((10, 11.2)),
        pytest.approx((11.2, 12)),
    ]
    assert (found.vaults[0].rim, found.vaults[0].invert) == (15, 10)
    assert "end-as-vault" not in codes(found)
    assert said(found, "elevation-sources") == ["elevations: 2 ducts from the profiles of their alignments"]
    off = survey(xml(more=network.replace('elev="10"', 'elev="9.5"'), profile=profile(PVIS)))
    (text,) = said(off, "line-against-invert")
    assert "at 10.00 m (32.81 ft) where it meets vault MH-1, whose invert is 9.50 m (31.17 ft)" in text


def test_ends_at_no_structure_are_vaults_of_their_own(survey, xml, codes):
    found = survey(xml())
    assert [v.tag for v in found.vaults] == ["V@Duct 1 start", "V@Duct 1 end"]
    assert codes(found)["end-as-vault"] == 1


def test_namespaces_of_national_variants_and_prefixes(survey, xml):
    path = xml()
    plain = path.read_text(encoding="utf-8")
    for other in (
        plain.replace("http://www.landxml.org/schema/LandXML-1.2", "http://www.inframodel.fi/inframodel"),
        plain.replace(' xmlns="http://www.landxml.org/schema/LandXML-1.2"', ""),
        re.sub(r"<(/?)(\w)", r"<\1lx:\2", plain).replace(" xmlns=", " xmlns:lx="),
    ):
        path.write_text(other, encoding="utf-8")
        assert survey(path).ducts[0].chain.total_length == pytest.approx(100)


def test_coordinate_systems(raw, xml, codes):
    assert codes(raw(xml()))["no-crs"] == 1
    near = "<Line><Start>6782560 21530239</Start><End>6782660 21530239</End></Line>"
    system = '<CoordinateSystem epsgCode="{}"/>'
    found = raw(xml(near, more=system.format(3875)))
    assert found.ground.crs == "EPSG:3875"
    swapped = "<Line><Start>530239 6782560</Start><End>530339 6782560</End></Line>"
    assert codes(raw(xml(swapped, more=system.format(3875))))["outside-area-of-use"] == 1
    assert codes(raw(xml(near, more=system.format(999999))))["unknown-crs"] == 1
    feet = METRIC.replace("meter", "foot")
    refused = refusal(raw, xml(near, more=system.format(3875), units=feet))
    assert refused.code == "crs-unit-differs"
    assert "in ft (linearUnit) and that it is in EPSG:3875" in refused.message
    # a person who says which of the two holds is believed
    stated = raw(xml(near, more=system.format(3875), units=feet), units="ft")
    assert (stated.ground.unit, stated.ground.crs) == ("ft", None)
    assert codes(stated)["crs-unit-differs"] == 1
    stated = raw(xml(near, more=system.format(3875), units=feet), units="m")
    assert (stated.ground.unit, stated.ground.crs) == ("m", "EPSG:3875")
    assert codes(stated)["units-overridden"] == 1
    turned = '<CoordinateSystem rotationAngle="3"/>'
    assert codes(raw(xml(more=turned)))["rotation-not-applied"] == 1


def test_everything_in_the_file_is_counted(raw, xml):
    more = '<CgPoints><CgPoint name="1">0 0</CgPoint></CgPoints><Surfaces><Surface name="s"/></Surfaces>'
    found = raw(xml(more=more, profile=profile(PVIS)))
    assert found.counts == {"read Line": 1, "read ProfAlign": 1, "skipped CgPoint": 1, "skipped Surface": 1}


def test_document_types_are_refused(raw, xml):
    path = xml()
    text = path.read_text(encoding="utf-8")
    bomb = '<!DOCTYPE LandXML [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;"><!ENTITY x SYSTEM "file:///etc/passwd">]>'
    path.write_text(text.replace("?>", f"?>{bomb}", 1), encoding="utf-8")
    assert refusal(raw, path).code == "damaged-xml"


def test_nesting_is_capped(raw, xml):
    deep = "<Feature>" * 200 + "</Feature>" * 200
    assert refusal(raw, xml(more=deep)).code == "damaged-xml"


def test_every_cut_is_refused(raw, xml):
    path = xml(profile=profile(PVIS))
    whole = path.read_bytes().rstrip()
    for size in range(1, len(whole), 7):
        path.write_bytes(whole[:size])
        with pytest.raises(InputRefusedError):
            raw(path)
