"""Well-known binary of plain lines straight to arrays: a third of what it costs to make a geometry of each.

A record is a byte for the byte order, four for the type, four for the count of what follows (OGC 06-103r4, section 8). What is not a
little-endian line, or the only line of a multi-line, with as many coordinates as its length says, is left to the library.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from routeio.layer_facts import PlainLines

#: Type of a line and of a multi-line, each with the numbers that one coordinate has; with z by the standard and by
#: the older flag.
_TYPES = ((2, 5, 2), (1002, 1005, 3), (0x80000002, 0x80000005, 3))
#: The library's numbers of the two kinds.
_LINE, _MULTI = 1, 5
#: Bytes before the coordinates.
_HEADER = {_LINE: 9, _MULTI: 18}
#: Records decoded at a time: as many as stay in the processor's cache.
_BLOCK = 4_096


def plain_lines(chunks: Sequence[tuple[np.ndarray, np.ndarray, np.ndarray | None]]) -> PlainLines:
    """Decode the records that are plain lines.

    Parameters
    ----------
    chunks : sequence of (ndarray of int, ndarray of uint8, ndarray of bool or None)
        Records one after another: where each begins in the bytes, and behind the last where it ends; the bytes; and
        which records there are, None for all.

    Returns
    -------
    PlainLines
        Those of all chunks.
    """
    looked = [_kinds(*chunk) for chunk in chunks]
    sizes = np.concatenate([np.zeros(0, np.int64), *(size for _, _, size in looked)])
    coordinates = np.empty((int(sizes.sum()), 3))
    at = 0
    for (offsets, data, _), (kind, width, size) in zip(chunks, looked, strict=True):
        for k in range(0, size.size, _BLOCK):
            some = slice(k, k + _BLOCK)
            last = at + int(size[some].sum())
            _decode(
                offsets[k : k + _BLOCK + 1], data, kind[some], width[some], size[some], coordinates[at:last]
            )
            at = last
    return PlainLines(
        np.concatenate([np.zeros(0, np.int8), *(kind for kind, _, _ in looked)]), sizes, coordinates
    )


def _kinds(
    offsets: np.ndarray, data: np.ndarray, there: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return kind (-1 where not plain), numbers of a coordinate and count of coordinates of each record."""
    n = offsets.size - 1
    kind, width, size = np.full(n, -1, np.int8), np.zeros(n, np.int8), np.zeros(n, np.int64)
    length = np.diff(offsets)
    for of, header in _HEADER.items():
        rows = np.flatnonzero((length >= header) & (kind < 0))
        if there is not None:
            rows = rows[there[rows]]
        if not rows.size:
            continue
        begin = offsets[rows]
        # a word at every byte
        words = np.ndarray((data.size - 3,), "<u4", data, 0, (1,))
        first, last = words[begin + 1], words[begin + header - 4].astype(np.int64)
        good = data[begin] == 1
        if of == _MULTI:
            inner = words[begin + 10]
            good &= (words[begin + 5] == 1) & (data[begin + 9] == 1)
        for line, multi, numbers in _TYPES:
            fits = good & (first == (line if of == _LINE else multi))
            if of == _MULTI:
                fits &= inner == line
            # a line of one vertex is none, and of none is empty
            fits &= (last >= 2) & (length[rows] == header + 8 * numbers * last)
            plain = rows[fits]
            kind[plain], width[plain], size[plain] = of, numbers, last[fits]
    return kind, width, size


def _decode(
    offsets: np.ndarray,
    data: np.ndarray,
    kind: np.ndarray,
    width: np.ndarray,
    size: np.ndarray,
    to: np.ndarray,
) -> None:
    """Copy the coordinates of those of some records that are plain."""
    data, offsets = data[offsets[0] : offsets[-1]], offsets - offsets[0]
    for numbers in (2, 3):
        rows = np.flatnonzero(width == numbers)
        if not rows.size:
            continue
        alone = rows.size == kind.size
        inside = np.ones(data.size, bool) if alone else np.repeat(width == numbers, np.diff(offsets))
        for of, header in _HEADER.items():
            begin = offsets[rows[kind[rows] == of]]
            inside[begin[:, None] + np.arange(header)] = False
        values = data[inside].view("<f8").reshape(-1, numbers)
        if (width[size > 0] == numbers).all():
            to[:, :numbers] = values
            to[:, numbers:] = np.nan
        else:
            places = np.repeat(width == numbers, size)
            to[places, :numbers] = values
            to[places, numbers:] = np.nan
