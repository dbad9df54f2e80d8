"""New vaults against every set of places there is, on small random routes; and where they may not stand."""

import itertools
import math
import random
from dataclasses import replace

import numpy as np
import pytest
import shapely

import network.place
from mechanics.cable import Bundle, Cable
from mechanics.centreline import place as placed
from mechanics.chain import Chain
from mechanics.errors import DomainError
from mechanics.pull import Override, Rules
from mechanics.track import Bore, Friction
from network import Costs, DuctNetwork, Plan, PlanRules, plan_feeder
from network.ends import far_ends, with_ends
from network.place import PlaceRules, propose
from network.split import Place, with_vaults
from routeio.survey import Duct, Ground, Origin, Survey, Vault

BUNDLE = Bundle((Cable(0.041, 25.5, conductor_area=2.5e-4),))
FREE = PlanRules(Costs(0.0, 0.0, 0.0))


def line(chain, ident="D", start=(0.0, 0.0, 0.0), heading=0.0, tags=("A", "Z"), elevated=True):
    """A duct with its ends where its chain ends."""
    end = tuple(placed(chain, start, heading).points[-1].tolist())
    origins = tuple(Origin(ident, "drawn") for _ in range(len(chain)))
    return Duct(ident, chain, start, heading, end, *tags, origins, elevated)


def survey_of(*ducts):
    """A survey with a vault at every named end."""
    at = {}
    for duct in ducts:
        at[duct.start_vault] = duct.start
        at[duct.end_vault] = duct.end
    vaults = tuple(Vault(tag, *xyz) for tag, xyz in at.items() if tag is not None)
    return Survey("made", "", Ground(1.0, "metre"), ducts, vaults, ())


def random_route(seed, hilly):
    """One or two ducts end to end: straights of 40 to 160 m, bends between them."""
    rng = random.Random(seed)
    ducts, start, heading, grade = [], (0.0, 0.0, 0.0), 0.0, 0.0
    count = rng.randint(1, 2)
    for k in range(count):
        rows = []
        for _ in range(rng.choice([1, 1, 2])):
            rows.append((rng.uniform(40.0, 160.0), grade, grade, 0.0))
            turn = rng.choice([-1, 1]) * rng.uniform(0.2, 1.0)
            rows.append((4.0 * abs(turn), grade, grade, turn))
            if hilly:
                new = rng.uniform(-0.2, 0.2)
                rows.append((20.0 * abs(new - grade) + 0.1, grade, new, 0.0))
                grade = new
        rows.append((rng.uniform(40.0, 160.0), grade, grade, 0.0))
        ducts.append(
            line(Chain(*map(list, zip(*rows, strict=True))), f"D{k}", start, heading, (f"V{k}", f"V{k + 1}"))
        )
        end = placed(ducts[-1].chain, start, heading)
        start, heading = ducts[-1].end, end.heading
    return survey_of(*ducts), ("V0", f"V{count}"), rng


def rules_of(rng):
    """Limits that some of the stretches pass."""
    return Rules(
        max_sidewall=rng.uniform(600.0, 3000.0),
        overrides={"max_tension": Override(rng.uniform(0.8e3, 2.5e3))},
    )


def by_enumeration(survey, feeder, bore, rules, places, prices=FREE):
    """Fewest new vaults of any plan whatever, and the best margin that so many leave."""
    for count in range(len(places) + 1):
        best = math.inf
        for chosen in itertools.combinations(places, count):
            new = with_vaults(survey, [(p, f"N{k}") for k, p in enumerate(chosen)])
            tags = feeder if count == 0 else (feeder[0], feeder[1])
            plan = plan_feeder(DuctNetwork.from_survey(new), tags, lambda _: bore, BUNDLE, rules, prices).plan
            if isinstance(plan, Plan):
                best = min(best, plan.utilisation)
        if best < math.inf:
            return count, best
    return None


def compared(seed, hilly, ages, monkeypatch):
    """Whether a random route needed new vaults; asserts that they are as enumeration says."""
    survey, feeder, rng = random_route(seed, hilly)
    prices = FREE
    if seed % 3 == 0:  # nothing is spliced at vaults that stand, but sections may be fed there
        survey = replace(survey, vaults=tuple(replace(v, splice=False) for v in survey.vaults))
        prices = replace(FREE, middle_feed=True)
    friction = Friction(0.3, 0.6, 100.0) if ages else Friction(0.35)
    bore, rules = Bore(0.127, friction), rules_of(rng)
    monkeypatch.setattr(network.place, "_FINER", 1)
    where = PlaceRules(step=rng.choice([90.0, 150.0]), lead=5.0)
    found = propose(survey, feeder, lambda _: bore, BUNDLE, rules, prices, where)
    route = network.place.feeder_route(DuctNetwork.from_survey(survey), feeder)
    places = list(network.place._places(route, where, where.step))
    if len(places) > 9:
        return 0
    want = by_enumeration(survey, feeder, bore, rules, places, prices)
    assert found.solved == (want is not None)
    if want is None:
        return 0
    plan = plan_feeder(
        DuctNetwork.from_survey(found.survey), found.feeder, lambda _: bore, BUNDLE, rules, prices
    ).plan
    assert len(found.new) == want[0]
    assert isinstance(plan, Plan)
    if not ages:
        assert plan.utilisation == pytest.approx(want[1], abs=1e-6)
    return want[0]


def test_fewest_vaults_and_best_margin_on_random_routes(monkeypatch):
    needed = [compared(seed, seed % 2 == 1, seed % 4 > 1, monkeypatch) for seed in range(10)]
    assert sum(n > 0 for n in needed) >= 2


@pytest.mark.slow
def test_fewest_vaults_and_best_margin_on_many_random_routes(monkeypatch):
    needed = [compared(seed, seed % 2 == 1, seed % 4 > 1, monkeypatch) for seed in range(100, 300)]
    assert sum(n > 0 for n in needed) >= 40


STRAIGHT = Chain([1000.0], [0.0], [0.0], [0.0])
# Common practice, no source, and plain arithmetic: T = c w L on the flat, so 4.5 kN are 504 m at c w = 8.93 N/m.
FLAT = Bore(0.127, Friction(0.35))
PULLED = Rules(overrides={"max_tension": Override(0.35 * 25.5 * 504.0)})


def test_one_vault_in_the_middle_leaves_the_best_margin():
    found = propose(survey_of(line(STRAIGHT)), ("A", "Z"), lambda _: FLAT, BUNDLE, PULLED, FREE, PlaceRules())
    ((tag, place),) = found.new
    assert tag == "N-1"
    assert found.feeder == ("A", "N-1", "Z")
    assert place.station == pytest.approx(500.0, abs=1e-6)
    assert (place.x, place.y) == pytest.approx((500.0, 0.0), abs=1e-6)


@pytest.mark.parametrize(("middle_feed", "new"), [(False, 1), (True, 0)])
def test_a_section_may_be_fed_where_no_splice_may_be(middle_feed, new):
    """800 m with a vault in their middle where nothing is spliced: 504 m can be pulled at most, so fed there it is done."""
    half = Chain([400.0], [0.0], [0.0], [0.0])
    survey = survey_of(
        line(half, "D0", tags=("A", "M")), line(half, "D1", (400.0, 0.0, 0.0), 0.0, ("M", "Z"))
    )
    survey = replace(survey, vaults=tuple(replace(v, splice=v.tag != "M") for v in survey.vaults))
    prices = replace(FREE, middle_feed=middle_feed)
    found = propose(survey, ("A", "Z"), lambda _: FLAT, BUNDLE, PULLED, prices, PlaceRules())
    assert found.solved
    assert len(found.new) == new


def test_none_where_those_that_stand_do():
    survey = survey_of(line(STRAIGHT))
    found = propose(survey, ("A", "Z"), lambda _: FLAT, BUNDLE, Rules(), FREE, PlaceRules())
    assert found.solved
    assert found.new == ()


def test_zones_kept_free_and_zones_with_access():
    closed = PlaceRules(step=2.0, keep_out=shapely.box(497.5, -5.0, 502.5, 5.0))
    args = survey_of(line(STRAIGHT)), ("A", "Z"), lambda _: FLAT, BUNDLE, PULLED, FREE
    ((_, place),) = propose(*args, closed).new
    assert 2.5 < abs(place.x - 500.0) <= 4.0
    open_at = PlaceRules(step=2.0, access=shapely.box(502.0, -5.0, 600.0, 5.0))
    ((_, place),) = propose(*args, open_at).new
    assert 502.0 <= place.x <= 504.0
    assert place.preferred
    nowhere = PlaceRules(keep_out=shapely.box(400.0, -5.0, 600.0, 5.0))
    assert not propose(*args, nowhere).new or len(propose(*args, nowhere).new) == 2


def test_spacing_between_all_vaults():
    rules = PlaceRules(spacing=300.0)
    found = propose(survey_of(line(STRAIGHT)), ("A", "Z"), lambda _: FLAT, BUNDLE, PULLED, FREE, rules)
    at = [0.0, *(p.station for _, p in found.new), 1000.0]
    assert len(found.new) == 3
    assert max(np.diff(at)) <= 300.0 + 1e-6


def test_lead_straight_from_every_bend_and_vault():
    chain = Chain([200.0, 6.0, 15.0, 6.0, 300.0], [0.0] * 5, [0.0] * 5, [0.0, 1.5, 0.0, -1.5, 0.0])
    where = PlaceRules(step=5.0, lead=8.0)
    route = network.place.feeder_route(DuctNetwork.from_survey(survey_of(line(chain))), ("A", "Z"))
    at = np.array([p.station for p in network.place._places(route, where, where.step)])
    assert at.min() == pytest.approx(8.0)
    assert at.max() == pytest.approx(527.0 - 8.0)
    # the straight of 15 m has no place 8 m from both its bends
    assert not np.any((at > 192.0) & (at < 235.0))


def test_duct_against_the_feeder_and_parts_of_ducts():
    duct = line(Chain([400.0, 6.0, 600.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 1.5, 0.0]))
    there = propose(survey_of(duct), ("A", "Z"), lambda _: FLAT, BUNDLE, PULLED, FREE, PlaceRules())
    back = propose(survey_of(duct), ("Z", "A"), lambda _: FLAT, BUNDLE, PULLED, FREE, PlaceRules())
    assert back.feeder[0] == "Z"
    assert len(back.new) == len(there.new)
    cut = with_vaults(survey_of(duct), [(Place("D", 450.0, 0.0, 0.0, 0.0), "X")])
    assert [d.id for d in cut.ducts] == ["D/1", "D/2"]
    assert sum(d.chain.total_length for d in cut.ducts) == pytest.approx(1006.0)
    assert cut.ducts[0].end == pytest.approx(cut.ducts[1].start)
    with pytest.raises(DomainError):
        with_vaults(survey_of(duct), [(Place("D", 1006.0, 0.0, 0.0, 0.0), "X")])


def test_ends_of_a_route_without_vaults():
    one = line(STRAIGHT, "A", tags=(None, None))
    other = line(STRAIGHT, "B", start=one.end, tags=(None, None))
    survey = with_ends(survey_of(one, other))
    assert far_ends(survey) == ("END-1", "END-3")
    assert {v.tag for v in survey.vaults} == {"END-1", "END-2", "END-3"}
    named = with_ends(replace(survey_of(one), vaults=(Vault("END-1", 5.0, 5.0),)))
    assert [v.tag for v in named.vaults] == ["END-1", "END-2", "END-3"]


@pytest.mark.parametrize("wrong", [{"step": 0.0}, {"lead": -1.0}, {"spacing": float("nan")}])
def test_figures_that_are_none(wrong):
    with pytest.raises(DomainError):
        PlaceRules(**wrong)
