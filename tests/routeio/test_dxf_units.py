"""Units of a drawing: read, refused, or taken from the user; never guessed."""

import ezdxf
import pytest

from routeio.findings import InputRefusedError
from routeio.peeking import peek


def drawn(units, measurement, length=100.0):
    drawing = ezdxf.new("R2013")
    drawing.header["$INSUNITS"] = units
    drawing.header["$MEASUREMENT"] = measurement
    drawing.modelspace().add_line((0, 0), (length, 0), dxfattribs={"layer": "DUCT"})
    drawing.modelspace().add_line((0, 0), (0, 50), dxfattribs={"layer": "OTHER"})
    return drawing


@pytest.mark.parametrize(
    ("units", "measurement", "metres"),
    # ezdxf's documentation of $INSUNITS: 1 in, 2 ft, 4 mm, 5 cm, 6 m, 7 km, 10 yd, 21 US survey foot
    [
        (1, 0, 2.54),
        (2, 0, 30.48),
        (4, 1, 0.1),
        (6, 1, 100.0),
        (7, 1, 1e5),
        (10, 0, 91.44),
        (21, 0, 100 * 1200 / 3937),
    ],
)
def test_length_in_metres(saved, survey, units, measurement, metres):
    ducts = survey(saved(drawn(units, measurement)), ducts="DUCT").ducts
    assert ducts[0].chain.total_length == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize("units", [0, None])
def test_unitless_is_refused_with_its_extents(saved, raw, units):
    drawing = drawn(0, 0)
    path = saved(drawing)
    if units is None:
        path.write_bytes(path.read_bytes().replace(b"$INSUNITS", b"$XNSUNITS"))
    with pytest.raises(InputRefusedError) as refused:
        raw(path, ducts="DUCT")
    assert refused.value.code == "no-units"
    # 100 units long: 100 x 0.3048, 100 x 0.0254, 100 x 1, 100 x 0.001
    for said in ("30.5 x 0 m if ft", "2.54 x 0 m if in", "100 x 0 m if m", "0.1 x 0 m if mm"):
        assert said in str(refused.value)
    assert "units" in refused.value.remedy


def test_a_file_without_a_header_has_no_units(tmp_path, raw):
    """The library fills in metres where there is no header; we do not."""
    path = tmp_path / "bare.dxf"
    path.write_text(
        "0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nDUCT\n10\n0\n20\n0\n11\n9\n21\n0\n0\nENDSEC\n0\nEOF\n",
        encoding="ascii",
    )
    with pytest.raises(InputRefusedError, match="9 x 0 m if m"):
        raw(path, ducts="DUCT")
    assert raw(path, ducts="DUCT", units="yd").lines[0].points[1, 0] == pytest.approx(9 * 0.9144)


@pytest.mark.parametrize(
    ("units", "measurement", "name"),
    [(2, 1, "ft"), (4, 0, "mm"), (1, 1, "in"), (6, 0, "m"), (21, 1, "us_survey_foot")],
)
def test_the_unit_rules_over_the_system_with_a_warning(saved, raw, codes, units, measurement, name):
    read = raw(saved(drawn(units, measurement)), ducts="DUCT")
    assert read.ground.unit == name
    assert codes(read)["units-doubtful"] == 1


def test_astronomical_units_are_refused(saved, raw):
    with pytest.raises(InputRefusedError) as refused:
        raw(saved(drawn(20, 1)), ducts="DUCT")
    assert refused.value.code == "units-contradict"


def test_what_the_user_states_rules_and_is_on_record(saved, survey, codes):
    read = survey(saved(drawn(2, 0)), ducts="DUCT", units="us_survey_foot")
    assert read.ducts[0].chain.total_length == pytest.approx(100 * 1200 / 3937, rel=1e-12)
    assert codes(read)["units-overridden"] == 1
    assert read.ground.unit == "us_survey_foot"
    assert "units-overridden" not in codes(survey(saved(drawn(2, 0)), ducts="DUCT", units="ft"))


def test_elevations_have_a_unit_of_their_own(saved, survey):
    drawing = drawn(6, 1)
    drawing.modelspace().add_line((0, 9, 100), (50, 9, 110), dxfattribs={"layer": "DUCT"})
    read = survey(saved(drawing), ducts="DUCT", elevation_units="ft")
    assert read.ducts[1].start[2] == pytest.approx(30.48)
    assert read.ducts[1].end[2] == pytest.approx(33.528)


def test_a_crs_in_another_unit_is_refused(saved, raw):
    """EPSG:2263 (New York, Long Island) is in US survey feet by the EPSG dataset; $INSUNITS 2 is the international foot."""
    with pytest.raises(InputRefusedError, match="us_survey_foot") as refused:
        raw(saved(drawn(2, 0)), ducts="DUCT", crs="EPSG:2263")
    assert refused.value.code == "crs-unit-differs"
    ground = raw(saved(drawn(2, 0)), ducts="DUCT", crs="EPSG:2263", units="us_survey_foot").ground
    assert ground.crs == "EPSG:2263"
    for crs, code in (("EPSG:4326", "crs-not-plane"), ("EPSG:999999", "unknown-crs")):
        with pytest.raises(InputRefusedError) as refused:
            raw(saved(drawn(6, 1)), ducts="DUCT", crs=crs)
        assert refused.value.code == code


def test_peek_works_without_units(saved):
    looked = peek(saved(drawn(0, 0)))
    assert looked.units is None
    assert any("does not say" in text and "100 x 50 m if m" in text for text in looked.missing)
    assert looked.guessed("ducts") == ("DUCT",)


def test_a_refusal_tells_its_place_in_the_drawings_own_unit(drawing, saved, survey):
    """At two million feet the survey foot and the international foot lead 4 ft apart."""
    drawing.header["$INSUNITS"] = 21
    drawing.modelspace().add_lwpolyline([(2e6, 7e5), (2e6 + 100, 7e5), (2e6 + 100, 7e5 + 100)])
    with pytest.raises(InputRefusedError, match=r"at 2000100\.00, 700000\.00 us_survey_foot"):
        survey(saved(drawing), ducts="0")
