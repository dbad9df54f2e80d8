"""Ducts laid end to end: turned as needed, with the bend at every vault that their headings make."""

import math
from dataclasses import replace

import numpy as np
import pytest

from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.track import Bore, Friction
from network import DuctNetwork, Guides, build_row, duct_route, feeder_route, guide_bend
from routeio.survey import Duct, Ground, Origin, Survey, Vault

BORE = Bore(0.127, Friction(0.2), label="5 in")
OTHER = Bore(0.154, Friction(0.2), label="6 in")
RIGHT = math.pi / 2


def bent(name: str, ends: tuple[str, str], start: tuple[float, float, float], heading: float) -> Duct:
    """10 m straight, a quarter turn left of 5 m radius, 20 m straight, all rising by 0.1 rad."""
    chain = Chain([10.0, 5.0 * RIGHT, 20.0], [0.1] * 3, [0.1] * 3, [0.0, RIGHT, 0.0])
    c, s = math.cos(heading), math.sin(heading)
    along, aside = 10.0 + 5.0, 5.0 + 20.0
    flat = math.cos(0.1)
    end = (
        start[0] + flat * (c * along - s * aside),
        start[1] + flat * (s * along + c * aside),
        start[2] + chain.total_length * math.sin(0.1),
    )
    origins = (Origin(name, "drawn"), Origin("A7", "swept"), Origin(name, "drawn"))
    return Duct(name, chain, start, heading, end, *ends, origins, elevated=True)


def network_of(*ducts: Duct) -> DuctNetwork:
    places = {tag: p for d in ducts for tag, p in ((d.start_vault, d.start), (d.end_vault, d.end))}
    vaults = tuple(Vault(str(t), p[0], p[1], splice=t != "B") for t, p in places.items())
    return DuctNetwork.from_survey(Survey("x", "", Ground(1.0, "metre"), ducts, vaults, ()))


def test_ducts_are_turned_as_the_feeder_runs() -> None:
    first = bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0)
    # From the same vault, drawn from its far end: the feeder meets it backwards.
    far = bent("2", ("C", "B"), (200.0, 0.0, 0.0), 1.0)
    second = bent("2", ("C", "B"), tuple(np.add((200.0, 0.0, 0.0), np.subtract(first.end, far.end))), 1.0)
    route = feeder_route(network_of(first, second), ["A", "C"])
    row = build_row(route, lambda duct: BORE if duct.id == "1" else OTHER, Guides(radius=0.9))
    assert [v.tag for v in row.vaults] == ["A", "B", "C"]
    assert [v.splice for v in row.vaults] == [True, False, True]
    assert row.spans[0].chain is first.chain
    assert row.spans[1].chain.length.tolist() == [20.0, 5.0 * RIGHT, 10.0]
    assert row.spans[1].chain.turn.tolist() == [0.0, -RIGHT, 0.0]
    assert set(row.spans[1].chain.grade_in) == {-0.1}
    assert row.spans[1].bores == (OTHER,) * 3
    assert row.spans[1].ids == ("2", "2 A7", "2")
    assert row.spans[1].how == ("drawn", "swept", "drawn")


def test_headings_that_differ_at_one_point_make_a_bend_on_guides() -> None:
    first = bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0)
    second = bent("2", ("B", "C"), first.end, RIGHT + 0.5)
    row = build_row(feeder_route(network_of(first, second), ["A", "C"]), lambda _: BORE, Guides(0.9, 0.15))
    (crossing,) = row.crossings
    # Both directions rise by 0.1 rad, 0.5 rad apart in plan.
    angle = math.acos(math.cos(0.1) ** 2 * math.cos(0.5) + math.sin(0.1) ** 2)
    assert crossing.chain.turn.sum() == pytest.approx(0.5)
    assert crossing.chain.total_length == pytest.approx(0.9 * angle, rel=1e-3)
    assert all(b.guide and b.friction.lubricated == 0.15 for b in crossing.bores)
    assert crossing.ids == ("vault B",)
    straight_on = build_row(
        feeder_route(network_of(first, bent("2", ("B", "C"), first.end, RIGHT)), ["A", "C"]),
        lambda _: BORE,
        Guides(),
    )
    assert len(straight_on.crossings[0].chain) == 0


def test_mouths_set_apart_make_two_bends_and_rub_as_the_duct_between() -> None:
    first = bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0)
    aside = tuple(np.add(first.end, (0.8, 2.5, 2.5 * math.tan(0.1))))
    row = build_row(
        feeder_route(network_of(first, bent("2", ("B", "C"), aside, RIGHT)), ["A", "C"]),
        lambda _: BORE,
        Guides(),
    )
    (crossing,) = row.crossings
    assert [b.guide for b in crossing.bores].count(True) == 2
    assert crossing.chain.turn.sum() == pytest.approx(0.0, abs=1e-9)
    assert all(b == BORE for b in crossing.bores if not b.guide)
    assert set(crossing.how) <= {"guide", "vault"}


def test_a_vault_between_flooded_ducts_is_dry() -> None:
    first = bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0)
    second = bent("2", ("B", "C"), tuple(np.add(first.end, (0.8, 2.5, 2.5 * math.tan(0.1)))), RIGHT)
    wet = replace(BORE, flooded=True)
    row = build_row(feeder_route(network_of(first, second), ["A", "C"]), lambda _: wet, Guides(0.9))
    assert not all(b.guide for b in row.crossings[0].bores)
    assert not any(b.flooded for b in row.crossings[0].bores)
    assert all(b.flooded for span in row.spans for b in span.bores)


def test_one_duct_is_a_row_of_its_own_with_guides_at_its_ends() -> None:
    network = network_of(bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0))
    row = build_row(duct_route(network, "1"), lambda _: BORE, Guides(feed=guide_bend(1.0, -1.2, 0.1)))
    track = row.track(1, 0)
    assert track.chain.length[0] == pytest.approx(1.2)
    assert track.bores[track.bore[0]].guide
    assert row.length(0, 1) == pytest.approx(30.0 + 5.0 * RIGHT)


@pytest.mark.parametrize("guides", [Guides(radius=0.0), Guides(friction=-0.1), Guides(radius=float("nan"))])
def test_guides_must_be_possible(guides: Guides) -> None:
    network = network_of(bent("1", ("A", "B"), (0.0, 0.0, 0.0), 0.0))
    with pytest.raises(DomainError, match=r"guides\."):
        build_row(duct_route(network, "1"), lambda _: BORE, guides)
    with pytest.raises(DomainError, match="radius"):
        guide_bend(0.0, 1.0, 0.1)
