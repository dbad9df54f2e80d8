"""Inverts: which are elevations, how they are written, and what they do to a duct without elevations."""

import pytest
from shapely.geometry import LineString, Point

from routeio.elevation import without_false_zeros
from routeio.findings import Where
from routeio.marks import settled
from routeio.options import Selection
from routeio.rawlines import RawVault
from routeio.survey import Vault


def vault(tag, invert):
    return Vault(tag, 0.0, 0.0, invert, invert=invert)


def test_an_invert_of_zero_in_reach_is_kept():
    vaults, findings = without_false_zeros([vault("A", 0.0), vault("B", 45.0)], [(0, 1, 150.0)])
    assert vaults[0].invert == 0.0
    assert findings == []


def test_an_invert_of_zero_out_of_reach_is_dropped():
    vaults, findings = without_false_zeros(
        [vault("A", 100.0), vault("B", 0.0), vault("C", 101.0)], [(0, 1, 150.0), (2, 1, 150.0)]
    )
    assert [v.invert for v in vaults] == [100.0, None, 101.0]
    assert "vault B" in findings[0].message


def test_zeros_all_over_are_none():
    vaults, findings = without_false_zeros([vault("A", 0.0), vault("B", 0.0)], [(0, 1, 150.0)])
    assert [v.invert for v in vaults] == [None, None]
    assert len(findings) == 2


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("12'-6\"", 3.81),
        ("12.5", 12.5),
        ("0", 0.0),
        ("", None),
        ("-9999", None),
        ("99999", None),
        ("12,5", None),
        ("1,234", None),
        ("12.345,6", None),
        ("IE-12.5", None),
        ("1,234.5", 1234.5),
        ("1,012.5 ft", 308.61),
        ("EL. 12.5 ft", 3.81),
        ("EL 12'-6\"", 3.81),
        ("IE, 12.5", 12.5),
    ],
)
def test_inverts_as_written(text, metres):
    vaults, findings = settled(
        [RawVault("A", 0.0, 0.0, float("nan"), None, {"invert": text}, Where(id="1"))], 1.0
    )
    assert vaults[0].invert == (None if metres is None else pytest.approx(metres))
    assert ("level-dropped" in {f.code for f in findings}) == (text in {"-9999", "99999"})


def marked(layer, ends, inverts):
    """Two spans of 100 m with z at their ends, and three vaults with inverts, of which one may be None."""
    places = [(500000 + 100 * k, 5400000) for k in range(3)]
    path = layer(
        [
            LineString([(*p, z) for p, z in zip(places[k : k + 2], ends[k : k + 2], strict=True)])
            for k in (0, 1)
        ]
    )
    return (
        layer(
            [Point(p) for p in places],
            layer="vaults",
            append=True,
            kind="Point",
            tag=["A", "B", "C"],
            invert=inverts,
        )
        and path
    )


def test_a_line_that_comes_to_a_vault_off_its_invert_is_said_with_both(layer, survey):
    """B: lines at 10.9, invert at 10.5; A is 0.14 m off and C has none."""
    read = survey(marked(layer, (10.0, 10.9, 11.0), (10.14, 10.5, None)), ducts="ducts", vaults="vaults")
    found = [f for f in read.findings if f.code == "line-against-invert"]
    assert [(f.where.x, f.where.y) for f in found] == [(500100, 5400000)] * 2
    for f in found:
        assert (
            "at 10.90 m (35.76 ft) where it meets vault B, whose invert is 10.50 m (34.45 ft), 0.40 m"
            in f.message
        )
        assert "lower" in f.message
    assert [d.start[2] for d in read.ducts] == [10.0, 10.9]


@pytest.mark.parametrize(
    ("inverts", "hint"),
    [
        ([z / 0.3048 for z in (10.0, 10.9, 11.0)], "0.305 times"),
        ([z * 0.3048 for z in (10.0, 10.9, 11.0)], "3.28 times"),
        (
            [z - 0.6 for z in (10.0, 10.9, 11.0)],
            "by about 0.60 m (1.97 ft): the lines may be drawn at the top",
        ),
        (
            [z + 0.6 for z in (10.0, 10.9, 11.0)],
            "by about 0.60 m (1.97 ft): the lines may count from another",
        ),
        ([9.0, 12.0, 10.0], "correct the one"),
    ],
)
def test_inverts_that_are_off_alike_say_what_may_be_behind_it(layer, survey, inverts, hint):
    read = survey(marked(layer, (10.0, 10.9, 11.0), inverts), ducts="ducts", vaults="vaults")
    found = [f for f in read.findings if f.code == "line-against-invert"]
    assert len(found) == 4
    assert all(hint in f.remedy for f in found)


@pytest.mark.parametrize(
    ("rims", "said"), [((10.1, 10.9, 10.8), True), ((11.0, 12.1, 12.5), False), ((10.0, 12.1, 12.5), False)]
)
def test_lines_as_high_as_the_rims_may_follow_the_ground(layer, survey, codes, rims, said):
    """All three at the rim; none; and only the first, as at the foot of a riser."""
    places = [(500000 + 100 * k, 5400000, z) for k, z in enumerate((10.0, 10.9, 11.0))]
    path = layer([LineString(places[:2]), LineString(places[1:])])
    layer(
        [Point(p[:2]) for p in places],
        layer="vaults",
        append=True,
        kind="Point",
        tag=["A", "B", "C"],
        rim=rims,
    )
    assert ("line-at-ground" in codes(survey(path, ducts="ducts", vaults="vaults"))) == said


def test_a_missing_invert_is_said_at_its_own_end(layer, survey):
    path = layer([LineString([(500000, 5400000), (500100, 5400000)])])
    layer([Point(500000, 5400000), Point(500100, 5400000)], layer="vaults", append=True, kind="Point",
          tag=["A", "B"], invert=["10", None])  # fmt: skip
    read = survey(path, ducts="ducts", vaults=Selection("vaults", fields={"name": "tag", "invert": "invert"}))
    (missing,) = [f for f in read.findings if f.code == "invert-missing"]
    assert (missing.where.x, missing.where.y) == (500100.0, 5400000.0)
