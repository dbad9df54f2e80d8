"""The way a feeder takes through the network: the shortest through the vaults it must pass, in that order."""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import networkx as nx

from network.errors import DoublesBackError
from network.gaps import no_route
from network.graph import DuctNetwork, natural
from routeio.findings import Finding, InputRefusedError, Where
from routeio.survey import Duct, Vault

# Two ways whose lengths differ by less than this are equally long: a millimetre is far below what is drawn. [m]
_SAME_LENGTH = 1e-3
# Ways tried before giving up on one that passes no vault twice.
_MOST_TRIED = 100_000


@dataclass(frozen=True, eq=False)
class Leg:
    """A duct as the feeder runs through it.

    Parameters
    ----------
    duct : Duct
        The duct.
    forward : bool
        Whether the feeder runs from the duct's start to its end.
    """

    duct: Duct
    forward: bool


@dataclass(frozen=True, eq=False)
class FeederRoute:
    """The vaults a feeder passes, in order, and the duct from each to the next.

    Parameters
    ----------
    vaults : tuple of Vault
        n + 1 of them.
    legs : tuple of Leg
        n of them.
    findings : tuple of Finding
        Choices made where several ways were as good.
    """

    vaults: tuple[Vault, ...]
    legs: tuple[Leg, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def tags(self) -> tuple[str, ...]:
        """Tags of the vaults, in order."""
        return tuple(v.tag for v in self.vaults)


def feeder_route(network: DuctNetwork, feeder: Sequence[str]) -> FeederRoute:
    """Find the shortest way through ``feeder``'s vaults in that order, passing no vault twice.

    Parameters
    ----------
    network : DuctNetwork
        Where.
    feeder : sequence of str
        Tags: from, to, and any vaults it must pass between them.

    Returns
    -------
    FeederRoute
        Where several ways or parallel ducts are as good, the choice is on record as a finding.

    Raises
    ------
    UnknownVaultError
        A tag that is not in the survey.
    NoRouteError
        Two vaults that no ducts connect; says where the gap is.
    DoublesBackError
        No way without passing a vault twice.
    InputRefusedError
        Fewer than two tags.
    """
    if len(feeder) < 2:
        raise InputRefusedError(
            "feeder-too-short",
            f"a feeder needs at least two vaults, got {', '.join(map(repr, feeder)) or 'none'}",
            Where(file=network.survey.file),
            'name where it starts and where it ends: feeder = ["FROM", "TO"]',
        )
    for tag in feeder:
        network.vault(tag)
    if len(set(feeder)) < len(feeder):
        twice = tuple(sorted({t for t in feeder if list(feeder).count(t) > 1}, key=natural))
        raise DoublesBackError(tuple(feeder), twice, network.survey.file)
    ahead = [_distances(network, tag) for tag in feeder[1:]]
    for start, end, to_end in zip(feeder, feeder[1:], ahead, strict=False):
        if start not in to_end:
            raise no_route(network, start, end)
    findings: list[Finding] = []
    tags = [feeder[0]]
    for end, to_end in zip(feeder[1:], ahead, strict=True):
        tags += _walk(network, tags[-1], end, to_end, findings)
    if len(set(tags)) < len(tags):
        twice = tuple(sorted({t for t in tags if tags.count(t) > 1}, key=natural))
        findings = []
        tags = _without_return(network, feeder, ahead, findings) or []
        if not tags:
            raise DoublesBackError(tuple(feeder), twice, network.survey.file)
    legs = [_leg(network, one, other, findings) for one, other in itertools.pairwise(tags)]
    return FeederRoute(tuple(network.vault(t) for t in tags), tuple(legs), tuple(findings))


def duct_route(network: DuctNetwork, duct_id: str) -> FeederRoute:
    """Return one duct between two vaults as a route of its own, from its start to its end.

    Parameters
    ----------
    network : DuctNetwork
        Where.
    duct_id : str
        Which.

    Returns
    -------
    FeederRoute
        Two vaults and one leg.

    Raises
    ------
    InputRefusedError
        No such duct, or one that does not end at two different vaults.
    """
    duct = network.duct(duct_id)
    if duct.start_vault is None or duct.end_vault is None or duct.start_vault == duct.end_vault:
        raise InputRefusedError(
            "loop-duct",
            f"duct {duct_id!r} starts and ends at vault {duct.start_vault}",
            duct.where,
            "a pull needs a feed and a pull vault: draw a vault between them",
        )
    return FeederRoute(
        (network.vault(duct.start_vault), network.vault(duct.end_vault)), (Leg(duct, True),), ()
    )


def _distances(network: DuctNetwork, tag: str) -> dict[str, float]:
    reached: dict[str, float] = nx.single_source_dijkstra_path_length(network.graph, tag, weight="length_m")
    return reached


def _steps(network: DuctNetwork, tag: str) -> list[tuple[str, float]]:
    """Neighbouring vaults with the length of the shortest duct there, in natural order."""
    return [
        (other, min(edge["length_m"] for edge in edges.values()))
        for other, edges in sorted(network.graph.adj[tag].items(), key=lambda item: natural(item[0]))
        if other != tag
    ]


def _walk(
    network: DuctNetwork, start: str, end: str, to_end: dict[str, float], findings: list[Finding]
) -> list[str]:
    """Follow the distances down to ``end``; where several vaults are as near to it, the first by name."""
    tags = []
    here = start
    while here != end:
        ahead = [(length + to_end[other], other) for other, length in _steps(network, here)]
        least = min(ahead)[0]
        good = [o for total, o in ahead if total <= least + _SAME_LENGTH and to_end[o] < to_end[here]]
        if len(good) > 1:
            findings.append(_equal_ways(network, here, end, least, good))
        here = good[0]
        tags.append(here)
    return tags


def _equal_ways(network: DuctNetwork, here: str, end: str, length: float, good: list[str]) -> Finding:
    vault = network.vault(here)
    return Finding(
        "equal-ways",
        "info",
        f"from {here} to {end} the ways by {', '.join(good)} are equally long ({length:.2f} m); took {good[0]}",
        Where(vault.where.file, vault.where.layer, vault.where.id, vault.x, vault.y),
        "if another is meant, name a vault on it in feeder",
    )


def _without_return(
    network: DuctNetwork, feeder: Sequence[str], ahead: list[dict[str, float]], findings: list[Finding]
) -> list[str] | None:
    """The shortest way in which no vault stands twice: best first, the distances ahead being a lower bound."""
    after = [0.0] * len(ahead)
    for leg in range(len(ahead) - 2, -1, -1):
        after[leg] = after[leg + 1] + ahead[leg + 1][feeder[leg + 1]]
    queue: list[tuple[float, int, float, int, tuple[str, ...]]] = [
        (ahead[0][feeder[0]] + after[0], 0, 0.0, 0, (feeder[0],))
    ]
    pushed = 0
    for _ in range(_MOST_TRIED):
        if not queue:
            return None
        _, _, gone, leg, tags = heapq.heappop(queue)
        if tags[-1] == feeder[leg + 1]:
            leg += 1
            if leg == len(ahead):
                vault = network.vault(feeder[0])
                findings.append(
                    Finding(
                        "detour",
                        "info",
                        f"the shortest way from each vault of the feeder to the next would pass a vault twice;"
                        f" took the shortest that does not, {gone:.2f} m",
                        Where(vault.where.file, vault.where.layer, vault.where.id, vault.x, vault.y),
                        "check that the order of the vaults in feeder is meant",
                    )
                )
                return list(tags)
        later = set(feeder[leg + 2 :])
        for other, length in _steps(network, tags[-1]):
            bound = gone + length + ahead[leg].get(other, math.inf) + after[leg]
            if other not in tags and other not in later and math.isfinite(bound):
                pushed += 1
                heapq.heappush(queue, (bound, pushed, gone + length, leg, (*tags, other)))
    return None


def _leg(network: DuctNetwork, one: str, other: str, findings: list[Finding]) -> Leg:
    """Choose among parallel ducts: the shortest, then one not known to be full, then the first by name."""
    ducts = network.between(one, other)
    shortest = min(d.chain.total_length for d in ducts)
    good = [d for d in ducts if d.chain.total_length <= shortest + _SAME_LENGTH]
    duct = min(good, key=lambda d: d.fields.free == 0)
    if len(ducts) > 1:
        lengths = ", ".join(f"{d.id} ({d.chain.total_length:.2f} m)" for d in ducts)
        findings.append(
            Finding(
                "parallel-ducts",
                "info",
                f"{len(ducts)} ducts run from {one} to {other}: {lengths}; took {duct.id},"
                + (" the shortest" if len(good) == 1 else f" one of {len(good)} equally short"),
                duct.where,
                "if another is meant, select the ducts of this feeder alone",
            )
        )
    if duct.fields.free == 0:
        findings.append(
            Finding(
                "no-free-duct",
                "warning",
                f"the bank of duct {duct.id} from {one} to {other} has no free duct by its own record",
                duct.where,
                "make sure that a duct is free, or name a vault on another way in feeder",
            )
        )
    return Leg(duct, duct.start_vault == one)
