"""Arrangements of equal cables against published values and values worked by hand."""

from __future__ import annotations

import math

import pytest

from mechanics.arrangement import clearance, fill, jam_ratio, sidewall_factor, weight_correction
from mechanics.errors import DomainError
from mechanics.packing import ENCLOSING

D = 127.4  # mm; the ratios are all that matters


@pytest.mark.parametrize(
    ("arrangement", "ratio", "value"),
    [
        # IEEE Std 1185, from memory
        ("triangular", 3.0, 1.1547),
        ("cradled", 3.0, 1.3333),
        ("diamond", 2.9, 1.5540),
        # statics of two cylinders in a trough
        ("pair", 3.0, 1.1547),
        ("single", 3.0, 1.0),
    ],
)
def test_weight_correction(arrangement: str, ratio: float, value: float) -> None:
    assert round(float(weight_correction(arrangement, ratio, 1.0)), 4) == value


# Worked by hand from the formulas of IEEE Std 1185 (from memory), D = 127.4 mm; six figures printed.
@pytest.mark.parametrize(
    ("d", "jam", "correction", "factor", "gap", "filled"),
    [
        (
            41.0,
            3.26268,
            {"cradled": 1.30025, "triangular": 1.13606},
            {"cradled": 0.633581, "triangular": 0.568030},
            {"triangular": 45.7191, "cradled": 66.9440},
            31.0706,
        ),
        (
            45.0,
            2.97267,
            {"cradled": 1.39766, "triangular": 1.19373, "diamond": 1.59649},
            {"cradled": 0.730991, "triangular": 0.596866, "diamond": 0.596486},
            {"triangular": 36.7425, "cradled": 57.8248, "diamond": 33.2495},
            37.4289,
        ),
        (
            50.0,
            2.67540,
            {"cradled": 1.55641, "triangular": 1.31003, "diamond": 1.83462},
            {"cradled": 0.889746, "triangular": 0.655015, "diamond": 0.834619},
            {"triangular": 24.9401, "cradled": 45.1003, "diamond": 12.8005},
            46.2086,
        ),
    ],
)
def test_worked_table(
    d: float,
    jam: float,
    correction: dict[str, float],
    factor: dict[str, float],
    gap: dict[str, float],
    filled: float,
) -> None:
    assert float(jam_ratio(D, (d, d, d))) == pytest.approx(jam, abs=5e-6)
    for arrangement, value in correction.items():
        assert float(weight_correction(arrangement, D, d)) == pytest.approx(value, abs=5.1e-6)
    for arrangement, value in factor.items():
        assert float(sidewall_factor(arrangement, D, d)) == pytest.approx(value, abs=5.1e-7)
    for arrangement, value in gap.items():
        assert float(clearance(arrangement, D, d)) == pytest.approx(value, abs=5.1e-5)
    assert 100 * float(fill(D, [d] * 3)) == pytest.approx(filled, abs=5.1e-5)


@pytest.mark.parametrize("ratio", [3.0, 127.4 / 41.0, 4.0])
@pytest.mark.parametrize("formula", [weight_correction, sidewall_factor, clearance])
def test_no_diamond_in_a_wide_duct(formula: object, ratio: float) -> None:
    # geometry: from D/d = 3 on the two side cables lie apart and the top one drops on the bottom one
    with pytest.raises(DomainError, match=r"inside_diameter/diameter must be .*below 3"):
        formula("diamond", ratio, 1.0)  # type: ignore[operator]


def test_one_cable_presses_with_all_its_tension() -> None:
    # sidewall pressure of a single cable is T/R in every handbook
    assert float(sidewall_factor("single", 5.0, 1.0)) == 1.0


def test_three_abreast_is_where_three_diameters_fill_the_duct() -> None:
    # common practice: with the allowance of 5 %, three cables just span the bend at 3.15
    assert float(jam_ratio(3.0, (1.0, 1.0, 1.0))) == pytest.approx(3.15)


@pytest.mark.parametrize(
    ("n", "ratio"),
    [
        # smallest circle around n equal circles: known packings (proved optimal up to 13), elementary geometry
        (1, 1.0),
        (2, 2.0),
        (3, 2.154700538),
        (4, 2.414213562),
        (5, 2.701301617),
        (6, 3.0),
    ],
)
def test_smallest_enclosing_circles(n: int, ratio: float) -> None:
    assert ENCLOSING[n - 1] == pytest.approx(ratio, abs=1e-9)
    assert math.isfinite(ENCLOSING[n - 1])
