"""The lines of a hand calculation, broken where one is longer than the page is wide."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator

WIDTH = 110
"""Of a page that is told no width. [characters]"""
_NARROWEST = 60
_LEAD = re.compile(r" *(?:[a-z]+ {2,})?")  # the indent of a line, with the word in its margin


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
            yield text
            continue
        lead = _LEAD.match(text)
        indent = lead.group() if lead else ""
        # a sentence is no equation, whatever it quotes
        parts = [text[len(indent) :]] if text.endswith((".", ":")) else text[len(indent) :].split(" = ")
        deeper = " " * (len(indent) + 2)
        for k, part in enumerate(parts):
            yield from textwrap.wrap(
                part if k == 0 else "= " + part,
                room,
                initial_indent=indent if k == 0 else deeper,
                subsequent_indent=deeper + ("  " if k else ""),
                break_long_words=False,
                break_on_hyphens=False,
            )
