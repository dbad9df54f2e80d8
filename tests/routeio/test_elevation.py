"""Inverts: which are elevations, how they are written, and what they do to a duct without elevations."""

import pytest

from routeio.elevation import without_false_zeros
from routeio.findings import Where
from routeio.marks import settled
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
    ],
)
def test_inverts_as_written(text, metres):
    vaults, findings = settled(
        [RawVault("A", 0.0, 0.0, float("nan"), None, {"invert": text}, Where(id="1"))], 1.0
    )
    assert vaults[0].invert == (None if metres is None else pytest.approx(metres))
    assert ("level-dropped" in {f.code for f in findings}) == (text in {"-9999", "99999"})
