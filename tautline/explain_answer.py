"""What a hand calculation comes to, before all else: does the pull pass, what governs it, where, and how much is left."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tautline.document import Document
from tautline.explain_checks import told
from tautline.explain_page import Page
from tautline.explain_reverse import other_verdict

_NEXT = 3  # checks named behind the one that governs
_FIGURES = 4
_REEL = "reel_length"  # room on a reel is no margin: it governs only where it fails


def answer_lines(page: Page) -> Iterator[str]:
    """Say what the calculation comes to.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        Lines of text: the verdict with the check that governs, what else is over its limit or near it, the other way.
    """
    pull = page.pull
    binding = [c for c in pull["checks"] if c["binding"]]
    failed = [c for c in binding if c["verdict"] == "fail"]
    governs = next((c for c in binding if c["name"] == pull["governs"]), None)
    over = f", {len(failed)} of {len(binding)} binding checks failed" if failed else ""
    yield f"  {pull['verdict'].upper()}{over}"
    if governs is not None:
        yield f"  governed by {_closely(page, governs)}"
        where = _where(page, governs)
        if where:
            yield f"    {where}"
    rest = [c for c in failed if c is not governs]
    if rest:
        yield "  failed too: " + "; ".join(_closely(page, c) for c in rest)
    near = sorted(
        (
            c
            for c in binding
            if c is not governs and c not in rest and c["utilisation"] is not None and c["name"] != _REEL
        ),
        key=lambda c: float(c["utilisation"]),
        reverse=True,
    )
    if near:
        yield "  next: " + ", ".join(f"{_name(c)} {percent(c)}" for c in near[:_NEXT])
    reel = next((c for c in binding if c["name"] == _REEL and c not in failed), None)
    if reel is not None and reel["utilisation"] is not None:
        yield f"  of the longest reel: {percent(reel)}"
    advice = [c for c in pull["checks"] if not c["binding"] and c["verdict"] != "pass"]
    if advice:
        yield "  advice to heed: " + "; ".join(_closely(page, c) for c in advice)
    other = pull["reverse"]
    if other:
        yield f"  the other way, {pull['pull']} -> {pull['feed']}: {other_verdict(other)}"
    yield ""


def percent(check: Document) -> str:
    """Return what is used of a limit, with as many digits as it takes not to look like all of it.

    Parameters
    ----------
    check : dict
        A check with a utilisation.

    Returns
    -------
    str
        In percent.

    Examples
    --------
    >>> percent({"utilisation": 0.7416}), percent({"utilisation": 1.00002})
    ('74.2 %', '100.002 %')
    """
    used = 100.0 * check["utilisation"]
    digits = 1
    while used != 100.0 and round(used, digits) == 100.0 and digits < 9:
        digits += 1
    return f"{used:.{digits}f} %"


def _name(check: Document) -> str:
    return str(check["name"]).replace("_", " ")


def _closely(page: Page, check: Document) -> str:
    """Say how near a check is to its limit."""
    value, limit = check["value"], check["limit"]
    used = "" if check["utilisation"] is None else f" ({percent(check)})"
    if value is None or limit is None:
        return f"{_name(check)}{used}"
    one, other = (told(page, check, number, _FIGURES) for number in (value, limit))
    if one == other and value != limit:  # not as if it were all of it
        one, other = told(page, check, value), told(page, check, limit)
    return f"{_name(check)}, {one} against a limit of {other}{used}"


def _where(page: Page, check: Document) -> str:
    """Say where a check stands: the segment, and the vaults it lies between."""
    where, station = check["station_m"], page.pull["profile"]["station_m"]
    if where is None or not page.pieces:
        return ""
    k = min(range(len(station)), key=lambda j: abs(station[j] - where))
    # the greatest tension or pressure stands at the end of a segment, all else at the start
    behind = check["name"].endswith(("tension", "sidewall"))
    i = min(max(k - 1 if behind else k, 0), len(page.pieces) - 1)
    piece = page.pieces[i]
    ends = [(0.0, page.pull["feed"]), *((p["station_m"], p["tag"]) for p in page.pull["passes"])]
    ends.append((station[-1], page.pull["pull"]))
    middle = 0.5 * (station[i] + station[i + 1])
    before = [tag for at, tag in ends if at <= middle][-1:] or [page.pull["feed"]]
    after = [tag for at, tag in ends if at > middle][:1] or [page.pull["pull"]]
    at = f"{page.units.told_length(where, _FIGURES)} from {page.pull['feed']}"
    turn = f", {math.degrees(abs(piece.turn)):.4g} deg" if piece.turn else ""
    return f"at {at}, between {before[0]} and {after[0]}: segment {i + 1}, {piece.kind}{turn}"
