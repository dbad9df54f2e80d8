"""Codes: what every finding and refusal means, one paragraph a code; ``docs/findings.md`` is made from here.

``python -m routeio.codes docs/findings.md`` writes it.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType

_TITLE = """# Findings and refusals

What is said about an input, by subject. A *finding* goes on record in the result and the work goes on; a
*refusal* stops it, with exit status 3. Each says what, where (file, layer, handle or feature id, coordinates) and how
to mend it. Some codes are one or the other, as the case is.

<!-- made by: python -m routeio.codes docs/findings.md -->
"""


@cache
def _rows() -> tuple[Mapping[str, str], ...]:
    text = resources.files("routeio").joinpath("data/findings.csv").read_text("utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def meanings() -> Mapping[str, str]:
    """Return what each code means.

    Returns
    -------
    mapping of str to str
        Code to a paragraph.

    Examples
    --------
    >>> meanings()["file-locked"]
    'Another program holds the GeoPackage. Close it and try again.'
    """
    return MappingProxyType({row["code"]: row["meaning"] for row in _rows()})


def as_markdown() -> str:
    """Return all codes as a page of documentation.

    Returns
    -------
    str
        Markdown, by subject.
    """
    subjects = dict.fromkeys(row["about"] for row in sorted(_rows(), key=lambda row: row["about"]))
    parts = [_TITLE]
    for subject in subjects:
        parts.append(f"## {subject.capitalize()}\n")
        parts += [f"### {row['code']}\n\n{row['meaning']}\n" for row in _rows() if row["about"] == subject]
    return "\n".join(parts)


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(as_markdown(), encoding="utf-8")
