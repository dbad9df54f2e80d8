"""The lines of a hand calculation, broken where one is longer than the page is wide."""

from __future__ import annotations

import os
import re
import sys
import textwrap
from collections.abc import Iterable, Iterator

WIDTH = 110
"""Of a page that is told no width. [characters]"""
_NARROWEST = 60
KEPT = "\u00a0"
"""A space at which no line is broken."""
_LIST = re.compile(r"(?<=[,;]) (?=(?:[A-Za-z][\w' ]{0,5}|1/R) = )")
_SHORT = 12  # characters; of a name that no line is broken behind
_LEAD = re.compile(r" *(?:[a-z]+ {2,})?")  # the indent of a line, with the word in its margin


def terminal_width() -> int:
    """Return how wide a page may be on this terminal, also where it goes through a pager.

    Returns
    -------
    int
        What COLUMNS says, else the terminal of output, messages or input, whichever there is; :data:`WIDTH` at most,
        and without any. [characters]
    """
    told = os.environ.get("COLUMNS", "")
    if told.isdecimal() and int(told) > 0:
        return min(WIDTH, int(told))
    for stream in (sys.__stdout__, sys.__stderr__, sys.__stdin__):
        try:
            columns = os.get_terminal_size(stream.fileno()).columns if stream else 0
        except (OSError, ValueError):  # no terminal, or closed
            continue
        if columns > 0:
            return min(WIDTH, columns)
    return WIDTH


def fitted(lines: Iterable[str], width: int = WIDTH) -> Iterator[str]:
    """Break long lines.

    Parameters
    ----------
    lines : iterable of str
        Each with its own indent.
    width : int, optional
        Of the page; at least 60 is taken.

    Yields
    ------
    str
        Broken before an equals sign where that will do, else between words; what follows is indented deeper.

    Examples
    --------
    >>> for line in fitted(["  p = q T / (R - D/2) = 0.6367458 x 7216.835 / (12.50071 - 0.209) = 373.8527 lbf/ft"], 60):
    ...     print(line)
      p = q T / (R - D/2)
        = 0.6367458 x 7216.835 / (12.50071 - 0.209)
        = 373.8527 lbf/ft
    """
    room = max(width, _NARROWEST)
    for line in lines:
        text = line.rstrip()
        if len(text) <= room:
            yield text.replace(KEPT, " ")
            continue
        lead = _LEAD.match(text)
        indent = lead.group() if lead else ""
        body, deeper = text[len(indent) :], " " * (len(indent) + 2)
        parts = body.split(" = ")
        if _LIST.search(body):  # several equations: each stays whole
            widest = room - len(indent) - 4
            parts = [
                " ".join(one if len(one) > widest else one.replace(" ", KEPT) for one in _LIST.split(body))
            ]
        elif body.endswith((".", ":")) or (len(parts) == 2 and len(parts[0]) < _SHORT):
            parts = [body]  # a sentence, or a letter that is said to be something
        current, started = indent + parts[0], False
        for part in parts[1:]:
            if len(current) + len(part) + 3 <= room:
                current = f"{current} = {part}"
                continue
            yield from _wrapped(current, indent if not started else deeper, room)
            current, started = f"{deeper}= {part}", True
        yield from _wrapped(current, indent if not started else deeper, room)


def _wrapped(text: str, indent: str, room: int) -> Iterator[str]:
    """Break a line between words."""
    for broken in textwrap.wrap(
        text[len(indent) :],
        room,
        initial_indent=indent,
        subsequent_indent=" " * (len(indent) + 2),
        break_long_words=False,
        break_on_hyphens=False,
    ):
        yield broken.replace(KEPT, " ")
