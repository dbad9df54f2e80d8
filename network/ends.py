"""Vaults at the loose ends of ducts: where a route without vaults begins and ends."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from network.graph import DuctNetwork, natural
from routeio.survey import Survey, Vault

# Ends nearer to each other than this are one place. [m]
_SAME = 0.01


def with_ends(survey: Survey) -> Survey:
    """Return a survey in which every duct ends at a vault: loose ends get one of their own.

    Parameters
    ----------
    survey : Survey
        As read.

    Returns
    -------
    Survey
        New vaults are named ``END-1``, ``END-2``, ... in the order of the ducts, and are of the kind ``end``; ends at
        one place share one.
    """
    taken = {v.tag for v in survey.vaults}
    new: list[Vault] = []
    ducts = []
    count = 0
    for duct in survey.ducts:
        tags = [duct.start_vault, duct.end_vault]
        for k, place in enumerate((duct.start, duct.end)):
            if tags[k] is not None:
                continue
            there = next((v for v in new if math.hypot(v.x - place[0], v.y - place[1]) <= _SAME), None)
            if there is None:
                count += 1
                while f"END-{count}" in taken:
                    count += 1
                z = place[2] if duct.elevated else None
                there = Vault(f"END-{count}", place[0], place[1], z, kind="end", where=duct.where)
                new.append(there)
            tags[k] = there.tag
        ducts.append(replace(duct, start_vault=tags[0], end_vault=tags[1]))
    return replace(survey, ducts=tuple(ducts), vaults=(*survey.vaults, *new))


def far_ends(survey: Survey) -> tuple[str, ...]:
    """Return the vaults at which just one duct ends.

    Parameters
    ----------
    survey : Survey
        With vaults at all ends.

    Returns
    -------
    tuple of str
        Tags; two of them where the ducts are one line.
    """
    graph = DuctNetwork.from_survey(survey).graph
    return tuple(sorted(_once(graph.degree()), key=natural))


def _once(degrees: Iterable[tuple[str, int]]) -> list[str]:
    return [tag for tag, degree in degrees if degree == 1]
