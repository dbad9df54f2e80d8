"""Units: exact factors against the definitions, written here from the standards themselves."""

import math
from fractions import Fraction

import ezdxf.units
import numpy as np
import pytest

from routeio.findings import InputRefusedError, Where
from routeio.ground import DXF_UNITS, UNITS, check_in_reach, extents_in_units, unit_named, unit_of_factor


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        # NIST Special Publication 811, appendix B: international foot 0.3048 m exactly, yard 0.9144 m, inch 25.4 mm
        ("ft", Fraction("0.3048")),
        ("yd", Fraction("0.9144")),
        ("in", Fraction("0.0254")),
        ("mi", Fraction("1609.344")),
        # Mendenhall Order (1893): one metre is 39.37 inches
        ("us_survey_inch", 1 / Fraction("39.37")),
        ("us_survey_foot", 12 / Fraction("39.37")),
        ("us_survey_yard", 36 / Fraction("39.37")),
        ("us_survey_mile", 63360 / Fraction("39.37")),
        ("mm", Fraction(1, 1000)),
    ],
)
def test_factors_are_exact(unit, metres):
    assert UNITS[unit] == float(metres)


def test_the_two_feet_are_four_feet_apart_at_two_million():
    """NOAA's usual warning: 2 parts per million, 4 ft in state-plane eastings of two million feet."""
    apart = 2_000_000 * (UNITS["us_survey_foot"] - UNITS["ft"]) / UNITS["ft"]
    assert apart == pytest.approx(4.0, abs=0.001)


def test_drawing_unit_codes_agree_with_the_reference_library():
    """ezdxf's own table of $INSUNITS, where it converts, to the digits it has (it raises on the survey units)."""
    for code, name in DXF_UNITS.items():
        if code < 21:
            assert UNITS[name] == pytest.approx(ezdxf.units.conversion_factor(code, 6), rel=1e-8)
    assert {DXF_UNITS[c] for c in (21, 22, 23, 24)} == {n for n in UNITS if n.startswith("us_survey")}


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("ft", "ft"),
        ("Feet", "ft"),
        ("US survey foot", "us_survey_foot"),
        ("US-ft", "us_survey_foot"),
        ("metre", "m"),
    ],
)
def test_spellings(written, unit):
    assert unit_named(written) == unit


def test_unknown_unit_lists_those_there_are():
    with pytest.raises(InputRefusedError, match="us_survey_foot") as refused:
        unit_named("survey_foot")
    assert refused.value.code == "unknown-unit"


def test_unit_of_a_factor_tells_the_feet_apart():
    # EPSG dataset, unit 9003: 0.304800609601219; unit 9002: 0.3048
    assert unit_of_factor(0.304800609601219) == "us_survey_foot"
    assert unit_of_factor(0.3048) == "ft"
    assert unit_of_factor(0.3047972654) is None  # Clarke's foot, EPSG unit 9005


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e20, 3.4e9])
def test_numbers_that_are_no_place_are_refused(bad):
    with pytest.raises(InputRefusedError) as refused:
        check_in_reach(np.array([0.0, bad]), 0.3048, Where(id="2F"))
    assert refused.value.code == "bad-number"
    assert refused.value.where.id == "2F"


def test_extents_in_four_units():
    text = extents_in_units(np.array([1000.0, 0.0]), np.array([2000.0, 100.0]))
    assert "305 x 30.5 m if ft" in text
    assert "25.4 x 2.54 m if in" in text
    assert "1000 x 100 m if m" in text
    assert "1 x 0.1 m if mm" in text
