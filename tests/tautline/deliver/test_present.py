import pint
import pytest

from tautline.deliver import present
from tautline.deliver.present import Units, isolated, percent, plain

REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        ("length", "foot"),
        ("size", "inch"),
        ("force", "pound_force"),
        ("pressure", "pound_force / foot"),
        ("weight", "pound_force / foot"),
        ("volume", "gallon"),
        ("area", "circular_mil * 1000"),
        ("speed", "foot / minute"),
        ("angle", "degree"),
    ],
)
def test_us_units_are_those_of_a_units_library(kind, unit):
    base = {"volume": "litre", "area": "m^2", "speed": "m/s", "angle": "radian", "force": "N"}
    si = base.get(kind, "N/m" if kind in ("pressure", "weight") else "m")
    assert Units("us").unit(kind).scale == pytest.approx(REGISTRY.Quantity(unit).to(si).magnitude, rel=1e-12)


def test_the_same_figure_in_both_systems():
    us, si = Units("us"), Units("si")
    # 500 lbf/ft is 7296.95 N/m (NIST SP 811: 1 lbf = 4.4482216152605 N, 1 ft = 0.3048 m)
    assert us.text("pressure", 7296.951) == "500 lbf/ft"
    assert si.text("pressure", 7296.951) == "7.30 kN/m"
    assert us.text("length", 304.8) == "1,000 ft"
    assert si.text("length", 304.8) == "304.8 m"
    assert us.figure("force", -0.2) == "0"


@pytest.mark.parametrize("over", [1e-3, 1e-4, 1e-5])
def test_a_value_over_its_limit_never_looks_like_it(over):
    check = {"value": 22241.1 * (1 + over), "limit": 22241.1, "unit": "N"}
    for system in ("us", "si"):
        value, limit = Units(system).check(check)
        assert value != limit
    assert percent(1 + over) != "100 %"
    assert percent(1 - over) != "100 %"
    assert percent(1.0) == "100 %"


def test_checks_are_shown_in_fitting_units():
    us, si = Units("us"), Units("si")
    radius = {"value": 0.9144, "limit": 0.4932, "unit": "m"}
    assert us.check(radius) == ("36.00 in", "19.42 in")
    assert si.check(radius) == ("914 mm", "493 mm")
    assert us.check({"value": 600.0, "limit": 762.0, "unit": "m"}) == ("1,969 ft", "2,500 ft")
    assert us.check({"value": -10.0, "limit": None, "unit": "degC"}) == ("14 °F", "-")
    assert us.check({"value": 3.14159265, "limit": 6.2831853, "unit": "rad"}) == ("180°", "360°")
    assert us.check({"value": 3.2627, "limit": 2.8, "unit": "1"}) == ("3.263", "2.800")
    band = {"value": 3.2627, "limit": 2.8, "limit_high": 3.2, "unit": "1"}
    assert us.check(band) == ("3.263", "2.800 to 3.200")


def test_settings_of_every_type():
    si = Units("si")
    value = {"name": "x", "source": "job"}
    assert si.setting(value | {"value": True, "unit": ""}) == "yes"
    assert si.setting(value | {"value": None, "unit": "m"}) == "not stated"
    assert si.setting(value | {"value": "eye", "unit": ""}) == "eye"
    assert si.setting(value | {"value": 450.0, "unit": "m"}) == "450 m"


@pytest.mark.parametrize("character", ["\x1b", "\x00", "\u202e", "\u2066", "\x9b"])
def test_names_cannot_steer_a_terminal_or_turn_a_line_round(character):
    assert character not in plain(f"MH{character}1")
    assert plain("MH\n1\t2") == "MH 1 2"


def test_wide_and_combining_characters_are_counted_as_shown():
    assert present.columns("MH-1") == 4
    assert present.columns("井戸") == 4
    assert present.columns("e\u0301") == 1


def test_settings_keep_the_digits_they_were_given():
    us = Units("us")
    assert us.setting({"value": 1.75 * 4.4482216152605 / 0.3048, "unit": "N/m"}) == "1.75 lbf/ft"
    assert us.setting({"value": 3, "unit": ""}) == "3"
    assert us.setting({"value": 10.0, "unit": ""}) == "10"
    assert us.setting({"value": 2800 * 0.3048, "unit": "m"}) == "2,800 ft"


def test_names_from_right_to_left_do_not_turn_what_stands_beside_them():
    # Unicode Standard Annex 9, 2.4: between U+2066 and U+2069 text has no effect on what surrounds it
    name = "\u05d1\u05d5\u05e8 3"
    assert isolated(name) == f"\u2066{name}\u2069"
    assert isolated("\u0628\u0626\u0631") == "\u2066\u0628\u0626\u0631\u2069"
    assert isolated("Sch\u00e4chte 3 \u4e95") == "Sch\u00e4chte 3 \u4e95"
    assert plain(isolated(name)) == name
    assert present.columns(isolated(name)) == 5
