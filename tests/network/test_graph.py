"""The graph, the feeder's way through it, and what is said where there is none."""

import itertools
import math
import random

import networkx as nx
import numpy as np
import pytest

from mechanics.chain import Chain
from network import DoublesBackError, DuctNetwork, NoRouteError, UnknownVaultError, duct_route, feeder_route
from network.gaps import no_route
from routeio.findings import InputRefusedError
from routeio.survey import Duct, DuctFields, Ground, Origin, Survey, Vault

Place = tuple[float, float]


def straight(
    name: str,
    ends: tuple[str | None, str | None],
    start: Place,
    end: Place,
    extra: float = 0.0,
    free: int | None = None,
) -> Duct:
    """A duct drawn straight; ``extra`` makes its chain longer, as slack in plan would."""
    length = math.dist(start, end) + extra
    heading = math.atan2(end[1] - start[1], end[0] - start[0])
    return Duct(
        name,
        Chain([length], [0.0], [0.0], [0.0]),
        (*start, 0.0),
        heading,
        (*end, 0.0),
        ends[0],
        ends[1],
        (Origin(name, "drawn"),),
        fields=DuctFields(free=free),
    )


def survey_of(places: dict[str, Place], ducts: list[Duct]) -> Survey:
    vaults = tuple(Vault(tag, *xy) for tag, xy in places.items())
    return Survey("streets.gpkg", "", Ground(1.0, "metre"), tuple(ducts), vaults, ())


def network_of(places: dict[str, Place], pairs: list[str]) -> DuctNetwork:
    """Ducts named by their ends, such as ``A-B``; start to end as named."""
    ducts = []
    for name in pairs:
        one, other = name.split("#")[0].split("-")
        ducts.append(straight(name, (one, other), places[one], places[other]))
    return DuctNetwork.from_survey(survey_of(places, ducts))


SQUARE = {"A": (0.0, 0.0), "B": (100.0, 0.0), "C": (100.0, 100.0), "D": (0.0, 100.0), "E": (300.0, 0.0)}


def test_edges_carry_what_is_promised() -> None:
    network = network_of(SQUARE, ["A-B", "C-B", "A-B#2"])
    assert isinstance(network.graph, nx.MultiGraph)
    assert set(network.graph.nodes) == set(SQUARE)
    assert network.graph.number_of_edges("A", "B") == 2
    edge = network.graph.edges["B", "C", "C-B"]
    assert edge["start"] == "C"
    assert edge["length_m"] == 100.0
    assert edge["chain"] is edge["duct"].chain
    assert [d.id for d in network.between("B", "A")] == ["A-B", "A-B#2"]


def test_loose_ducts_stand_apart() -> None:
    ducts = [
        straight("1", ("A", None), (0.0, 0.0), (99.0, 0.0)),
        straight("2", (None, None), (5.0, 5.0), (9.0, 5.0)),
    ]
    network = DuctNetwork.from_survey(survey_of(SQUARE, ducts))
    assert network.loose == tuple(ducts)
    assert network.graph.number_of_edges() == 0
    with pytest.raises(InputRefusedError, match="does not end at a vault on both sides"):
        network.duct("1")


@pytest.mark.parametrize(
    ("ducts", "code"),
    [
        ([straight("1", ("A", "X"), (0.0, 0.0), (9.0, 0.0))], "unknown-vault"),
        ([straight("1", ("A", "B"), (0.0, 0.0), (9.0, 0.0))] * 2, "duplicate-duct"),
        (
            [Duct("1", Chain([], [], [], []), (0, 0, 0), 0.0, (0, 0, 0), "A", "B", ())],
            "duct-without-length",
        ),
    ],
)
def test_surveys_that_contradict_themselves_are_refused(ducts: list[Duct], code: str) -> None:
    with pytest.raises(InputRefusedError) as refused:
        DuctNetwork.from_survey(survey_of(SQUARE, ducts))
    assert refused.value.code == code


def test_shortest_way_with_ducts_turned_as_needed() -> None:
    route = feeder_route(network_of(SQUARE, ["B-A", "B-C", "A-D", "D-C", "B-E"]), ["D", "E"])
    assert route.tags in (("D", "A", "B", "E"), ("D", "C", "B", "E"))
    route = feeder_route(network_of(SQUARE, ["B-A", "B-C", "A-D", "D-C", "B-E"]), ["D", "C", "E"])
    assert route.tags == ("D", "C", "B", "E")
    assert [(leg.duct.id, leg.forward) for leg in route.legs] == [
        ("D-C", True),
        ("B-C", False),
        ("B-E", True),
    ]


def test_equal_ways_are_decided_by_name_and_said() -> None:
    route = feeder_route(network_of(SQUARE, ["C-B", "D-C", "B-A", "A-D"]), ["A", "C"])
    assert route.tags == ("A", "B", "C")
    (finding,) = route.findings
    assert finding.code == "equal-ways"
    assert "by B, D are equally long (200.00 m); took B" in finding.message


def test_parallel_ducts_are_decided_and_said() -> None:
    a, b = SQUARE["A"], SQUARE["B"]
    ducts = [
        straight("D10", ("A", "B"), a, b),
        straight("D2", ("B", "A"), b, a),
        straight("D1", ("A", "B"), a, b, 0.5),
    ]
    route = feeder_route(DuctNetwork.from_survey(survey_of(SQUARE, ducts)), ["A", "B"])
    assert (route.legs[0].duct.id, route.legs[0].forward) == ("D2", False)
    (finding,) = route.findings
    assert finding.message.endswith(
        "D1 (100.50 m), D2 (100.00 m), D10 (100.00 m); took D2, one of 2 equally short"
    )


def test_full_ducts_are_passed_over_or_said() -> None:
    a, b = SQUARE["A"], SQUARE["B"]
    full, clear = straight("1", ("A", "B"), a, b, free=0), straight("2", ("A", "B"), a, b, free=1)
    route = feeder_route(DuctNetwork.from_survey(survey_of(SQUARE, [full, clear])), ["A", "B"])
    assert route.legs[0].duct is clear
    route = feeder_route(DuctNetwork.from_survey(survey_of(SQUARE, [full])), ["A", "B"])
    assert [f.code for f in route.findings] == ["no-free-duct"]


def test_way_that_would_double_back_goes_round() -> None:
    """A must be met before C, but the shortest way from A on leads back through B."""
    network = network_of(SQUARE, ["B-A", "B-C", "A-D", "D-C"])
    route = feeder_route(network, ["B", "A", "C"])
    assert route.tags == ("B", "A", "D", "C")
    assert "detour" in [f.code for f in route.findings]
    with pytest.raises(DoublesBackError, match="passes B more than once"):
        feeder_route(network_of(SQUARE, ["B-A", "B-C"]), ["B", "A", "C"])
    with pytest.raises(DoublesBackError, match="passes B more than once"):
        feeder_route(network, ["B", "A", "B"])


def test_unknown_vault_suggests_the_nearest_name() -> None:
    places = {"MH-1": (0.0, 0.0), "MH-12": (9.0, 0.0), "RISER": (20.0, 0.0)}
    with pytest.raises(UnknownVaultError) as refused:
        feeder_route(network_of(places, []), ["mh-12 ", "RISER"])
    assert refused.value.suggestions[0] == "MH-12"
    assert "did you mean MH-12" in str(refused.value)
    with pytest.raises(InputRefusedError, match="at least two vaults"):
        feeder_route(network_of(places, []), ["MH-1"])


def test_no_route_says_where_the_gap_is_and_how_wide() -> None:
    """Two narrow gaps by way of a stray piece are preferred to one wide one; coordinates of state-plane size."""
    east, north = 2_000_000.0, 400_000.0
    places = {
        "A": (east, north),
        "B": (east + 100, north),
        "C": (east + 300, north),
        "D": (east + 400, north),
    }
    ducts = [
        straight("1", ("A", "B"), places["A"], places["B"]),
        straight("2", ("B", None), places["B"], (east + 150, north)),
        straight("3", (None, None), (east + 153, north + 4), (east + 290, north)),
        straight("4", ("C", "D"), places["C"], places["D"]),
    ]
    with pytest.raises(NoRouteError) as refused:
        feeder_route(DuctNetwork.from_survey(survey_of(places, ducts)), ["A", "D"])
    error = refused.value
    assert (error.start_part, error.end_part) == (("A", "B"), ("C", "D"))
    assert [round(g.width, 6) for g in error.gaps] == [5.0, 10.0]
    assert error.gaps[0].here == "the loose end of duct 2"
    assert error.gaps[0].there_xy == (east + 153, north + 4)
    assert error.gaps[1].there == "vault C"
    assert "5.00 m (16.40 ft) between the loose end of duct 2 at 2000150.00, 400000.00" in str(error)


def test_gaps_are_the_narrowest_by_brute_force() -> None:
    """The widest gap on the way is as narrow as can be: against a search over all pairs of points."""
    for seed in range(30):
        rng = random.Random(seed)
        grid = rng.random() < 0.3
        places = {
            f"V{k}": (float(rng.randint(0, 6)) * 10, float(rng.randint(0, 6)) * 10)
            if grid
            else (rng.uniform(0, 100), rng.uniform(0, 100) if rng.random() < 0.8 else 50.0)
            for k in range(rng.randint(2, 12))
        }
        ducts = [
            straight(f"D{k}", (f"V{k}", f"V{k + 1}"), places[f"V{k}"], places[f"V{k + 1}"], extra=1.0)
            for k in range(len(places) - 1)
            if rng.random() < 0.5
        ]
        network = DuctNetwork.from_survey(survey_of(places, ducts))
        last = f"V{len(places) - 1}"
        if nx.has_path(network.graph, "V0", last):
            continue
        error = no_route(network, "V0", last)
        parts = [set(p) for p in nx.connected_components(network.graph)]
        whole = nx.Graph()
        for p, q in itertools.combinations(range(len(parts)), 2):
            width = min(math.dist(places[a], places[b]) for a in parts[p] for b in parts[q])
            whole.add_edge(p, q, weight=width)
        tree = nx.minimum_spanning_tree(whole)
        here = next(k for k, p in enumerate(parts) if "V0" in p)
        there = next(k for k, p in enumerate(parts) if last in p)
        path = nx.shortest_path(tree, here, there)
        widest = max(tree.edges[e]["weight"] for e in itertools.pairwise(path))
        assert max(g.width for g in error.gaps) == pytest.approx(widest, abs=1e-9), seed


def test_shortest_simple_way_by_brute_force() -> None:
    """Through three vaults in order, none passed twice: against all simple paths of a small random network."""
    solved = 0
    for seed in range(60):
        rng = random.Random(seed)
        places = {f"V{k}": (rng.uniform(0, 100), rng.uniform(0, 100)) for k in range(7)}
        pairs = [f"{a}-{b}" for a, b in itertools.combinations(places, 2) if rng.random() < 0.4]
        network = network_of(places, pairs)
        feeder = rng.sample(list(places), 3)
        ways = [
            path
            for path in nx.all_simple_paths(nx.Graph(network.graph), feeder[0], feeder[2])
            if feeder[1] in path
        ]
        if not ways:
            with pytest.raises((NoRouteError, DoublesBackError)):
                feeder_route(network, feeder)
            continue
        length = min(sum(math.dist(places[a], places[b]) for a, b in itertools.pairwise(w)) for w in ways)
        route = feeder_route(network, feeder)
        assert list(route.tags) in ways
        assert sum(leg.duct.chain.total_length for leg in route.legs) == pytest.approx(length)
        solved += 1
    assert solved > 30


def test_one_duct_on_its_own() -> None:
    network = network_of(SQUARE, ["A-B"])
    assert duct_route(network, "A-B").tags == ("A", "B")
    with pytest.raises(InputRefusedError, match="there is no duct 'X'"):
        duct_route(network, "X")
    loop = straight("L", ("A", "A"), (0.0, 0.0), (1.0, 0.0))
    with pytest.raises(InputRefusedError, match="starts and ends at vault A"):
        duct_route(DuctNetwork.from_survey(survey_of(SQUARE, [loop])), "L")


def test_order_of_the_survey_does_not_matter() -> None:
    names = ["C-B", "D-C", "B-A", "A-D", "A-D#2", "B-E"]
    rng = np.random.default_rng(1)
    routes = {
        (r.tags, tuple(leg.duct.id for leg in r.legs))
        for _ in range(6)
        for r in [feeder_route(network_of(SQUARE, list(rng.permutation(names))), ["D", "B"])]
    }
    assert len(routes) == 1
