"""How bundles are taken to lie: the choice, the equivalents, the safe sides and the refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mechanics.arrangement import (
    COUNTS,
    clearance,
    fill,
    jam_ratio,
    sidewall_factor,
    weight_correction,
)
from mechanics.bundle import lie, main_cables, weight_of
from mechanics.cable import Bundle, Cable
from mechanics.errors import DomainError
from mechanics.packing import ENCLOSING

CABLE = Cable(diameter=0.041, weight=25.5, conductor_area=2.5e-4)
GROUND = Cable(diameter=0.012, weight=5.0, conductor_area=5e-5, role="ground")


@pytest.mark.parametrize(
    ("n", "ratio", "arrangement"),
    [
        (1, 1.5, "single"),
        (2, 2.5, "pair"),
        # common practice: three single cables triangular below D/d = 2.5, else cradled
        (3, 2.49, "triangular"),
        (3, 2.51, "cradled"),
        (4, 2.9, "diamond"),
        (4, 3.1, "circle"),
        (5, 3.5, "circle"),
        (6, 4.0, "circle"),
    ],
)
def test_arrangement_by_ratio(n: int, ratio: float, arrangement: str) -> None:
    found = lie(Bundle((CABLE,) * n), ratio * CABLE.diameter)
    assert found.arrangement == arrangement
    assert not found.refusal
    # "no formula" is said just where there is none
    assert any("No formula is published" in note for note in found.notes) == (arrangement == "circle")


def test_an_assembly_lies_triangular_and_does_not_jam() -> None:
    found = lie(Bundle((CABLE,) * 3, triplexed=True), 3.1 * CABLE.diameter)
    assert found.arrangement == "triangular"
    assert found.jam_ratio is None
    assert lie(Bundle((CABLE,) * 3), 3.1 * CABLE.diameter).jam_ratio == pytest.approx(1.05 * 3.1)


def test_given_arrangement_rules() -> None:
    found = lie(Bundle((CABLE,) * 3, "triangular"), 3.1 * CABLE.diameter)
    assert found.weight_correction == pytest.approx(float(weight_correction("triangular", 3.1, 1.0)))


def test_clearance_is_that_of_the_tightest_arrangement() -> None:
    found = lie(Bundle((CABLE,) * 3), 0.1274)
    assert found.arrangement == "cradled"
    assert found.clearance == pytest.approx(float(clearance("triangular", 0.1274, 0.041)))


@pytest.mark.parametrize(("n", "around"), [(2, 2.0), (4, 1 + math.sqrt(2))])
def test_clearance_without_a_published_formula_is_that_of_the_round_bundle(n: int, around: float) -> None:
    # side by side on the floor two of 30 mm leave 17 mm of height in a duct of 60.3 mm, one over the other 0.3 mm
    found = lie(Bundle((CABLE,) * n), around * 0.041 + 3e-4)
    assert found.clearance == pytest.approx(3e-4)
    assert any("Clearance" in note for note in found.notes)


def mixed(*millimetres: float, **stated: float) -> Bundle:
    return Bundle(tuple(Cable(diameter=d / 1000, weight=20.0) for d in millimetres), **stated)  # type: ignore[arg-type]


def test_mixed_sizes_fit_where_they_do_and_the_words_are_true() -> None:
    # 50 and 20 mm side by side need 70 mm and leave room for one of 17.9 mm beside them: 1/(1/25 + 1/10 - 1/35)
    # 70 mm are 2.756 in: a reader of either system is told
    said = lie(mixed(50, 20, 17.9), 0.0699).refusal
    assert (
        "cables of 50.0, 20.0, 17.9 mm (1.969, 0.787, 0.705 in) need a duct of more than 70.0 mm (2.756 in)"
        in said
    )
    assert "does not fit" not in (refusal := lie(mixed(50, 20, 17.9), 0.0701).refusal)
    assert (
        "accepted equivalent, 3 of the largest, 50.0 mm (1.969 in), holds only in a duct of 107.7 mm (4.242 in) and more"
        in refusal
    )
    found = lie(mixed(50, 20, 17.9, weight_correction=1.5, sidewall_factor=0.8), 0.08)
    assert (found.refusal, found.clearance) == ("", pytest.approx(0.01))
    # three of nearly one size leave nearly what three of one size do
    near, equal = lie(mixed(50, 50, 49.99), 0.1274), lie(mixed(50, 50, 50), 0.1274)
    assert near.clearance == pytest.approx(equal.clearance)
    # two of unequal sizes are settled by statics, however tight
    two = lie(mixed(50, 20), 0.075)
    assert (two.refusal, two.clearance) == ("", pytest.approx(0.005))
    # for more than three it is only known that they fit in what was found
    assert "no way was found" in lie(mixed(50, 40, 30, 20), 0.08).refusal


@pytest.mark.parametrize("n", range(1, 7))
def test_what_does_not_fit_is_refused_with_finite_numbers(n: int) -> None:
    found = lie(Bundle((CABLE,) * n), 0.99 * ENCLOSING[n - 1] * CABLE.diameter)
    assert "does not fit" in found.refusal
    assert found.clearance < 0
    assert 1.0 <= found.weight_correction < 5.0
    assert 0.0 < found.sidewall_factor < 5.0


def test_loose_cables_that_could_wedge_are_refused() -> None:
    assert "can wedge" in lie(Bundle((CABLE,) * 5), 2.9 * CABLE.diameter).refusal
    stated = Bundle((CABLE,) * 5, weight_correction=1.8, sidewall_factor=0.9)
    found = lie(stated, 2.9 * CABLE.diameter)
    assert (found.refusal, found.weight_correction, found.sidewall_factor) == ("", 1.8, 0.9)


def test_a_diamond_asked_for_in_a_wide_duct_is_refused() -> None:
    assert "diamond" in lie(Bundle((CABLE,) * 4, "diamond"), 3.2 * CABLE.diameter).refusal


@pytest.mark.parametrize(
    ("arrangement", "n"), [("single", 2), ("pair", 3), ("cradled", 4), ("circle", 3), ("heap", 3)]
)
def test_an_arrangement_for_another_number(arrangement: str, n: int) -> None:
    with pytest.raises(DomainError, match=f"'{arrangement}' is not one for {n} cables"):
        lie(Bundle((CABLE,) * n, arrangement), 0.2)  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [0, 7])
def test_too_few_or_too_many(count: int) -> None:
    with pytest.raises(DomainError, match="one to six power cables"):
        main_cables(Bundle((CABLE,) * count))


def test_a_ground_cable_beside_adds_weight_and_fill_and_takes_clearance() -> None:
    alone, beside = Bundle((CABLE,) * 3), Bundle((*(CABLE,) * 3, GROUND))
    a, b = lie(alone, 0.1274), lie(beside, 0.1274)
    assert a.weight_correction < b.weight_correction < float(weight_correction("circle", 0.1274, 0.041, 4))
    # it lies between the three, in the circle around them: room whichever way they are drawn together
    assert b.clearance == pytest.approx(0.1274 - 0.041 * (1 + 2 / math.sqrt(3)))
    assert b.clearance < a.clearance
    assert b.fill == pytest.approx(a.fill + (0.012 / 0.1274) ** 2)
    assert weight_of(beside) == pytest.approx(weight_of(alone) + 5.0)
    assert any("safe side" in note for note in b.notes)


def test_a_fibre_cable_alone_is_a_bundle() -> None:
    fibre = Cable(diameter=0.012, weight=1.5, role="fibre", construction="fibre")
    assert lie(Bundle((fibre,)), 0.03).arrangement == "single"


def worst_pair(D: float, a: float, b: float, share: float) -> float:
    """All forces on the wall, over the weight, of two cylinders in a trough by moments about its axis."""
    p, q = (D - a) / 2, (D - b) / 2
    between = math.acos((p * p + q * q - ((a + b) / 2) ** 2) / (2 * p * q))
    # the centre of weight hangs below the axis: share p sin(x) = (1 - share) q sin(between - x)
    x = math.atan2((1 - share) * q * math.sin(between), share * p + (1 - share) * q * math.cos(between))
    return (math.sin(x) + math.sin(between - x)) / math.sin(between)


@given(
    st.floats(0.02, 0.08),
    st.floats(0.1, 1.0),
    st.floats(1.02, 4.0),
    st.floats(0.01, 0.99),
)
def test_one_cable_with_another_beside_it_by_statics(
    a: float, smaller: float, wider: float, share: float
) -> None:
    b = a * smaller
    D = wider * (a + b)
    bundle = Bundle((replace(CABLE, diameter=a), replace(GROUND, diameter=b)))
    found = lie(bundle, D)
    assert found.weight_correction >= worst_pair(D, a, b, share) - 1e-9
    p, q = D - a, D - b
    between = math.acos((p * p + q * q - (a + b) ** 2) / (2 * p * q))
    # and so are the forces on each of the two, whatever each carries
    one = math.atan2((1 - share) * q * math.sin(between), share * p + (1 - share) * q * math.cos(between))
    assert found.sidewall_factor >= math.sin(one) / math.sin(between) - 1e-9
    assert found.sidewall_factor >= math.sin(between - one) / math.sin(between) - 1e-9
    # and the bound is reached, not just kept: by the weights that put the two symmetrically
    assert found.weight_correction == pytest.approx(worst_pair(D, a, b, q / (p + q)), rel=1e-6)


def test_mixed_sizes_take_the_accepted_equivalents() -> None:
    small = replace(CABLE, diameter=0.036, conductor_area=1.5e-4)
    found = lie(Bundle((CABLE, CABLE, small)), 0.1274)
    mean = (0.041 * 2 + 0.036) / 3
    assert found.jam_ratio == pytest.approx(1.05 * 0.1274 / mean)
    assert found.weight_correction == pytest.approx(float(weight_correction("cradled", 0.1274, 0.041)))
    # the larger two carry 2.5/6.5 of the tension each instead of a third
    equal = float(sidewall_factor("cradled", 0.1274, 0.041))
    assert found.sidewall_factor == pytest.approx(equal * 3 * 2.5 / 6.5)
    assert any("mixed sizes" in note for note in found.notes)


def test_water_carries() -> None:
    # Archimedes: 1000 kg/m3 x 9.80665 m/s2 x pi/4 x 0.041^2 m2 = 12.947 N/m a cable
    bundle = Bundle((CABLE,) * 3)
    assert weight_of(bundle) - weight_of(bundle, flooded=True) == pytest.approx(3 * 12.947, abs=2e-3)
    light = Bundle((replace(CABLE, weight=10.0),))
    with pytest.raises(DomainError, match="floats"):
        weight_of(light, flooded=True)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 0.0])
def test_values_out_of_range(bad: float) -> None:
    with pytest.raises(DomainError, match="inside_diameter must be"):
        lie(Bundle((CABLE,)), bad)
    with pytest.raises(DomainError, match=r"cable\.diameter must be"):
        lie(Bundle((replace(CABLE, diameter=bad),)), 0.1)
    with pytest.raises(DomainError, match=r"cable\.weight must be"):
        weight_of(Bundle((replace(CABLE, weight=bad),)))
    with pytest.raises(DomainError, match=r"bundle\.sidewall_factor must be"):
        lie(Bundle((CABLE,), sidewall_factor=bad), 0.1)
    for formula in (weight_correction, sidewall_factor, clearance):
        with pytest.raises(DomainError, match="inside_diameter"):
            formula("cradled", bad, 1.0)
        with pytest.raises(DomainError, match="diameter"):
            formula("cradled", 3.0, bad)
    with pytest.raises(DomainError, match="diameters"):
        fill(1.0, [0.1, bad])
    with pytest.raises(DomainError, match="diameters"):
        jam_ratio(1.0, (0.1, 0.1, bad))


def test_wrong_words_and_shapes() -> None:
    with pytest.raises(DomainError, match="arrangement must be one of"):
        weight_correction("heap", 3.0, 1.0)
    with pytest.raises(DomainError, match="cables must be 4 or 5 or 6 for circle"):
        weight_correction("circle", 3.0, 1.0)
    with pytest.raises(DomainError, match="diameters must be three"):
        jam_ratio(3.0, (1.0, 1.0))  # type: ignore[arg-type]
    with pytest.raises(DomainError, match=r"inside_diameter/diameter\[1\]"):
        weight_correction("cradled", [3.0, 2.0], 1.0)


def test_formulas_take_arrays() -> None:
    ratios = np.array([2.5, 2.7, 2.9])
    for arrangement in COUNTS:
        n = 4 if arrangement == "circle" else None
        D = ratios + (1.0 if n else 0.0)
        for formula in (weight_correction, sidewall_factor, clearance):
            together = formula(arrangement, D, 1.0, n)
            assert together.shape == (3,)
            assert together.tolist() == [float(formula(arrangement, x, 1.0, n)) for x in D]
