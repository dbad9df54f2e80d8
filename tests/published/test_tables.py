"""The built-in tables against the documents they come from."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from mechanics.tables import built_in, friction_default, inside_diameter
from mechanics.units import quantity

INCH = 0.0254

# NEC (NFPA 70) Chapter 9 Table 4, from memory: inside diameters in inches
NEC_TABLE_4 = {
    "PVC 40": {"2": 2.047, "2 1/2": 2.445, "3": 3.042, "3 1/2": 3.521, "4": 3.998, "5": 5.016, "6": 6.031},
    "HDPE 40": {"2": 2.047, "2 1/2": 2.445, "3": 3.042, "3 1/2": 3.521, "4": 3.998, "5": 5.016, "6": 6.031},
    "PVC 80": {"2": 1.913, "2 1/2": 2.290, "3": 2.864, "3 1/2": 3.326, "4": 3.786, "5": 4.768, "6": 5.709},
    "PVC EB": {"2": 2.221, "3": 3.330, "3 1/2": 3.804, "4": 4.289, "5": 5.316, "6": 6.336},
    "rigid steel": {
        "2": 2.083,
        "2 1/2": 2.489,
        "3": 3.090,
        "3 1/2": 3.570,
        "4": 4.050,
        "5": 5.073,
        "6": 6.093,
    },
}


@pytest.mark.parametrize(
    ("kind", "size", "inches"), [(k, s, v) for k, sizes in NEC_TABLE_4.items() for s, v in sizes.items()]
)
def test_conduits(kind: str, size: str, inches: float) -> None:
    assert inside_diameter(size, kind) / INCH == pytest.approx(inches, abs=1e-9)


# Outside diameters of iron pipe size, ASTM F2160 and D3035, from memory
IPS = {
    "1": 1.315,
    "1 1/4": 1.660,
    "1 1/2": 1.900,
    "2": 2.375,
    "2 1/2": 2.875,
    "3": 3.5,
    "4": 4.5,
    "5": 5.563,
    "6": 6.625,
    "8": 8.625,
}


@pytest.mark.parametrize("sdr", [9.0, 11.0, 13.5, 15.5, 17.0])
@pytest.mark.parametrize("size", list(IPS))
def test_polyethylene_by_dimension_ratio(sdr: float, size: str) -> None:
    # least wall = outside diameter / SDR; mean wall 1.06 times that (polyethylene pipe handbooks, from memory)
    assert inside_diameter(size, f"HDPE SDR {sdr:g}") / INCH == pytest.approx(
        IPS[size] * (1 - 2 * 1.06 / sdr), abs=5.1e-4
    )


@pytest.mark.parametrize("kind", ["HDPE SDR 11 metric", "HDPE SDR 13.6 metric", "HDPE SDR 17 metric"])
def test_metric_polyethylene_keeps_its_dimension_ratio(kind: str) -> None:
    # ISO 4427: the tabulated wall is the outside diameter over the ratio, rounded up to 0.1 mm (and at least 3 mm)
    ratio = float(kind.split()[2])
    for row in built_in().rows("ducts"):
        if row.key[0] == kind:
            outside = float(row.key[1])
            wall = (outside - 1000 * row.number("inside_diameter")) / 2 / 1.06
            assert outside / ratio - 0.1 < wall < outside / ratio + 0.2


def test_thicker_walls_leave_less() -> None:
    for size in ("2", "3", "4", "5", "6"):
        inside = [inside_diameter(size, f"HDPE SDR {sdr}") for sdr in ("9", "11", "13.5", "15.5", "17")]
        assert inside == sorted(inside)
        assert (
            inside_diameter(size, "PVC 80")
            < inside_diameter(size, "PVC 40")
            < inside_diameter(size, "PVC EB")
        )
        assert inside_diameter(size, "PVC DB 120") < inside_diameter(size, "PVC DB 60")
        assert inside_diameter(size, "PVC DB") == inside_diameter(size, "PVC DB 120")


def test_factory_elbows() -> None:
    # NEC Chapter 9 Table 2, one-shot benders, from memory
    for size, inches in {"2": 9.5, "2 1/2": 10.5, "3": 13, "3 1/2": 15, "4": 16, "5": 24, "6": 30}.items():
        radius = built_in().find("elbows", size, "factory elbow").number("radius")
        assert radius / INCH == pytest.approx(inches)


@pytest.mark.parametrize(
    ("size", "mm2", "digit"),
    [("500 kcmil", 253.35, 0.005), ("1000 kcmil", 506.7075, 5e-5), ("4/0 AWG", 107.2, 0.05)],
)
def test_conductors(size: str, mm2: float, digit: float) -> None:
    # 1 kcmil = 0.5067075 mm2, pi/4 x (25.4 mm)^2 / 1000; 4/0 AWG = 107.2 mm2 (ASTM B258); half the last digit printed
    assert 1e6 * built_in().find("conductors", size).number("area") == pytest.approx(mm2, abs=digit)


def test_a_thousand_circular_mils() -> None:
    assert 1e6 * quantity("1 kcmil", "area") == pytest.approx(math.pi / 4 * 25.4**2 / 1000, rel=1e-14)
    assert 1e6 * quantity("1 kcmil", "area") == pytest.approx(0.5067075, abs=5e-8)


def test_fill() -> None:
    # NEC Chapter 9 Table 1, from memory
    assert [built_in().find("fill", n).number("fill") for n in "123"] == [0.53, 0.31, 0.40]


@pytest.mark.parametrize(
    ("jacket", "lubricated", "dry"),
    [("polyethylene", (0.15, 0.25), (0.3, 0.4)), ("PVC", (0.25, 0.35), (0.5, 0.6))],
)
@pytest.mark.parametrize("kind", ["PVC 40", "HDPE SDR 11"])
def test_friction_defaults_lie_in_the_published_ranges(
    jacket: str, kind: str, lubricated: tuple[float, float], dry: tuple[float, float]
) -> None:
    # TES-P-104.05 (2007), Table 05-03
    wet, worn, _ = friction_default(jacket, kind)
    assert lubricated[0] <= wet <= lubricated[1]
    assert dry[0] <= worn <= dry[1]


def test_every_row_names_a_listed_source() -> None:
    listed = (Path(__file__).parents[2] / "docs/sources.md").read_text("utf-8")
    keys = set(re.findall(r"^\d+\. \[([a-z0-9.-]+)\]", listed, re.MULTILINE))
    for table in ("ducts", "conductors", "cables", "friction", "conductor_stress", "sidewall", "bending",
                  "temperature", "elbows", "bags", "lubricant", "fill", "limits"):  # fmt: skip
        for row in built_in().rows(table):
            assert set(re.findall(r"\[([a-z0-9.-]+)\]", row.source)) <= keys, row.place
            honest = r"\[|common practice|judgement|from memory|handbook|as 600 V|as armoured|as shielded|typical|definition"
            assert re.search(honest, row.source), row.place


def test_typical_cables_say_that_they_are() -> None:
    for row in built_in().rows("cables"):
        assert row.source.startswith("typical, made up")
        assert row.number("conductor_area") < math.pi / 4 * row.number("diameter") ** 2
        # lighter than a solid bar of its conductor's metal as wide as the cable
        density = 8930 if row.text("material") == "copper" else 2700
        assert row.number("weight") < 9.81 * density * math.pi / 4 * row.number("diameter") ** 2
        assert row.number("weight") > 9.81 * density * row.number("conductor_area")
