"""Marks: raw vaults made one each: outlines joined to the marks inside them, doubles dropped, tags made unique."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely

from mechanics.errors import DomainError
from mechanics.units import quantity
from routeio.findings import Finding, Where, span_text
from routeio.rawlines import RawVault
from routeio.survey import Vault

#: Marks nearer than this stand on the same spot. [m]
SAME_SPOT = 1e-3
#: The two feet differ by less than this.
_SAME_FOOT = 1e-5
_YES = {"y", "yes", "true", "t", "1", "ok", "allowed"}
_NO = {"n", "no", "false", "f", "0", "none", "not allowed", "forbidden"}
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
#: Commas that part thousands beyond doubt: two of them, or one with a point behind it. ``1,234`` may be either.
_THOUSANDS = re.compile(r"(?<![\d.,])\d{1,3}(?:(?:,\d{3}){2,}(?:\.\d*)?|,\d{3}\.\d*)(?![\d,])")
#: A comma that may be a decimal one, or a dash that may be a sign.
_UNCLEAR = re.compile(r"\d\s?,\d|[^\W\d_]-\.?\d")


def settled(
    raw: Sequence[RawVault], metres_per_elevation: float
) -> tuple[tuple[Vault, ...], tuple[Finding, ...]]:
    """Make vaults of marks: one a vault, each with a tag of its own.

    Parameters
    ----------
    raw : sequence of RawVault
        As read.
    metres_per_elevation : float
        Of rim and invert as written. [m]

    Returns
    -------
    vaults : tuple of Vault
        Tags unique.
    findings : tuple of Finding
        What was joined, dropped, renamed or could not be read.
    """
    findings: list[Finding] = []
    marks = _outlines_joined(list(raw), findings)
    marks = _doubles_dropped(marks, findings)
    tags = _unique_tags(marks, findings)
    vaults = tuple(
        _vault(tag, mark, metres_per_elevation, findings) for tag, mark in zip(tags, marks, strict=True)
    )
    return vaults, tuple(findings)


def _outlines_joined(marks: list[RawVault], findings: list[Finding]) -> list[RawVault]:
    """Give a mark the outline it stands in, where that holds no other mark and has no tag, or the mark's own."""
    outlines = [
        i
        for i, m in enumerate(marks)
        if m.footprint is not None and (set(m.fields) <= {"name"} if m.tag else not m.fields)
    ]
    if not outlines:
        return marks
    points = shapely.points([(m.x, m.y) for m in marks])
    tree = shapely.STRtree(points)
    rings = np.array([marks[i].footprint for i in outlines], dtype=object)
    which, inside = tree.query(rings, predicate="intersects")
    held: dict[int, list[int]] = defaultdict(list)
    for k, mark in zip(which.tolist(), inside.tolist(), strict=True):
        if mark != outlines[k]:
            held[outlines[k]].append(mark)
    joined: dict[int, RawVault] = {}
    gone: set[int] = set()
    for ring, members in held.items():
        tagged = [m for m in members if marks[m].tag or marks[m].footprint is None]
        if len(tagged) != 1 or tagged[0] in joined or marks[ring].tag not in ("", marks[tagged[0]].tag):
            continue
        mark = marks[tagged[0]]
        joined[tagged[0]] = replace(mark, footprint=marks[ring].footprint)
        gone.add(ring)
        findings.append(
            Finding(
                "outline-joined",
                "info",
                f"the outline {marks[ring].where.id} is that of the vault {mark.tag or mark.where.id} inside it",
                mark.where,
                "none needed",
            )
        )
    return [joined.get(i, m) for i, m in enumerate(marks) if i not in gone]


def _doubles_dropped(marks: list[RawVault], findings: list[Finding]) -> list[RawVault]:
    """Drop marks on the same spot with the same tag; say where different vaults share a spot."""
    if len(marks) < 2:
        return marks
    points = shapely.points([(m.x, m.y) for m in marks])
    one, other = shapely.STRtree(points).query(points, predicate="dwithin", distance=SAME_SPOT)
    gone: set[int] = set()
    for i, j in sorted(zip(one[one < other].tolist(), other[one < other].tolist(), strict=True)):
        if i in gone or j in gone:
            continue
        a, b = marks[i], marks[j]
        if a.tag == b.tag or not a.tag or not b.tag:
            kept, left = (i, j) if a.tag or not b.tag else (j, i)
            gone.add(left)
            if marks[kept].footprint is None and marks[left].footprint is not None:
                marks[kept] = replace(marks[kept], footprint=marks[left].footprint)
            findings.append(
                Finding(
                    "duplicate-vault",
                    "warning",
                    f"a second mark of vault {marks[kept].tag or marks[kept].where.id} on the same spot is left out",
                    marks[left].where,
                    "delete one of the two",
                )
            )
        else:
            findings.append(
                Finding(
                    "vaults-coincide",
                    "error",
                    f"vaults {a.tag!r} and {b.tag!r} stand on the same spot, so no duct end can tell them apart",
                    b.where,
                    "move one, or delete it if they are the same vault",
                )
            )
    return [m for i, m in enumerate(marks) if i not in gone]


def _unique_tags(marks: Sequence[RawVault], findings: list[Finding]) -> list[str]:
    wanted = [m.tag.strip() or f"V@{m.where.id}" for m in marks]
    counts = Counter(wanted)
    tags = [f"{tag}@{m.where.id}" if counts[tag] > 1 else tag for tag, m in zip(wanted, marks, strict=True)]
    seen: Counter[str] = Counter()
    for i, (tag, mark) in enumerate(zip(tags, marks, strict=True)):
        seen[tag] += 1
        if seen[tag] > 1:  # the same id twice: several files, or several parts of one feature
            tags[i] = f"{tag}#{seen[tag]}"
        if counts[wanted[i]] > 1 and mark.tag.strip():
            findings.append(
                Finding(
                    "repeated-tag",
                    "warning",
                    f"{counts[wanted[i]]} vaults are tagged {wanted[i]!r}; this one is called {tags[i]!r} here",
                    mark.where,
                    "give each vault a tag of its own",
                )
            )
    bare = [m for m in marks if not m.tag.strip()]
    if bare:
        findings.append(
            Finding(
                "vault-untagged",
                "info",
                f"{len(bare)} vaults have no tag and are called V@ and their id, such as V@{bare[0].where.id}",
                bare[0].where,
                "state the field or attribute that holds the tag, if there is one",
            )
        )
    return tags


def _vault(tag: str, mark: RawVault, metres_per_elevation: float, findings: list[Finding]) -> Vault:
    levels = {name: _level(name, mark, metres_per_elevation, findings) for name in ("rim", "invert")}
    allowed = {name: _allowed(name, mark, findings) for name in ("splice", "feed", "pull")}
    rim, invert = levels["rim"], levels["invert"]
    if rim is not None and invert is not None and rim < invert:
        findings.append(
            Finding(
                "rim-below-invert",
                "warning",
                f"the rim of vault {tag} ({span_text(rim)}) is below its invert ({span_text(invert)})",
                mark.where,
                "check the two, and whether the invert is a depth",
            )
        )
    return Vault(
        tag=tag,
        x=mark.x,
        y=mark.y,
        z=invert,
        kind=mark.fields.get("kind", "").strip(),
        rim=rim,
        invert=invert,
        footprint=mark.footprint,
        splice=allowed["splice"],
        feed=allowed["feed"],
        pull=allowed["pull"],
        where=_at(mark),
        fields=dict(mark.fields),
    )


def _at(mark: RawVault) -> Where:
    return Where(mark.where.file, mark.where.layer, mark.where.id, mark.x, mark.y)


def _level(name: str, mark: RawVault, factor: float, findings: list[Finding]) -> float | None:
    """Read an elevation as written, which may have words and a foot mark about it."""
    text = _written(mark.fields, name)
    if not text:
        return None
    plain = _THOUSANDS.sub(lambda match: match[0].replace(",", ""), text)
    numbers = [] if _UNCLEAR.search(plain) else list(_NUMBER.finditer(plain))
    bare = float(numbers[0][0]) if len(numbers) == 1 else math.nan
    own = _stated(plain[numbers[0].start() :]) / factor if numbers else math.nan
    # where it is written with a unit, that holds; a foot mark means the file's own foot
    value = own if math.isfinite(own) and not abs(own - bare) <= _SAME_FOOT * abs(own) else bare
    if bare in {-9999.0, 9999.0, -999.0, 99999.0, -99999.0} or (name == "rim" and value == 0.0):
        findings.append(
            Finding(
                "level-dropped",
                "warning",
                f"{name} {text[:40]!r} of vault {mark.tag or mark.where.id} stands for no elevation: dropped",
                _at(mark),
                "write the elevation, or leave it blank",
            )
        )
        return None
    metres = value * factor
    if not -1000.0 < metres < 9000.0:
        findings.append(
            Finding(
                "field-unreadable",
                "warning",
                f"{name} {text[:40]!r} of vault {mark.tag or mark.where.id} is no elevation; taken as none",
                _at(mark),
                "write it as one number, with a point for its decimals",
            )
        )
        return None
    return metres


def _stated(text: str) -> float:
    """Return a length written with its unit, such as 12'-6", in metres; NaN where it is none."""
    try:
        return quantity(text, "length")
    except DomainError:
        return math.nan


def _allowed(name: str, mark: RawVault, findings: list[Finding]) -> bool:
    text = _written(mark.fields, name).lower()
    if not text or text in _YES:
        return True
    if text in _NO:
        return False
    findings.append(
        Finding(
            "field-unreadable",
            "warning",
            f"{name} {text[:40]!r} of vault {mark.tag or mark.where.id} is neither yes nor no; taken as yes",
            _at(mark),
            "write yes or no",
        )
    )
    return True


def _written(fields: Mapping[str, str], name: str) -> str:
    text = fields.get(name)
    return " ".join(text.split()) if text else ""
