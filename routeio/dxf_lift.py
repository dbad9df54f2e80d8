"""Light polylines lifted straight from a drawing's text, many at once, and the rest of the text for the library.

A drawing of ducts is mostly light polylines, and the library takes fifty times as long to make an entity of each as it takes
to turn their numbers into arrays. Only what is plain beyond doubt is lifted: open polylines in model space, with nothing but vertices and
bulges behind a head of the usual codes. All else stays in the text, and with it the first polyline of every head and of every run of
polylines: it says what the library makes of such a head, and where among the other entities the run belongs.
"""

from __future__ import annotations

import io
import mmap
import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from mechanics.errors import FloatArray
from routeio.tangent import BoolArray, IntArray

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.entities import DXFEntity

#: A plain polyline to its first vertex: handle; owner, layer and look; flags and widths; elevation; thickness.
_HEAD = re.compile(
    rb" *0\r?\nLWPOLYLINE\r?\n *5\r?\n(?!0\r?\n)([\dA-Fa-f]{1,16})\r?\n"
    rb"((?: *330\r?\n[^\n]*\n)? *100\r?\nAcDbEntity\r?\n(?: *(?:6|8|48|62|370|390|420|430|440)\r?\n[^\n]*\n)*"
    rb" *100\r?\nAcDbPolyline\r?\n) *90\r?\n *\d{1,9}\r?\n"
    rb"((?: *(?:70\r?\n *(?:0|128)|43\r?\n *[-+.\deE]+)\r?\n)*)(?: *38\r?\n *([-+.\deE]{1,32})\r?\n)?"
    rb"((?: *39\r?\n *[-+.\deE]+\r?\n)?)(?= *10\r?\n)"
)
#: What vertices are written in, up to the first letter of the next entity's name.
_NUMBERS = re.compile(rb"[-+.\deE \r\n]*")
#: Words in whose place the section may end.
_END = re.compile(rb"\n[^\S\n]*(?:ENDSEC|SECTION|EOF)")
_SECTION = re.compile(rb"(?:\A|\n) *0\r?\n *SECTION\r?\n *2\r?\nENTITIES\r?\n")
#: Codes that vertices have: x, y, widths at start and end, bulge, number.
_VERTEX_CODES = (10, 20, 40, 41, 42, 91)
#: What is farther from the origin stays in the text, for the library and the checks behind it. [file units]
_FARTHEST = 1e9
#: Text decoded at a time. [bytes]
_BLOCK = 1 << 20


@dataclass(frozen=True, eq=False)
class Lifted:
    """Light polylines that are not in the library's drawing.

    Parameters
    ----------
    handles : tuple of str, length n
        Of each polyline.
    heads : ndarray of int, shape (n,)
        Which head each has.
    firsts : tuple of str, length h
        Of each head the handle of the polyline in the drawing that has the same.
    places : mapping of str to (int, int)
        Runs, each from its first polyline to behind its last, by the handle of the polyline in the drawing that they
        follow.
    sizes : ndarray of int, shape (n,)
        Vertices.
    points : ndarray, shape (v, 2)
        Of one polyline after another. [file units]
    bulge : ndarray, shape (v,)
        Behind each vertex, the last of a polyline included.
    elevation : ndarray, shape (n,)
        Of each polyline; NaN where its head's polyline says. [file units]
    """

    handles: tuple[str, ...]
    heads: IntArray
    firsts: tuple[str, ...]
    places: dict[str, tuple[int, int]]
    sizes: IntArray
    points: FloatArray
    bulge: FloatArray
    elevation: FloatArray

    def of_each_head(self) -> list[int]:
        """Return how many polylines have each head."""
        count: list[int] = np.bincount(self.heads, minlength=len(self.firsts)).tolist()
        return count

    def heads_in(self, drawing: Drawing) -> tuple[DXFEntity, ...] | None:
        """Return the polylines in the drawing that have the heads.

        Parameters
        ----------
        drawing : ezdxf.document.Drawing
            Read from the rest of the text.

        Returns
        -------
        tuple of DXFEntity, length h
            None where the drawing does not hold what it must for the polylines to be lifted: read it whole.
        """
        known = drawing.entitydb
        if len(set(self.handles)) < len(self.handles) or any(handle in known for handle in self.handles):
            return None
        wanted = {*self.firsts, *self.places}
        found: dict[str, DXFEntity] = {}
        for entity in drawing.modelspace():
            if entity.dxftype() == "LWPOLYLINE" and (handle := str(entity.dxf.get("handle"))) in wanted:
                if handle in found:
                    return None
                found[handle] = entity
        if len(found) < len(wanted):
            return None
        heads = tuple(found[handle] for handle in self.firsts)
        return heads if all(map(_is_plain, heads)) else None


def _is_plain(entity: DXFEntity) -> bool:
    dxf = entity.dxf
    return not (dxf.hasattr("extrusion") or int(dxf.get("flags", 0)) & 1)


@dataclass
class _Found:
    """Polylines with a head as it should be, in the order of the text."""

    starts: list[int] = field(default_factory=list)
    tails: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    handles: list[bytes] = field(default_factory=list)
    heads: list[int] = field(default_factory=list)
    elevations: list[float] = field(default_factory=list)
    known: dict[tuple[bytes, ...], int] = field(default_factory=dict)


def lifted(text: mmap.mmap | bytes) -> tuple[Lifted, list[tuple[int, int]]] | None:
    """Lift light polylines.

    Parameters
    ----------
    text : mmap or bytes
        A drawing saved as text, in an encoding that has ASCII in it.

    Returns
    -------
    tuple of Lifted and list of (int, int), or None
        The polylines, and the parts of the text that hold all else; None where there is nothing to lift, or it is not clear
        what the sections are.
    """
    bounds = _bounds(text)
    if bounds is None:
        return None
    found = _found(text, *bounds)
    good, sizes, points, bulge = _decoded(text, found)
    taken = np.zeros(good.size, dtype=bool)
    firsts: dict[int, str] = {}
    places: dict[str, tuple[int, int]] = {}
    count, last, run = 0, -1, ""
    for k in np.flatnonzero(good).tolist():
        head = found.heads[k]
        if found.starts[k] == last and head in firsts:
            taken[k] = True
            count += 1
            places[run] = places.get(run, (count - 1,))[0], count
        else:
            run = found.handles[k].decode("ascii")
            if run in places:
                return None
            firsts.setdefault(head, run)
        last = found.ends[k]
    if not count:
        return None
    of_good = taken[good]
    vertices = np.repeat(of_good, sizes)
    used = list(firsts)
    number = np.zeros(len(found.known), dtype=np.int64)
    number[used] = np.arange(len(used))
    rows = np.flatnonzero(taken).tolist()
    kept, at = [], 0
    for k in rows:
        if found.starts[k] > at:
            kept.append((at, found.starts[k]))
        at = found.ends[k]
    kept.append((at, len(text)))
    return (
        Lifted(
            tuple(found.handles[k].decode("ascii") for k in rows),
            number[np.array(found.heads)[taken]],
            tuple(firsts.values()),
            places,
            sizes[of_good],
            points[vertices],
            bulge[vertices],
            np.array(found.elevations)[taken],
        ),
        kept,
    )


def _bounds(text: mmap.mmap | bytes) -> tuple[int, int] | None:
    """Return where the one section of entities begins, at a group code, and before what line it may end."""
    begin = text.find(b"\nENTITIES")
    section = _SECTION.search(text, max(0, begin - 40), begin + 16) if begin >= 0 else None
    if section is None or section.end() <= begin or text.find(b"\nEOF", 0, begin) >= 0:
        return None
    if _lines(text, 0, section.end()) % 2:
        return None
    end = _END.search(text, section.end())
    if end is None or text.find(b"\nENTITIES", end.end()) >= 0:
        return None
    return section.end(), end.start() + 1


def _lines(text: mmap.mmap | bytes, begin: int, end: int) -> int:
    return sum(text[k : min(k + _BLOCK, end)].count(b"\n") for k in range(begin, end, _BLOCK))


def _found(text: mmap.mmap | bytes, at: int, stop: int) -> _Found:
    found = _Found()
    known = found.known
    while True:
        head = _HEAD.match(text, at, stop)
        end = -1 if head is None else _end_of(text, head.end(), stop)
        if head is not None and end > 0:
            handle, look, flags, elevation, thickness = head.groups()
            try:
                height = float("nan") if elevation is None else float(elevation)
            except ValueError:
                end = -1
        if head is not None and end > 0:
            found.starts.append(at)
            found.tails.append(head.end())
            found.ends.append(end)
            found.handles.append(handle)
            key = (look, flags, thickness, b"" if elevation is None else b"38")
            found.heads.append(known.setdefault(key, len(known)))
            found.elevations.append(height)
            at = end
            continue
        # the next such entity, if what stands before it is whole pairs of lines
        name = text.find(b"\nLWPOLYLINE", at + 12, stop)
        if name < 0:
            return found
        code = text.rfind(b"\n", at, name) + 1
        if code == 0 or text[code:name].strip(b" \r") != b"0" or _lines(text, at, code) % 2:
            # not at a group code: nothing from here on can be trusted to be
            return found
        at = code


def _end_of(text: mmap.mmap | bytes, begin: int, stop: int) -> int:
    """Return where a polyline ends whose vertices begin here; -1 where something else follows them."""
    numbers = _NUMBERS.match(text, begin, stop)
    if numbers is None:
        return -1
    line = text.rfind(b"\n", begin, numbers.end())
    end = text.rfind(b"\n", begin, line) + 1
    return end if end > begin and text[end:line].strip(b" \r") == b"0" else -1


def _decoded(text: mmap.mmap | bytes, found: _Found) -> tuple[BoolArray, IntArray, FloatArray, FloatArray]:
    """Return which polylines are plain; of those the count of vertices, and the vertices and bulges of all."""
    good = np.zeros(len(found.starts), dtype=bool)
    sizes: list[IntArray] = [np.zeros(0, np.int64)]
    points: list[FloatArray] = [np.zeros((0, 2))]
    bulges: list[FloatArray] = [np.zeros(0)]
    for rows in _blocks(found):
        tails = [text[found.tails[k] : found.ends[k]].replace(b"\r", b"") for k in rows]
        fine, size, xy, bulge = _vertices(tails)
        heights = np.array([found.elevations[k] for k in rows])
        far = np.abs(heights) >= _FARTHEST
        if (far & fine).any():
            there = ~far[fine]
            every = np.repeat(there, size)
            size, xy, bulge = size[there], xy[every], bulge[every]
            fine &= ~far
        good[rows.start : rows.stop] = fine
        sizes.append(size)
        points.append(xy)
        bulges.append(bulge)
    return good, np.concatenate(sizes), np.concatenate(points), np.concatenate(bulges)


def _blocks(found: _Found) -> Iterator[range]:
    """Return polylines some at a time."""
    begin = held = 0
    for k, (tail, end) in enumerate(zip(found.tails, found.ends, strict=True)):
        held += end - tail
        if held >= _BLOCK:
            yield range(begin, k + 1)
            begin, held = k + 1, 0
    if begin < len(found.tails):
        yield range(begin, len(found.tails))


def _vertices(tails: Sequence[bytes]) -> tuple[BoolArray, IntArray, FloatArray, FloatArray]:
    """Decode the vertices of some polylines, the first line of each the code of the first.

    Returns which of them are plain; of those the count of vertices, and the vertices and bulges of all.
    """
    good = np.ones(len(tails), dtype=bool)
    nothing = ~good, np.zeros(0, np.int64), np.zeros((0, 2)), np.zeros(0)
    while good.any():
        rows = np.flatnonzero(good)
        some = tails if rows.size == good.size else [tails[k] for k in rows.tolist()]
        joined = b"".join(some)
        letters = np.frombuffer(joined, np.uint8)
        lines = np.flatnonzero(letters == 10)
        ends = np.searchsorted(lines, np.cumsum([len(tail) for tail in some]))
        count = np.diff(ends, prepend=0)
        if (count % 2).any():
            good[rows[count % 2 > 0]] = False
            continue
        owner = np.repeat(np.arange(rows.size), count // 2)
        code, bad = _codes(letters, lines)
        x, y = code == 10, code == 20
        bad |= x & ~np.append(y[1:], False)
        bad |= y & ~np.append(False, x[:-1])
        if not bad.any():
            numbers = _numbers(joined)
            if numbers.size != lines.size:
                return nothing  # one of them is no number, and the library is to say which
            value = numbers[1::2]
            bulge = np.zeros(int(x.sum()))
            of = np.cumsum(x) - 1
            bulge[of[code == 42]] = value[code == 42]
            xy = np.column_stack((value[x], value[y]))
            bad |= (code == 91) & ~(np.abs(value) < 2**31)
            strange = ~((np.abs(xy) < _FARTHEST).all(axis=1) & (np.abs(bulge) <= 1.0))
            bad[np.flatnonzero(x)[strange]] = True
            size = np.bincount(owner[x], minlength=rows.size)
            few = size < 2
            if not bad.any() and not few.any():
                return good, size, xy, bulge
            good[rows[few]] = False
        good[rows[np.unique(owner[bad])]] = False
    return nothing


def _numbers(text: bytes) -> FloatArray:
    """Return the numbers of a text; none where it holds anything else."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # older versions warn and stop there
            return np.fromstring(text, sep=" ")
    except (ValueError, DeprecationWarning):
        return np.zeros(0)


def _codes(letters: np.ndarray, lines: IntArray) -> tuple[np.ndarray, BoolArray]:
    """Return the code of each pair of lines, and which pairs are not written as they should be."""
    code_end, value_end = lines[0::2], lines[1::2]
    begin = np.concatenate(([0], value_end[:-1] + 1))
    # two digits, with a blank before them at most
    length = code_end - begin
    tens, ones = letters[code_end - 2] - 48, letters[code_end - 1] - 48
    bad = (length < 2) | (length > 3) | (tens > 9) | (ones > 9)
    bad |= (length == 3) & (letters[begin] != 32)
    code = tens * 10 + ones
    allowed = np.zeros(256, dtype=bool)
    allowed[list(_VERTEX_CODES)] = True
    bad |= ~allowed[code]
    last = letters[value_end - 1]
    bad |= ((last < 48) | (last > 57)) & (last != 46)
    return code, bad


class Rest(io.RawIOBase):
    """Parts of a text as a stream of bytes.

    Parameters
    ----------
    text : mmap or bytes
        All of it.
    kept : sequence of (int, int)
        Parts, in order.
    """

    def __init__(self, text: mmap.mmap | bytes, kept: Sequence[tuple[int, int]]) -> None:
        super().__init__()
        self._text = text
        self._parts = iter(kept)
        self._at, self._end = 0, 0

    def readable(self) -> bool:
        """Return True."""
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        """Fill a buffer as far as one part goes.

        Parameters
        ----------
        buffer : memoryview
            To be filled.

        Returns
        -------
        int
            Bytes put there, 0 at the end.
        """
        while self._at == self._end:
            part = next(self._parts, None)
            if part is None:
                return 0
            self._at, self._end = part
        some = self._text[self._at : min(self._end, self._at + len(buffer))]
        buffer[: len(some)] = some
        self._at += len(some)
        return len(some)
