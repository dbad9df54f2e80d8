"""The bundles of a result in words: what is pulled, and where on the feeder something else is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from tautline.deliver.digest import cable_of
from tautline.deliver.frame import Document
from tautline.deliver.present import Units, isolated, plain, words
from tautline.document import bundle_of

# Spans told of those that are alike.
_SPANS = 6


def cables_in(bundle: Mapping[str, Any], units: Units) -> str:
    """Return the cables of a bundle in a few words.

    Parameters
    ----------
    bundle : mapping
        Of the document.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``3 x 500 kcmil copper, shielded``.
    """
    names = Counter(cable_of(c, units) for c in bundle["cables"])
    return "; ".join(f"{n} x {name}" for name, n in names.items())


def bundle_words(bundle: Mapping[str, Any], units: Units) -> str:
    """Return a bundle with its diameters and its weight.

    Parameters
    ----------
    bundle : mapping
        Of the document.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``3 x 500 kcmil copper, shielded, 1.62 in over the jacket; 5.25 lbf/ft together``.
    """
    names = Counter((cable_of(c, units), c["diameter_m"]) for c in bundle["cables"])
    cables = "; ".join(
        f"{n} x {name}, {units.text('size', d)} over the jacket" for (name, d), n in names.items()
    )
    return f"{cables}; {units.text('weight', bundle['weight_N_per_m'])} together"


def other_words(document: Document, units: Units) -> list[str]:
    """Return what else is pulled, and between which vaults.

    Parameters
    ----------
    document : mapping
        A result document.
    units : Units
        Of the job.

    Returns
    -------
    list of str
        One sentence a stretch; none where the whole feeder has one bundle.
    """
    out = []
    for other in document.get("other_bundles", ()):
        longest = other["reel"]["longest_m"]
        reel = ""
        if document.get("reel") and longest != document["reel"]["longest_m"]:
            reel = (
                f"; longest on a reel {units.text('length', longest)}" if longest else "; no limit on a reel"
            )
        out.append(
            f"from {isolated(other['from'])} to {isolated(other['to'])}: {bundle_words(other, units)}{reel}"
        )
    return out


def reel_of(document: Document, section: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return what the cable of a section comes on.

    Parameters
    ----------
    document : mapping
        A result document.
    section : mapping
        One of its sections.

    Returns
    -------
    mapping
        ``reel`` of the document, or of its other bundle.
    """
    bundle = bundle_of(document, section)
    reel: Mapping[str, Any] = bundle.get("reel", document["reel"])
    return reel


def count_of(document: Document, part: Mapping[str, Any]) -> int:
    """Return how many cables a section or a pull has.

    Parameters
    ----------
    document : mapping
        A result document.
    part : mapping
        One of its sections or pulls.

    Returns
    -------
    int
        Each on a reel of its own.
    """
    return len(bundle_of(document, part)["cables"])


def changes_of(document: Document) -> set[str]:
    """Return the vaults at which the bundle changes from one span to another.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    set of str
        Tags.
    """
    if not document.get("other_bundles"):
        return set()
    met: dict[str, set[int | None]] = {}
    for span in document["route"]:
        for tag in (span["from"], span["to"]):
            met.setdefault(tag, set()).add(span.get("other_bundle"))
    return {tag for tag, bundles in met.items() if len(bundles) > 1}


def narrow_words(document: Document, units: Units) -> list[str]:
    """Return which ducts are too narrow for what is to be pulled through them, and what would do, alike ones together.

    Parameters
    ----------
    document : mapping
        A result document.
    units : Units
        Of the job.

    Returns
    -------
    list of str
        Sentences; none where there is a plan, or another reason for there being none.
    """
    groups: dict[tuple[str, str, str, str], list[str]] = {}
    for one in (document.get("no_plan") or {}).get("narrow", ()):
        named = [c for c in one["checks"] if c["name"] != "arrangement"] or one["checks"]
        checks = [
            f"{words(c['name'])} {' against '.join(units.check(c))}"
            if c["value"] is not None and c["limit"] is not None
            else plain(c["source"]).removeprefix("geometry: ")
            for c in named
        ]
        least = one["smallest"]
        does = "none of the table does" if one["bore"] else "no duct looked at does"
        if least:
            size = units.text("size", least["inside_diameter_m"])
            does = (
                f"the smallest that does is {plain(least['bore'])}, {size} inside"
                if least["bore"]
                else f"{size} inside does"
            )
        bore = f"{plain(one['bore'])}, {units.text('size', one['inside_diameter_m'])} inside"
        cables = cables_in(bundle_of(document, one), units)
        ends = f"{isolated(one['from'])} to {isolated(one['to'])} (duct {isolated(one['duct'])})"
        groups.setdefault((bore, cables, "; ".join(checks), does), []).append(ends)
    return [
        f"{cables} does not fit {bore}: {checks}; {does}; so it is from {', '.join(ends[:_SPANS])}"
        + (f" and {len(ends) - _SPANS} more" if len(ends) > _SPANS else "")
        for (bore, cables, checks, does), ends in groups.items()
    ]
