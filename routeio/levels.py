"""Levels: which rows of a profile table lie along which duct, and at which station of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from mechanics.errors import FloatArray
from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.options import Level, ProfileTable

#: A span and the stations of its vaults may differ by this much of the length, and by this much anyway, unsaid.
_DIFFERS, _DIFFERS_LEAST = 0.05, 2.0
#: A profile and a vault's invert may differ by this much, unsaid. [m]
AGREES = 0.15


@dataclass(frozen=True)
class _Stretch:
    """Where in a table a span lies: a run, and its two rows that name the vaults."""

    run: tuple[Level, ...]
    first: Level
    last: Level


@dataclass(frozen=True, eq=False)
class Along:
    """Elevations along one duct.

    Parameters
    ----------
    station : ndarray, shape (k,)
        From its start, in plan. [m]
    z : ndarray, shape (k,)
        [m]
    rows : int
        Of the table, between its ends.
    findings : tuple of Finding
        About the table and the duct.
    """

    station: FloatArray
    z: FloatArray
    rows: int
    findings: tuple[Finding, ...] = ()


class Stretches:
    """A profile table, ready to be asked for the elevations between two vaults.

    Parameters
    ----------
    table : ProfileTable
        As read.
    """

    def __init__(self, table: ProfileTable) -> None:
        self.table = table
        self._between: dict[frozenset[str], _Stretch] = {}
        self._again: list[tuple[str, str]] = []
        for run in table.runs:
            anchors = [level for level in run if level.vault]
            for one, other in pairwise(anchors):
                if one.vault == other.vault or not other.station > one.station:
                    continue
                pair = frozenset((one.vault, other.vault))
                if pair in self._between:
                    self._again.append((one.vault, other.vault))
                else:
                    self._between[pair] = _Stretch(run, one, other)

    def unfit(
        self, tags: Mapping[str, Where], spans: Sequence[tuple[str | None, str | None]]
    ) -> list[Finding]:
        """Return what of the table fits no duct.

        Parameters
        ----------
        tags : mapping of str to Where
            Of the vaults there are.
        spans : sequence of (str or None, str or None)
            Vaults at the ends of each duct.

        Returns
        -------
        list of Finding
            ``profile-no-vault``, ``profile-no-duct``, ``profile-repeated``.

        Raises
        ------
        InputRefusedError
            ``profile-no-duct``: nothing of it fits.
        """
        where = Where(file=self.table.name)
        there = {frozenset(ends) for ends in spans}
        found = [
            Finding(
                "profile-repeated", "warning",
                f"the profile goes from {one} to {other} a second time: the first is used", where,
                "leave out the one that does not hold; ducts beside each other share one profile",
            )
            for one, other in self._again
        ]  # fmt: skip
        unknown = sorted({v for pair in self._between for v in pair if v not in tags})
        if unknown:
            found.append(
                Finding(
                    "profile-no-vault", "warning",
                    f"the profile names {len(unknown)} vaults that are not there: {', '.join(unknown[:6])}", where,
                    f"correct the tags; there are {', '.join(sorted(tags)[:8])}",
                )
            )  # fmt: skip
        lost = [s for pair, s in self._between.items() if pair <= set(tags) and pair not in there]
        found += [
            Finding(
                "profile-no-duct", "warning",
                f"the profile goes from {s.first.vault} to {s.last.vault}, and no duct does: not used", where,
                "name every vault on the way, in the order in which the ducts meet them",
            )
            for s in lost
        ]  # fmt: skip
        if not any(pair in there for pair in self._between):
            raise InputRefusedError(
                "profile-no-duct", "no stretch of the profile from vault to vault is one of a duct", where,
                "name every vault on the way by its tag, in the order in which the ducts meet them", tuple(found),
            )  # fmt: skip
        return found

    def along(
        self, start: str | None, end: str | None, length: float, gaps: tuple[float, float], where: Where
    ) -> Along | Finding | None:
        """Return the elevations along one duct.

        Parameters
        ----------
        start, end : str or None
            Tags of its vaults.
        length : float
            In plan. [m]
        gaps : tuple of 2 floats
            From the middle of each vault to the duct's mouth: stations are told from middle to middle. [m]
        where : Where
            Of the line.

        Returns
        -------
        Along, Finding or None
            None where the table says nothing of it; a finding, ``profile-short``, where it says too little.
        """
        stretch = (
            self._between.get(frozenset((start, end))) if start is not None and end is not None else None
        )
        if stretch is None:
            return None
        forward = stretch.first.vault == start
        before, after = gaps if forward else gaps[::-1]
        known = {
            level.station: level.elevation for level in stretch.run if level.elevation == level.elevation
        }
        stations, levels = np.array(list(known)), np.array(list(known.values()))
        low, high = stretch.first.station, stretch.last.station
        scale = (length + before + after) / (high - low)
        ends = low + before / scale, high - after / scale
        if len(known) < 2 or not (stations[0] <= ends[0] and stations[-1] >= ends[1]):
            return Finding(
                "profile-short", "warning",
                f"the profile has no elevations all the way from {stretch.first.vault} to {stretch.last.vault}: not "
                "used there", where, "give the elevation at both vaults",
            )  # fmt: skip
        inner = stations[(stations > ends[0] + 1e-6) & (stations < ends[1] - 1e-6)]
        at = np.concatenate(([ends[0]], inner, [ends[1]]))
        z = np.interp(at, stations, levels)
        station = np.clip((at - ends[0]) * scale, 0.0, length)
        station[-1] = length
        if not forward:
            station, z = length - station[::-1], z[::-1]
        return Along(
            station, z, int(inner.size), self._length_differs(stretch, length + before + after, where)
        )

    def _length_differs(self, stretch: _Stretch, length: float, where: Where) -> tuple[Finding, ...]:
        stated = stretch.last.station - stretch.first.station
        if abs(stated - length) <= max(_DIFFERS * length, _DIFFERS_LEAST):
            return ()
        return (
            Finding(
                "profile-length-differs", "warning",
                f"{stretch.first.vault} and {stretch.last.vault} are {span_text(stated)} apart by their stations and "
                f"{span_text(length)} by the drawing: the stations between are stretched to fit", where,
                "check the stations, their unit, and which duct they are of",
            ),
        )  # fmt: skip
