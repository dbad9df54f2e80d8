"""Limits of cables against the values that standards and handbooks print."""

from __future__ import annotations

import math

import pytest

from mechanics.cable import Bundle, Cable, Material
from mechanics.limits import attachment_limits, bending_limit, conductor_limit, sidewall_limit
from mechanics.lubricant import base_quantity, grade_for
from mechanics.units import factor, quantity

LBF = 4.4482216152605
LBF_FT = LBF / 0.3048


def cable(
    area: str = "500 kcmil",
    material: Material = "copper",
    temper: str = "annealed",
    construction: str = "shielded",
    diameter: float = 0.04,
    conductors: int = 1,
) -> Cable:
    return Cable(
        diameter=diameter,
        weight=25.0,
        material=material,
        conductor_area=quantity(area, "area"),
        conductors=conductors,
        temper=temper,
        construction=construction,
    )


@pytest.mark.parametrize(
    ("area", "material", "temper", "lbf"),
    [
        # 0.008 lbf per circular mil: study sponsored by the insulated-cable engineers, as printed in handbook tables
        ("500 kcmil", "copper", "annealed", 4000.0),
        ("750 kcmil", "copper", "annealed", 6000.0),
        ("1000 kcmil", "copper", "annealed", 8000.0),
        # AEIC CG5, from memory: 0.006 of aluminium, 0.008 of hard-drawn
        ("500 kcmil", "aluminium", "annealed", 3000.0),
        ("750 kcmil", "aluminium", "annealed", 4500.0),
        ("750 kcmil", "aluminium", "hard-drawn", 6000.0),
    ],
)
def test_one_conductor_in_pounds(area: str, material: Material, temper: str, lbf: float) -> None:
    found = conductor_limit(Bundle((cable(area, material, temper),)))
    assert found.limit / LBF == pytest.approx(lbf, rel=1e-12)


def test_wire_gauges_in_pounds() -> None:
    # 4/0 = 211 600 circular mils (ASTM B258) x 0.008 = 1692.8 lbf, printed 1693 in handbook tables
    assert round(conductor_limit(Bundle((cable("4/0 AWG"),))).limit / LBF) == 1693


@pytest.mark.parametrize(
    ("material", "newton_per_mm2"), [("copper", 50.0), ("aluminium", 30.0)]
)  # IEC-area practice, from memory
def test_metric_practice(material: Material, newton_per_mm2: float) -> None:
    found = conductor_limit(Bundle((cable("300 mm2", material),)), "metric")
    assert found.limit == pytest.approx(300 * newton_per_mm2, rel=1e-12)


@pytest.mark.parametrize(
    ("cables", "conductors", "share"),
    [(1, 1, 1.0), (2, 1, 2.0), (3, 1, 3.0), (4, 1, 3.2), (6, 1, 4.8), (1, 3, 3.0), (2, 3, 4.8)],
)
def test_conductors_share_the_load(cables: int, conductors: int, share: float) -> None:
    # common practice: all of up to three, beyond three four fifths of the sum
    found = conductor_limit(Bundle((cable(conductors=conductors),) * cables))
    assert found.limit / LBF == pytest.approx(4000.0 * share)


def test_eye_and_grip() -> None:
    # grip 1000 lbf: as printed in handbook tables; eye 10 000 lbf: from memory
    (eye,) = attachment_limits(Bundle((cable(),)), "eye")
    (grip,) = attachment_limits(Bundle((cable(),) * 3), "grip")
    assert eye.limit / LBF == pytest.approx(10_000)
    assert grip.limit / LBF == pytest.approx(1000)


def test_lead_sheath_under_a_grip() -> None:
    # TES-P-104.05 (2007), 4.2.2: 10.342 N per mm2 of lead (1500 lbf per square inch)
    lead = Cable(
        diameter=0.08, weight=150.0, conductor_area=5e-4, construction="lead-covered", sheath_area=600e-6
    )
    caps = {c.name: c.limit for c in attachment_limits(Bundle((lead,)), "grip")}
    assert caps["sheath_tension"] == pytest.approx(600 * 10.342)
    assert quantity("1500 psi", "stress") / 1e6 == pytest.approx(10.342, abs=5e-4)


@pytest.mark.parametrize(
    ("construction", "lbf_ft"),
    [
        ("shielded", 500),
        ("600 V", 500),
        ("lead-covered", 400),
        ("armoured", 300),
    ],  # handbooks' older defaults
)
def test_sidewall_pressure(construction: str, lbf_ft: float) -> None:
    found = sidewall_limit(Bundle((cable(construction=construction),)))
    assert found.limit / LBF_FT == pytest.approx(lbf_ft)


@pytest.mark.parametrize(
    ("construction", "times"), [("unshielded", 8), ("600 V", 8), ("shielded", 12), ("lead-covered", 12)]
)
def test_bending_radius(construction: str, times: float) -> None:
    # NEC 300.34, from memory
    assert bending_limit(Bundle((cable(construction=construction),))).limit == pytest.approx(times * 0.04)


@pytest.mark.parametrize(("diameter", "metres"), [(0.04, 7 * 0.04 * (1 + 2 / math.sqrt(3)))])
def test_bending_radius_of_an_assembly(diameter: float, metres: float) -> None:
    # NEC 300.34, from memory: 12 x one cable or 7 x overall, the greater; three round cables span 2.1547 d overall
    three = (cable(diameter=diameter, construction="600 V"),) * 3
    assert bending_limit(Bundle(three, triplexed=True)).limit == pytest.approx(max(metres, 12 * diameter))
    assert bending_limit(Bundle(three)).limit == pytest.approx(8 * diameter)


def test_lubricant_in_gallons_and_litres() -> None:
    # common practice: 0.0015 US gallons by feet and inches; 7.33 L for 100 m of 100 mm duct
    gallons = 0.0015 * 1000 * 4
    litres = base_quantity(1000 * 0.3048, 4 * 0.0254)
    assert litres / factor("gal", "volume") == pytest.approx(gallons, rel=1e-6)
    assert base_quantity(100.0, 0.1) == pytest.approx(7.33, abs=5e-3)


@pytest.mark.parametrize(
    ("fahrenheit", "grade"), [(60, "regular"), (20.5, "regular"), (19.5, "winter"), (-19.5, "winter")]
)
def test_lubricant_grades(fahrenheit: float, grade: str) -> None:
    # common practice: regular down to 20 degF, winter down to -20 degF
    assert grade_for((fahrenheit - 32) / 1.8)[0] == grade
