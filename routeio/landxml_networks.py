"""Networks of LandXML: structures as vaults, and straight pipes between them as ducts."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import shapely
from lxml import etree

from routeio.findings import Finding, InputRefusedError, Where
from routeio.ground import check_in_reach
from routeio.guess import layers_like
from routeio.landxml_tree import east_north, name_of, named, numbers
from routeio.rawlines import RawLine, RawVault
from routeio.survey import DuctFields

#: Inverts within this in the unit of the file are one. [-]
_ONE_LEVEL = 0.1
#: An outline narrower or wider than this is no vault's. [m]
_NARROWEST, _WIDEST = 0.3, 15.0


def network_of(element: etree._Element) -> str:
    """Return the name of the network or group that something stands in.

    Parameters
    ----------
    element : lxml element
        Such as ``Struct``.

    Returns
    -------
    str
        The network's name, else the name of the group below the root.
    """
    above = [element, *element.iterancestors()]
    for a in above:
        if name_of(a) == "PipeNetwork" and a.get("name"):
            return f"network {' '.join(str(a.get('name')).split())}"
    return name_of(above[-2]) if len(above) > 1 else name_of(above[-1])


def can_be_ducts(
    courses: Mapping[str, int], layers: Mapping[str, Counter[str]], *, told: bool
) -> dict[str, int]:
    """Return what may be ducts: alignments with a course, and networks with pipes.

    Parameters
    ----------
    courses : mapping of str to int
        Alignments with a course.
    layers : mapping of str to Counter
        What is on each layer.
    told : bool
        Whether the user names layers.

    Returns
    -------
    dict of str to int
        Not told, networks are among them only where their name says ducts or there is no alignment: most are drains.
    """
    pipes = {name: kinds["Pipe"] for name, kinds in layers.items() if kinds["Pipe"]}
    if courses and not told:
        named_so = {guess.name for guess in layers_like("ducts", pipes, by_elimination=False)}
        pipes = {name: count for name, count in pipes.items() if name in named_so}
    return {**courses, **pipes}


def structures(
    root: etree._Element, networks: tuple[str, ...], piped: tuple[str, ...], metres: float, where: Where
) -> tuple[list[RawVault], int]:
    """Return the structures of some networks as marks of vaults.

    A structure has an invert for each of its pipes. Where these are read as ducts they have their own, and a structure
    whose inverts differ has none for all.

    Parameters
    ----------
    root : lxml element
        ``LandXML``.
    networks : tuple of str
        Their layers.
    piped : tuple of str
        Those whose pipes are read as ducts.
    metres : float
        In one unit of the file. [m]
    where : Where
        The file.

    Returns
    -------
    marks : list of RawVault
        With the lowest of their inverts, their rim, and the circle that fits into them as an outline.
    count : int
        Structures read.

    Raises
    ------
    InputRefusedError
        ``element-unreadable``, ``bad-number``.
    """
    marks: list[RawVault] = []
    for element in _all(root, "Struct", networks):
        tag = _words(element.get("name"))
        place = replace(where, layer=network_of(element), id=f"Struct {len(marks) + 1}")
        written = numbers(next((c.text for c in named(element, "Center")), None))
        if written.size not in (2, 3):
            raise InputRefusedError(
                "element-unreadable", f"the structure {tag!r} has no Center of northing and easting", place,
                "export the network again",
            )  # fmt: skip
        x, y, _ = (east_north(written) * metres).tolist()
        check_in_reach(np.array([x, y]), 1.0, place)
        inverts = [v for i in named(element, "Invert") for v in numbers(i.get("elev")).tolist()]
        fields = {"name": tag, "kind": element.get("desc") or "", "rim": element.get("elevRim") or ""}
        own = network_of(element) in piped
        if inverts and not (own and max(inverts) - min(inverts) > _ONE_LEVEL):
            fields["invert"] = repr(min(inverts))
        wide = _width(root, element, metres)
        outline = shapely.Point(x, y).buffer(0.5 * wide) if _NARROWEST < wide < _WIDEST else None
        kept = {key: text for key, text in fields.items() if text}
        marks.append(RawVault(tag, x, y, np.nan, outline, kept, replace(place, x=x, y=y)))
    return marks, len(marks)


def pipes(
    root: etree._Element, networks: tuple[str, ...], scales: tuple[float, float], where: Where
) -> tuple[list[RawLine], Counter[str], list[Finding]]:
    """Return the straight pipes of some networks as lines between the structures they name.

    Parameters
    ----------
    root : lxml element
        ``LandXML``.
    networks : tuple of str
        Their layers.
    scales : tuple of (float, float)
        Metres in one unit, in plan and in elevation. [m]
    where : Where
        The file.

    Returns
    -------
    lines : list of RawLine
        With the elevations of the inverts at both ends, where the structures state them for that pipe.
    counts : Counter
        ``read Pipe`` and ``skipped Pipe``.
    findings : list of Finding
        ``entity-skipped`` for pipes that are not straight, or name no structure with a place.
    """
    lines: list[RawLine] = []
    counts: Counter[str] = Counter()
    skipped: dict[str, list[str]] = {}
    ends = {_words(s.get("name")): s for s in _all(root, "Struct", None)}
    for number, pipe in enumerate(_all(root, "Pipe", networks), 1):
        tag = _words(pipe.get("name")) or f"Pipe {number}"
        both = [ends.get(_words(pipe.get(key))) for key in ("refStart", "refEnd")]
        places = [None if s is None else _centre(s, scales[0]) for s in both]
        if next(named(pipe, "Center"), None) is not None:
            skipped.setdefault("it is curved about a centre, and only straight ones are read", []).append(tag)
        elif any(p is None for p in places) or both[0] is both[1]:
            skipped.setdefault("it does not run between two structures with a place", []).append(tag)
        else:
            levels = [math.nan if s is None else _invert(s, tag, scales[1]) for s in both]
            points = np.array([[*(p or ()), z] for p, z in zip(places, levels, strict=True)])
            place = replace(where, layer=network_of(pipe), id=tag)
            check_in_reach(points[:, :2], 1.0, place)
            place = replace(place, x=float(points[0, 0]), y=float(points[0, 1]))
            fields = _fields(pipe, scales[0])
            lines.append(RawLine(points, np.zeros(1), (tag,), True, fields, place))
            counts["read Pipe"] += 1
    counts["skipped Pipe"] += sum(map(len, skipped.values()))
    return lines, counts, [
        Finding(
            "entity-skipped", "warning", f"{len(tags)} Pipe not read: {reason} ({', '.join(tags[:5])})",
            replace(where, id=tags[0]), "draw an alignment for it if it is part of the route",
        )
        for reason, tags in skipped.items()
    ]  # fmt: skip


def _all(root: etree._Element, kind: str, networks: tuple[str, ...] | None) -> Iterator[etree._Element]:
    for element in root.iter():
        if name_of(element) == kind and (networks is None or network_of(element) in networks):
            yield element


def _words(text: str | None) -> str:
    return " ".join((text or "").split())


def _centre(struct: etree._Element, metres: float) -> tuple[float, float] | None:
    written = numbers(next((c.text for c in named(struct, "Center")), None))
    if written.size not in (2, 3) or not np.isfinite(written).all():
        return None
    x, y, _ = (east_north(written) * metres).tolist()
    return x, y


def _invert(struct: etree._Element, pipe: str, metres: float) -> float:
    """Return the elevation of a pipe's invert at a structure; NaN where that does not say. [m]"""
    for invert in named(struct, "Invert"):
        level = numbers(invert.get("elev"))
        if _words(invert.get("refPipe")) == pipe and level.size == 1:
            return float(level[0]) * metres
    return math.nan


def _width(root: etree._Element, struct: etree._Element, metres: float) -> float:
    """Return how wide a structure is, its narrower side where it has two: that holds whichever way it lies. [m]"""
    for shape in named(struct, "CircStruct", "RectStruct"):
        keys = ("diameter",) if name_of(shape) == "CircStruct" else ("length", "width")
        sizes = [numbers(shape.get(key)) for key in keys]
        if all(size.size == 1 for size in sizes):
            return min(float(size[0]) * _of(root, key, metres) for key, size in zip(keys, sizes, strict=True))
    return 0.0


def _of(root: etree._Element, key: str, metres: float) -> float:
    """Return the metres in the unit of diameters or widths, which may be another than that of lengths."""
    for units in named(root, "Units"):
        for system in named(units, "Metric", "Imperial"):
            word = (system.get(f"{key}Unit") or "").strip().lower()
            return {
                "millimeter": 0.001,
                "centimeter": 0.01,
                "meter": 1.0,
                "inch": 0.0254,
                "foot": 0.3048,
            }.get(word, metres)
    return metres


def _fields(pipe: etree._Element, metres: float) -> DuctFields:
    """Return what a pipe says of itself: its inside diameter where it is round, and its length."""
    root = pipe.getroottree().getroot()
    length = numbers(pipe.get("length"))
    round_ = next(named(pipe, "CircPipe"), None)
    bore = numbers(None if round_ is None else round_.get("diameter"))
    inside = float(bore[0]) * _of(root, "diameter", metres) if bore.size == 1 else 0.0
    return DuctFields(
        inside_diameter=inside if 0.0 < inside < 5.0 else None,
        recorded_length=float(length[0]) * metres if length.size == 1 and 0.0 < length[0] < 1e9 else None,
    )
