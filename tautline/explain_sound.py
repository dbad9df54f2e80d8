"""Whether what a result document says of one pull can be worked at all: a document may have been edited, or cut short."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tautline.document import Document
from tautline.errors import ResultError

_ABOVE_ZERO = ("length_m", "weight_correction")
_STEEPEST = math.pi / 2 + 1e-9  # rad


def refuse_unsound(document: Document, pull: Document) -> None:
    """Refuse a pull whose parts do not fit each other.

    Parameters
    ----------
    document : dict
        A result document that keeps to the schema.
    pull : dict
        One of its pulls; its other way is looked at too, as far as the document tells it.

    Raises
    ------
    ResultError
        Says what does not fit, and where.
    """
    name = f"{pull['feed']}:{pull['pull']}"
    faults = [*_numbers(pull, ""), *_way(pull, ""), *_passed(pull), *_cables(document, pull)]
    other = pull["reverse"]
    if other is not None and "segments" in other:
        faults += _way(other, "reverse.")
    if faults:
        more = f", and {len(faults) - 1} more of the kind" if len(faults) > 1 else ""
        raise ResultError(
            f"the result does not hold together in {name}: {faults[0]}{more}; plan or check again"
        )


def _numbers(part: object, where: str) -> Iterator[str]:
    """Find what is no finite number."""
    if isinstance(part, dict):
        for key, value in part.items():
            yield from _numbers(value, f"{where}.{key}" if where else str(key))
    elif isinstance(part, list):
        for i, value in enumerate(part):
            yield from _numbers(value, f"{where}[{i}]")
    elif isinstance(part, float) and not math.isfinite(part):
        yield f"{where} is {part}"


def _way(way: Document, at: str) -> Iterator[str]:
    """Check segments and profile of one way against each other."""
    s, profile = way["segments"], way["profile"]
    many = len(s["length_m"])
    if not many:
        yield f"{at}segments.length_m is empty"
    for key, values in s.items():
        if isinstance(values, list) and key not in ("laws", "path_index") and len(values) != many:
            yield f"{at}segments.{key} has {len(values)} entries, length_m {many}"
    for key, values in profile.items():
        if len(values) != many + 1:
            yield f"{at}profile.{key} has {len(values)} entries, and {many} segments need {many + 1}"
    for key in _ABOVE_ZERO:
        for i, value in enumerate(s[key]):
            if not value > 0:
                yield f"{at}segments.{key}[{i}] must be above 0, got {value}"
    for key in ("grade_in_rad", "grade_out_rad"):
        for i, value in enumerate(s[key]):
            if not abs(value) <= _STEEPEST:
                yield f"{at}segments.{key}[{i}] must be a grade of at most a right angle, got {value}"
    for i, (inside, guide) in enumerate(zip(s["inside_diameter_m"], s["guide"], strict=False)):
        if not guide and not (inside or 0.0) > 0:
            yield f"{at}segments.inside_diameter_m[{i}] must be above 0, got {inside}"
    yield from _laws(s, at)


def _laws(s: Document, at: str) -> Iterator[str]:
    laws = s.get("laws", [])
    if ("law" in s) != ("laws" in s):
        yield f"{at}segments must have law and laws, or neither"
    for i, law in enumerate(s.get("law", [])):
        if not law < len(laws):
            yield f"{at}segments.law[{i}] is {law}, and there are {len(laws)} laws"
    for i, law in enumerate(laws):
        if not law["lubricated"] > 0:
            yield f"{at}segments.laws[{i}].lubricated must be above 0, got {law['lubricated']}"
        for one, other in (("hold_m", "dry"), ("pressed", "press_force_N_per_m")):
            if (law[one] is None) != (law[other] is None):
                yield f"{at}segments.laws[{i}] must have {one} and {other}, or neither"
        if law["hold_m"] is not None and not law["hold_m"] > 0:
            yield f"{at}segments.laws[{i}].hold_m must be above 0, got {law['hold_m']}"


def _passed(pull: Document) -> Iterator[str]:
    tags = [p["tag"] for p in pull["passes"]]
    stops = [*pull["relube"], *((pull["reverse"] or {}).get("relube", []))]
    for tag in dict.fromkeys(stops):
        if tags.count(tag) != 1:
            yield f"it is re-lubricated at {tag}, which is {tags.count(tag)} times among the vaults it passes"


def _cables(document: Document, pull: Document) -> Iterator[str]:
    others = document.get("other_bundles", [])
    which = pull.get("other_bundle")
    if which is not None and not which < len(others):
        yield f"other_bundle is {which}, and there are {len(others)} other bundles"
        return
    bundle = document["bundle"] if which is None else others[which]
    yield from _numbers(bundle, "bundle")
    if not bundle["cables"]:
        yield "its bundle has no cables"
    for i, cable in enumerate(bundle["cables"]):
        for key in ("diameter_m", "weight_N_per_m"):
            if not cable[key] > 0:
                yield f"bundle.cables[{i}].{key} must be above 0, got {cable[key]}"
