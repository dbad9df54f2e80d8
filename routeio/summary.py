"""The summary of a survey: what a person wants to know of a file at a glance."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from routeio.findings import Finding, Severity
from routeio.survey import Survey

#: A radius below this is written with more digits, or it would read as none. [m]
SMALL = 0.1
_ORDER: tuple[Severity, ...] = ("error", "warning", "info")


@dataclass(frozen=True)
class Kind:
    """All findings of one code.

    Parameters
    ----------
    code : str
        Of the findings.
    severity : {"info", "warning", "error"}
        The worst of them.
    count : int
        How many.
    first : Finding
        The first of the worst.
    """

    code: str
    severity: Severity
    count: int
    first: Finding


@dataclass(frozen=True)
class Summary:
    """A survey in figures. Lengths in metres, angles in radians.

    Parameters
    ----------
    file, unit : str
        Name and horizontal unit.
    crs, crs_of_file : str or None
        Of the survey; where it had to be projected, of the file.
    layers : mapping of str to mapping of str to int
        Kinds and counts, used or not.
    read, skipped : int
        Entities or features.
    ducts, loose : int
        All, and those with an end at no vault.
    length : float
        Of all ducts. [m]
    bends : int
        Segments that turn, in plan or in grade.
    total_turn : float
        Of them all, in plan, sign left out. [rad]
    least_radius : float or None
        Of the tightest bend in plan whose radius is drawn, fitted or stated; None without such bends. A corner without
        room for its sweep has a radius of next to nothing: see ``cramped``. [m]
    origins : mapping of str to int
        Segments drawn, fitted, swept, stated.
    elevated : int
        Ducts whose elevations are known.
    vaults, isolated, untagged : int
        All, those no duct meets, and those without a tag of their own.
    extents : tuple of 4 floats or None
        Least and greatest x and y. [m]
    kinds : tuple of Kind
        Findings by code, errors first, then by number.
    """

    file: str
    unit: str
    crs: str | None
    crs_of_file: str | None
    layers: Mapping[str, Mapping[str, int]]
    read: int
    skipped: int
    ducts: int
    loose: int
    length: float
    bends: int
    total_turn: float
    least_radius: float | None
    origins: Mapping[str, int]
    elevated: int
    vaults: int
    isolated: int
    untagged: int
    extents: tuple[float, float, float, float] | None
    kinds: tuple[Kind, ...]

    def count(self, severity: Severity) -> int:
        """Return how many findings are of kinds of this severity.

        Parameters
        ----------
        severity : {"info", "warning", "error"}
            As in the kinds.

        Returns
        -------
        int
            How many.
        """
        return sum(kind.count for kind in self.kinds if kind.severity == severity)

    @property
    def cramped(self) -> int:
        """Corners whose legs leave no room for their sweep: their bends are as small as the legs make them."""
        return sum(kind.count for kind in self.kinds if kind.code == "no-room-for-sweep")


def summarise(survey: Survey) -> Summary:
    """Return a survey in figures.

    Parameters
    ----------
    survey : Survey
        Any.

    Returns
    -------
    Summary
        For :command:`inspect`.
    """
    met = {tag for d in survey.ducts for tag in (d.start_vault, d.end_vault) if tag is not None}
    bends, turned, tightest = 0, 0.0, np.inf
    origins: Counter[str] = Counter()
    # corners swept for want of a stated radius have none to speak of
    forgiven = any(f.code == "sharp-corner" for f in survey.findings)
    for duct in survey.ducts:
        chain = duct.chain
        flat_turn = np.abs(chain.turn)
        bends += int(((flat_turn > 0.0) | (chain.grade_in != chain.grade_out)).sum())
        turned += float(flat_turn.sum())
        stated = np.array([not forgiven or o.how != "swept" for o in duct.origins], dtype=bool)
        curved = (flat_turn > 0.0) & stated
        if curved.any():
            level = chain.length[curved] * np.cos(0.5 * (chain.grade_in + chain.grade_out)[curved])
            tightest = min(tightest, float((level / flat_turn[curved]).min()))
        origins.update(o.how for o in duct.origins)
    return Summary(
        file=survey.file,
        unit=survey.ground.unit,
        crs=survey.ground.crs,
        crs_of_file=survey.ground.crs_of_file,
        layers=survey.layers,
        read=_counted(survey, "read "),
        skipped=_counted(survey, "skipped "),
        ducts=len(survey.ducts),
        loose=sum(d.start_vault is None or d.end_vault is None for d in survey.ducts),
        length=sum(d.chain.total_length for d in survey.ducts),
        bends=bends,
        total_turn=turned,
        least_radius=None if np.isinf(tightest) else tightest,
        origins=dict(origins),
        elevated=sum(d.elevated for d in survey.ducts),
        vaults=len(survey.vaults),
        isolated=sum(v.tag not in met for v in survey.vaults),
        untagged=sum(v.tag.startswith("V@") for v in survey.vaults),
        extents=_extents(survey),
        kinds=findings_by_kind(survey.findings),
    )


def findings_by_kind(findings: tuple[Finding, ...]) -> tuple[Kind, ...]:
    """Return findings gathered by code, errors first, then the most frequent.

    Parameters
    ----------
    findings : tuple of Finding
        Any.

    Returns
    -------
    tuple of Kind
        One a code.
    """
    by_code: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        by_code[finding.code].append(finding)
    kinds = []
    for code, found in by_code.items():
        worst = min(found, key=lambda f: _ORDER.index(f.severity))
        kinds.append(Kind(code, worst.severity, len(found), worst))
    return tuple(sorted(kinds, key=lambda k: (_ORDER.index(k.severity), -k.count)))


def _counted(survey: Survey, what: str) -> int:
    return sum(
        n for kind, n in survey.counts.items() if kind.startswith(what) and "inside blocks" not in kind
    )


def _extents(survey: Survey) -> tuple[float, float, float, float] | None:
    points = [d.vertices[:, :2] for d in survey.ducts if d.vertices.size]
    points += [np.array([[v.x, v.y]]) for v in survey.vaults]
    if not points:
        return None
    every = np.vstack(points)
    low, high = every.min(axis=0), every.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
