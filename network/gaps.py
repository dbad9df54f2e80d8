"""Where a network falls apart: its parts, and the narrowest gaps between them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import networkx as nx
import shapely

from network.errors import Gap, NoRouteError
from network.graph import DuctNetwork, natural


@dataclass(frozen=True)
class _Point:
    """A place that a missing duct could start from."""

    xy: tuple[float, float]
    name: str
    part: int


def no_route(network: DuctNetwork, start: str, end: str) -> NoRouteError:
    """Return the error for two vaults that no ducts connect.

    Parameters
    ----------
    network : DuctNetwork
        In which they lie.
    start, end : str
        Tags of vaults in different parts.

    Returns
    -------
    NoRouteError
        Names the parts and the gaps to close on the way, the widest of them as narrow as can be.
    """
    parts, points = _parts(network)
    return NoRouteError(
        start,
        end,
        _tags(network, start),
        _tags(network, end),
        _gaps(points, parts[start], parts[end]),
        network.survey.file,
        network.survey.findings,
        network.survey.ground,
    )


def _tags(network: DuctNetwork, tag: str) -> tuple[str, ...]:
    return tuple(sorted(nx.node_connected_component(network.graph, tag), key=natural))


def _parts(network: DuctNetwork) -> tuple[dict[str, int], list[_Point]]:
    """Number the connected parts; list the vaults and duct ends of each.

    A loose duct belongs to the vault it does meet, or is a part of its own.
    """
    parts: dict[str, int] = {}
    for number, tags in enumerate(nx.connected_components(network.graph)):
        parts.update(dict.fromkeys(tags, number))
    points = [
        _Point((vault.x, vault.y), f"vault {vault.tag}", parts[vault.tag]) for vault in network.survey.vaults
    ]
    number = len(parts)
    for duct in network.survey.ducts:
        met = duct.start_vault if duct.start_vault is not None else duct.end_vault
        part = number if met is None else parts[met]
        number += met is None
        for tag, place in ((duct.start_vault, duct.start), (duct.end_vault, duct.end)):
            name = f"the loose end of duct {duct.id}" if tag is None else f"vault {tag}"
            points.append(_Point((place[0], place[1]), name, part))
    return parts, points


def _gaps(points: list[_Point], start: int, end: int) -> tuple[Gap, ...]:
    """The path of least widest gap between two parts.

    The nearest pair across any division of the points is an edge of their Delaunay triangulation, so a
    minimum spanning tree over those edges holds that path.
    """
    at: dict[tuple[float, float], list[_Point]] = {}
    for point in points:
        at.setdefault(point.xy, []).append(point)
    joined: nx.Graph[int] = nx.Graph()

    def offer(a: _Point, b: _Point, width: float) -> None:
        known = joined.get_edge_data(a.part, b.part)
        if a.part != b.part and (known is None or width < known["weight"]):
            joined.add_edge(a.part, b.part, weight=width, ends={a.part: a, b.part: b})

    for together in at.values():
        for point in together[1:]:
            offer(together[0], point, 0.0)
    for a_xy, b_xy in _neighbours(list(at)):
        width = float(((a_xy[0] - b_xy[0]) ** 2 + (a_xy[1] - b_xy[1]) ** 2) ** 0.5)
        for a in at[a_xy]:
            for b in at[b_xy]:
                offer(a, b, width)
    tree = nx.minimum_spanning_tree(joined)
    path = nx.shortest_path(tree, start, end)
    gaps = []
    for one, other in itertools.pairwise(path):
        edge = tree.edges[one, other]
        a, b = edge["ends"][one], edge["ends"][other]
        gaps.append(Gap(edge["weight"], a.name, b.name, a.xy, b.xy))
    return tuple(gaps)


def _neighbours(
    places: list[tuple[float, float]],
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Pairs of places among which every nearest pair is found: Delaunay edges, or along the line if all lie on one."""
    # About the first place, because coordinates in the millions cost the triangulation its digits.
    base = places[0]
    local = {(x - base[0], y - base[1]): (x, y) for x, y in places}
    drawn = shapely.delaunay_triangles(shapely.MultiPoint(list(local)), only_edges=True)
    edges = [tuple(line.coords) for line in getattr(drawn, "geoms", [drawn])]
    pairs = [(local[a], local[b]) for a, b in edges if a in local and b in local]
    # Nearly collinear points may be left out of the triangulation: their order along either axis makes up for it.
    for axis in (0, 1):
        row = sorted(places, key=lambda p: (p[axis], p[1 - axis]))
        pairs += list(itertools.pairwise(row))
    return pairs
