"""The longest pull, the tightest bends, the narrowest duct: each passes where found and fails just beyond."""

import math

import pytest

from mechanics.cable import Bundle, Cable
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.pull import Override, Rules
from mechanics.track import Bore, Friction
from network import Row, RowPulls, RowVault, Stretch
from network.changed import with_sweep
from network.inverse import EXACT, longest_pull, smallest_duct, smallest_radius

BUNDLE = Bundle((Cable(0.041, 25.5, conductor_area=2.5e-4),))
NONE = Stretch(Chain([], [], [], []), ())


def row_of(*lengths, turn=0.0, radius=8.0):
    spans = []
    for length in lengths:
        chain = (
            Chain([length], [0.0], [0.0], [0.0])
            if turn == 0.0
            else Chain([length / 2, radius * turn, length / 2], [0.0] * 3, [0.0] * 3, [0.0, turn, 0.0])
        )
        spans.append(Stretch(chain, (Bore(0.127, Friction(0.3)),) * len(chain)))
    vaults = tuple(RowVault(f"V{k}") for k in range(len(spans) + 1))
    return Row(vaults, tuple(spans), (NONE,) * (len(spans) - 1))


@pytest.mark.parametrize("against", [False, True])
def test_longest_pull_on_the_flat_is_tension_over_friction_and_weight(against):
    # T = c w L [rifenburg1953]: with 3 kN, 0.3 and 25.5 N/m a straight pull is 392.157 m long
    rules = Rules(overrides={"max_tension": Override(3000.0)})
    row = row_of(150.0, 150.0, 150.0, 150.0)
    found = longest_pull(row, BUNDLE, rules, 4 if against else 0, against)
    assert found.length == pytest.approx(3000.0 / (0.3 * 25.5), abs=EXACT)
    assert found.reached == 2
    assert found.past == pytest.approx(found.length - 300.0, abs=1e-9)
    assert found.limit is not None
    assert found.limit.max_tension > 3000.0


def test_a_row_that_ends_before_the_limit():
    found = longest_pull(row_of(150.0, 150.0), BUNDLE, Rules(), 0)
    assert (found.reached, found.past, found.length, found.limit) == (2, 0.0, 300.0, None)
    nowhere = longest_pull(row_of(150.0), BUNDLE, Rules(), 0, against=True)
    assert (nowhere.reached, nowhere.length) == (0, 0.0)
    with pytest.raises(DomainError):
        longest_pull(row_of(150.0), BUNDLE, Rules(), 2)


def test_tightest_bends_pass_and_tighter_ones_fail():
    rules = Rules(max_sidewall=300.0)
    row = row_of(120.0, turn=math.pi / 2)
    found = smallest_radius(row, BUNDLE, rules)
    assert found.value is not None
    assert found.result is not None
    for radius, verdicts in ((found.value, {"pass"}), (found.value - 1.01 * EXACT, {"fail"})):
        pulls = RowPulls(with_sweep(row, 0, 1, radius), BUNDLE, rules)
        best = {pulls.evaluate(0, 1).verdict, pulls.evaluate(1, 0).verdict}
        assert ("pass" in best) == (verdicts == {"pass"})
    # sidewall pressure is tension over the radius of the bend's inside, half a duct less than the centreline's
    worst = max(found.result.sidewall)
    leaving = found.result.tension[int(found.result.sidewall.argmax()) + 1]
    assert worst == pytest.approx(leaving / (found.value - 0.0635), rel=1e-6)
    assert worst == pytest.approx(300.0, rel=5e-3)
    with pytest.raises(DomainError, match="no bend in plan"):
        smallest_radius(row_of(120.0), BUNDLE, rules)


def test_no_radius_will_do():
    rules = Rules(overrides={"max_tension": Override(100.0)})
    found = smallest_radius(row_of(120.0, turn=1.0), BUNDLE, rules)
    assert found.value is None
    assert found.limit is not None


def test_narrowest_duct_has_the_clearance_and_the_next_has_not():
    three = Bundle((Cable(0.041, 25.5, conductor_area=2.5e-4),) * 3)
    sizes = [0.078, 0.0901, 0.1023, 0.1282, 0.1541]
    found = smallest_duct(row_of(60.0, turn=0.5), three, Rules(), sizes)
    assert found.value in sizes
    assert found.limit is not None
    assert any(c.verdict == "fail" and c.binding for c in found.limit.checks)
    none = smallest_duct(row_of(60.0), three, Rules(), [0.05])
    assert none.value is None
