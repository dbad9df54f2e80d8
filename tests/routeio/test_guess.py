"""Guesses of fields by their names."""

from routeio.guess import fields_like, unit_in_name


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
