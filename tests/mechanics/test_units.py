"""Numbers with units: what is read, what is refused, and that the factors are the legal ones."""

from __future__ import annotations

import contextlib
import math
import time
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mechanics.errors import DomainError
from mechanics.units import (
    _document,
    _registry,
    accepted,
    factor,
    gauge_area,
    kinds,
    quantity,
    show,
    shown_unit,
    shown_value,
)

# NIST SP 811 (2008), appendix B: exact factors.
FOOT = 0.3048
SURVEY_FOOT = 1200 / 3937
POUND_FORCE = 4.4482216152605


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("500 ft", "length", 500 * FOOT),
        ("500'", "length", 500 * FOOT),
        ("500 ft 6 in", "length", 500.5 * FOOT),
        ("5'-6\"", "length", 5.5 * FOOT),
        ("5' 6 1/2\"", "length", 66.5 * 0.0254),
        ("5′6″", "length", 5.5 * FOOT),
        ("-5'-6\"", "length", -5.5 * FOOT),
        ("500 us_survey_foot", "length", 500 * SURVEY_FOOT),
        ("500 US Survey Feet", "length", 500 * SURVEY_FOOT),
        ("2 1/2 in", "diameter", 2.5 * 0.0254),
        ("2-1/2 in.", "diameter", 2.5 * 0.0254),
        ("1e2 m", "length", 100.0),
        ("1.8 lbf/ft", "weight", 1.8 * POUND_FORCE / FOOT),
        ("1.8 lb/ft", "weight", 1.8 * POUND_FORCE / FOOT),
        ("1.8 LBS / FT", "weight", 1.8 * POUND_FORCE / FOOT),
        ("1800 lb/1000 ft", "weight", 1.8 * POUND_FORCE / FOOT),
        ("1800 lb/kft", "weight", 1.8 * POUND_FORCE / FOOT),
        ("5 kg/m", "weight", 5 * 9.80665),
        ("5000 kg/km", "weight", 5 * 9.80665),
        ("500 lbf/ft", "sidewall", 500 * POUND_FORCE / FOOT),
        ("9000 lbf", "force", 9000 * POUND_FORCE),
        ("9 kN", "force", 9000.0),
        ("750 kcmil", "area", 750 * math.pi / 4 * 0.0254**2 / 1000),
        ("750 MCM", "area", 750 * math.pi / 4 * 0.0254**2 / 1000),
        ("500 mm2", "area", 5e-4),
        ("500 mm²", "area", 5e-4),
        ("500mm^2", "area", 5e-4),
        ("500 mm**2", "area", 5e-4),
        ("50 N/mm²", "stress", 50e6),
        ("0.008 lbf/cmil", "stress", 0.008 * POUND_FORCE / (math.pi / 4 * 0.0000254**2)),
        ("1500 psi", "stress", 1500 * POUND_FORCE / 0.0254**2),
        ("20 degF", "temperature", -20 / 3),
        ("-40 °F", "temperature", -40.0),
        ("−5 °C", "temperature", -5.0),
        ("300 K", "temperature", 26.85),
        ("45°", "angle", math.pi / 4),
        ("12°30'", "angle", math.radians(12.5)),
        ("12°30'36\"", "angle", math.radians(12.51)),
        ("100 gon", "angle", math.pi / 2),
        ("22½°", "angle", math.radians(22.5)),
        ("12'-6½\"", "length", 12.5 * FOOT + 0.5 * FOOT / 12),
        ("¾ in", "length", 0.75 * FOOT / 12),
        ("40 %", "ratio", 0.4),
        ("1 gal", "volume", 3.785411784),
        ("30 ft/min", "speed", 30 * FOOT / 60),
    ],
)
def test_reads(text: str, kind: str, value: float) -> None:
    assert quantity(text, kind) == pytest.approx(value, rel=1e-14, abs=1e-12)


def test_the_two_feet_are_exact_and_differ() -> None:
    assert quantity("500 ft", "length") == 152.4
    assert quantity("3937 us_survey_foot", "length") == 1200.0
    assert factor("us_survey_foot", "length") == float(Fraction(1200, 3937))
    # NIST SP 811, B.6: they part by 2 millionths, 4 ft at two million feet
    apart = quantity("2000000 us_survey_foot", "length") - quantity("2000000 ft", "length")
    assert apart / FOOT == pytest.approx(4.0, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "circular_mils"),
    [("4/0 AWG", 211_600), ("AWG 0000", 211_600), ("1/0 AWG", 105_600), ("2 AWG", 66_360), ("8 awg", 16_510)],
)
def test_gauge_areas_of_the_standard(text: str, circular_mils: float) -> None:
    # ASTM B258: diameters are rounded to a tenth of a mil, and their squares printed to four figures
    mils = round(math.sqrt(quantity(text, "area") / factor("cmil", "area")), 1)
    assert float(f"{mils**2:.4g}") == circular_mils


@pytest.mark.parametrize("gauge", [-4, 41])
def test_gauge_outside_the_standard(gauge: int) -> None:
    with pytest.raises(DomainError, match="gauge must be"):
        gauge_area(gauge)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("500", "length"),
        (500, "length"),
        (500.0, "length"),
        (True, "length"),
        (None, "length"),
        ("", "length"),
        ("ft", "length"),
        ("9**9**9 ft", "length"),
        ("9^9 ft", "length"),
        ("2*3 ft", "length"),
        ("1,000 ft", "length"),
        ("1 000 ft", "length"),
        ("nan ft", "length"),
        ("inf ft", "length"),
        ("1e999 ft", "length"),
        ("1/0 ft", "length"),
        ("5 ft 13 in", "length"),
        ("5.5 ft 6 in", "length"),
        ("5 ft 6", "length"),
        ("5 ft ft", "length"),
        ("5 lbf", "length"),
        ("5 m2", "length"),
        ("٣ ft", "length"),
        ("9" * 100 + " ft", "length"),
        ("5 ft # note", "length"),
        ("5 lbf", "weight"),
        ("5 lbf/ft/ft", "weight"),
        ("5 lbf/10 ft", "weight"),
        ("5 kg/m", "sidewall"),
        ("5 kg", "force"),
        ("5 mN", "force"),
        ("5/0 AWG", "area"),
        ("41 AWG", "area"),
        ("00000 AWG", "area"),
        ("12°75'", "angle"),
        ("0.4", "ratio"),
    ],
)
def test_refuses_and_says_what_would_do(text: object, kind: str) -> None:
    start = time.perf_counter()
    with pytest.raises(
        DomainError, match=r"^plan\.key must be a number with a unit.*units accepted: "
    ) as caught:
        quantity(text, kind, "plan.key")
    assert time.perf_counter() - start < 1.0
    assert len(str(caught.value)) < 400


@given(st.text(max_size=30), st.sampled_from(kinds()))
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    with contextlib.suppress(DomainError):
        assert math.isfinite(quantity(text, kind))


@pytest.mark.parametrize("kind", kinds())
@pytest.mark.parametrize("system", ["us", "si"])
def test_what_is_shown_can_be_read_back(kind: str, system: str) -> None:
    value = shown_value(0.123, kind, system)  # type: ignore[arg-type]
    assert quantity(f"{value!r} {shown_unit(kind, system)}", kind) == pytest.approx(0.123, rel=1e-12)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", kinds())
def test_the_example_in_an_error_is_accepted(kind: str) -> None:
    with pytest.raises(DomainError) as caught:
        quantity("?", kind)
    quantity(str(caught.value).split("'")[1], kind)
    for unit in accepted(kind):
        assert math.isfinite(quantity(f"2 {unit}", kind))


@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (152.4, "length", "us", "500.0 ft"),
        (40034.0, "force", "us", "9,000 lbf"),
        (40034.0, "force", "si", "40.03 kN"),
        (-0.001, "force", "us", "0 lbf"),
        (0.4, "ratio", "us", "40.0%"),
        (-40.0, "temperature", "us", "-40 degF"),
        (8, "temperature", "si", "8 degC"),
    ],
)
def test_show(value: float, kind: str, system: str, text: str) -> None:
    assert show(value, kind, system) == text  # type: ignore[arg-type]


def test_show_refuses() -> None:
    with pytest.raises(DomainError, match="finite"):
        show(math.nan, "length", "us")
    with pytest.raises(DomainError, match="system must be"):
        show(1.0, "length", "imperial")  # type: ignore[arg-type]
    with pytest.raises(DomainError, match="kind must be"):
        show(1.0, "girth", "us")
    with pytest.raises(DomainError, match="unit must be"):
        factor("lbf", "length")
    with pytest.raises(DomainError, match="unit must be"):
        factor("degF", "temperature")


def test_units_are_those_of_the_registrys_own_definitions() -> None:
    """The short list that is read in a job's time, against all that come with pint."""
    known = pint.UnitRegistry(non_int_type=Fraction)
    names = {unit for units in _document()["spellings"].values() for unit in units}
    assert len(names) > 30
    for name in sorted(names - {"%"}):
        if name.startswith("degree_"):
            ours, theirs = (r.Quantity(Fraction(50), name).to("kelvin") for r in (_registry(), known))
        else:
            ours, theirs = (r.parse_expression(name).to_base_units() for r in (_registry(), known))
            assert dict(ours.dimensionality) == dict(theirs.dimensionality), name
        # One counts masses in grams, the other in kilograms.
        mass = 1000 if "[mass]" in ours.dimensionality else 1
        assert Fraction(ours.magnitude) == mass * Fraction(theirs.magnitude), name
