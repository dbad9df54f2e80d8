"""Ducts cut at new vaults: the same survey with more vaults in it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mechanics.centreline import displacement
from mechanics.errors import in_range
from mechanics.pieces import cut
from routeio.survey import Duct, DuctPart, Survey, Vault


@dataclass(frozen=True)
class Place:
    """A place for a vault on a duct.

    Parameters
    ----------
    duct : str
        Id of the duct.
    station : float
        Along the duct as it is drawn, within its length. [m]
    x, y, z : float
        Of the centreline there. [m]
    preferred : bool
        Whether it lies where vaults can be reached.
    """

    duct: str
    station: float
    x: float
    y: float
    z: float
    preferred: bool = True


def with_vaults(survey: Survey, places: Sequence[tuple[Place, str]]) -> Survey:
    """Return a survey with vaults put on its ducts, which are cut there and meet in them face to face.

    Parameters
    ----------
    survey : Survey
        As read.
    places : sequence of (Place, str)
        Where, and the tag, which no vault of the survey has.

    Returns
    -------
    Survey
        The parts of a duct are named after it: ``D1``, cut once, gives ``D1/1`` and ``D1/2``.

    Raises
    ------
    DomainError
        A station that is not within its duct, or two at one place.
    """
    own: dict[str, list[tuple[Place, str]]] = {}
    for place, tag in places:
        own.setdefault(place.duct, []).append((place, tag))
    ducts: list[Duct] = []
    for duct in survey.ducts:
        there = sorted(own.get(duct.id, ()), key=lambda one: one[0].station)
        ducts += _parts(duct, [p.station for p, _ in there], [t for _, t in there]) if there else [duct]
    where = {d.id: d for d in survey.ducts}
    vaults = [
        Vault(t, p.x, p.y, p.z if where[p.duct].elevated else None, where=where[p.duct].where, proposed=True)
        for p, t in places
    ]
    return replace(survey, ducts=tuple(ducts), vaults=(*survey.vaults, *vaults))


def _parts(duct: Duct, stations: Sequence[float], tags: Sequence[str]) -> list[Duct]:
    chain = duct.chain
    total = chain.total_length
    in_range("station", stations, above=0.0, below=total)
    in_range("station", np.diff(stations), above=0.0)
    ends = chain.station
    segment = np.minimum(np.searchsorted(ends, stations, side="left"), len(chain) - 1)
    fraction = 1.0 - (ends[segment] - stations) / chain.length[segment]
    pieces, source = cut(chain, segment, np.clip(fraction, 0.0, 1.0))
    heading = duct.heading + np.concatenate(([0.0], np.cumsum(pieces.turn)))
    moved = np.cumsum(displacement(pieces, heading[:-1]), axis=0)
    if not duct.elevated:
        moved[:, 2] = 0.0
    at = np.array(duct.start) + np.vstack((np.zeros(3), moved))
    bounds = [0, *(int(np.argmin(np.abs(pieces.station - s))) + 1 for s in stations), len(pieces)]
    names = [duct.start_vault, *tags, duct.end_vault]
    parts = []
    for k, (first, last) in enumerate(itertools.pairwise(bounds)):
        length = float(pieces.length[first:last].sum())
        recorded = duct.fields.recorded_length
        parts.append(
            replace(
                duct,
                id=f"{duct.id}/{k + 1}",
                chain=pieces.part(first, last),
                start=tuple(at[first].tolist()),
                heading=float(heading[first]),
                end=tuple(at[last].tolist()) if last < len(pieces) else duct.end,
                start_vault=names[k],
                end_vault=names[k + 1],
                origins=tuple(duct.origins[i] for i in source[first:last].tolist()),
                fields=replace(duct.fields, recorded_length=None if recorded is None else recorded * length / total),
                # what was drawn stays with the first part
                vertices=duct.vertices if k == 0 else duct.vertices[:0],
                parts=_kept(duct.parts, source[first:last].tolist()),
            )
        )  # fmt: skip
    return parts


def _kept(parts: Sequence[DuctPart], source: list[int]) -> tuple[DuctPart, ...]:
    """Return the parts of other attributes that a stretch still has."""
    kept, stop = [], 0
    for part in parts:
        upto = sum(1 for s in source if s < part.stop)
        if upto > stop:
            kept.append(replace(part, stop=upto))
            stop = upto
    return tuple(kept)
