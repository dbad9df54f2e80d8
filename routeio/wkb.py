"""Well-known binary of plain lines straight to arrays: a tenth of what it costs to make a geometry of each.

A record is a byte for the byte order, four for the type, four for the count of what follows (OGC 06-103r4, section 8). What is not a
little-endian line, or the only line of a multi-line, with as many coordinates as its length says, is left to the library.
"""

from __future__ import annotations

import numpy as np

from routeio.layer_facts import PlainLines

#: Type of a line and of a multi-line, each with the numbers that one coordinate has; with z by the standard and by
#: the older flag.
_TYPES = ((2, 5, 2), (1002, 1005, 3), (0x80000002, 0x80000005, 3))
#: The library's numbers of the two kinds.
_LINE, _MULTI = 1, 5
#: Bytes before the coordinates.
_HEADER = {_LINE: 9, _MULTI: 18}
#: By the numbers of a coordinate: what it is copied as, and its bytes. A coordinate at a time takes half as long as a number at a
#: time, and x and y are one complex number to the library of arrays.
_ITEMS: dict[int, tuple[np.dtype[np.generic], int]] = {
    2: (np.dtype("<c16"), 16),
    3: (np.dtype((np.void, 24)), 24),
}
#: Records decoded at a time: as many as stay in the processor's cache.
_BLOCK = 4_096


class LineDecoder:
    """Decodes records some at a time, into one array of coordinates for all.

    Parameters
    ----------
    room : int, optional
        How many coordinates to expect at most. What is not needed of it is never touched, and takes no memory; beyond it, what is there
        has to be copied.
    """

    def __init__(self, room: int = 0) -> None:
        self._coordinates = np.empty((room, 3))
        self._used = 0
        self._kinds: list[np.ndarray] = [np.zeros(0, np.int8)]
        self._sizes: list[np.ndarray] = [np.zeros(0, np.int64)]

    def add(self, offsets: np.ndarray, data: np.ndarray, there: np.ndarray | None) -> np.ndarray:
        """Decode the records that are plain lines.

        Parameters
        ----------
        offsets : ndarray of int, shape (n + 1,)
            Where each record begins in the bytes, and where the last ends.
        data : ndarray of uint8
            The bytes.
        there : ndarray of bool, shape (n,), or None
            Which records there are, None for all.

        Returns
        -------
        ndarray of int, shape (n,)
            The library's number of each record's type; -1 for those that are left to the library.
        """
        alike = there is None and _alike(offsets, data)
        if alike:
            kind, width, size = (
                np.repeat(some, offsets.size - 1) for some in _kinds(offsets[:2], data, None)
            )
        else:
            kind, width, size = _kinds(offsets, data, there)
        self._kinds.append(kind)
        self._sizes.append(size)
        used = self._used
        self._used += int(size.sum())
        if self._used > len(self._coordinates):
            more = np.empty((max(self._used, 2 * len(self._coordinates)), 3))
            more[:used] = self._coordinates[:used]
            self._coordinates = more
        if alike:
            start = int(offsets[0]) + _HEADER[int(kind[0])]
            every = int(offsets[1] - offsets[0])
            _copy(data, start, every, kind.size, int(size[0]), int(width[0]), self._coordinates, used)
            return kind
        begin = offsets[:-1] + np.where(kind == _MULTI, _HEADER[_MULTI], _HEADER[_LINE])
        first = used + np.cumsum(size) - size
        for k in range(0, size.size, _BLOCK):
            some = slice(k, k + _BLOCK)
            _decode(data, begin[some], width[some], size[some], self._coordinates, first[some])
        return kind

    def lines(self) -> PlainLines:
        """Return all lines so far."""
        return PlainLines(
            np.concatenate(self._kinds), np.concatenate(self._sizes), self._coordinates[: self._used]
        )


def _alike(offsets: np.ndarray, data: np.ndarray) -> bool:
    """Return whether all records are plain lines of as many vertices, so that looking at one is enough."""
    length = np.diff(offsets)
    if length.size < 2 or not (length == length[0]).all():
        return False
    kind = int(_kinds(offsets[:2], data, None)[0][0])
    if kind < 0:
        return False
    # whatever comes before the coordinates, in words of eight bytes that overlap
    for at in (0, 1) if kind == _LINE else (0, 8, 10):
        words = np.ndarray((length.size,), "<u8", data, int(offsets[0]) + at, (int(length[0]),))
        if not (words == words[0]).all():
            return False
    return True


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


def _copy(
    data: np.ndarray, start: int, every: int, lines: int, count: int, numbers: int, to: np.ndarray, first: int
) -> None:
    """Copy the coordinates of lines of one size that stand one behind another."""
    item, letters = _ITEMS[numbers]
    for k in range(0, lines, _BLOCK):
        shape = (min(_BLOCK, lines - k), count)
        at = first + k * count
        given = np.ndarray(shape, item, data, start + k * every, (every, letters))
        np.ndarray(shape, item, to, 24 * at, (24 * count, 24))[:] = given
        if numbers == 2:
            to[at : at + shape[0] * count, 2] = np.nan


def _decode(
    data: np.ndarray,
    begin: np.ndarray,
    width: np.ndarray,
    size: np.ndarray,
    to: np.ndarray,
    first: np.ndarray,
) -> None:
    """Copy the coordinates of some records, those of as many vertices and dimensions together."""
    rows = np.flatnonzero(size)
    if not rows.size:
        return
    flat = bool((width[rows] == 2).all())
    if flat:
        to[first[rows[0]] : first[rows[-1]] + size[rows[-1]], 2] = np.nan
    like = 4 * size[rows] + width[rows]
    for each in np.unique(like).tolist():
        count, numbers = divmod(each, 4)
        some = rows[like == each]
        source, target = begin[some], first[some]
        item, letters = _ITEMS[numbers]
        # a line at every byte, and a line at every row
        given = np.ndarray((data.size - letters * count + 1, count), item, data, 0, (1, letters))[source]
        np.ndarray((len(to) - count + 1, count), item, to, 0, (24, 24))[target] = given
        if numbers == 2 and not flat:
            np.ndarray((len(to) - count + 1, count), float, to, 16, (24, 24))[target] = np.nan
