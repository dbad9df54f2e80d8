"""One pull written out as an engineer would on paper, from the result document alone."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from mechanics.units import System, show
from tautline.deliver.digest import GRADE_UNKNOWN
from tautline.document import Document
from tautline.errors import UsageError
from tautline.explain_bundle import in_each_duct
from tautline.explain_segment import Piece, number, work
from tautline.job_table import nearest

_KINDS = {"N": "force", "N/m": "sidewall", "m": "length", "m2": "area", "rad": "angle", "degC": "temperature"}
_SAME = 1e-6  # relative; as near as a hand calculation comes to the document
_WIDTH = 110
_SMALL = 3.0  # m; lengths under it are radii and clearances, read in inches or millimetres

_METHOD = """\
A cable of weight w per length that slides along the duct with friction c = friction x weight correction gains
  dT/ds = w sin g + c |T k - w n|     (k curvature, n upward across the duct, g grade, s length)
which for a straight, a level bend, a sag or a crest has the closed forms used below. T1 enters a segment and T2
leaves it; angles are in radians, lengths in metres, forces in newtons. Sidewall pressure is p = q T / (R - D/2), q
the factor of the arrangement, R the radius of the centreline, D the inside diameter of the duct (0 on guides)."""


def find_pull(document: Document, name: str) -> Document:
    """Return a pull of a result document.

    Parameters
    ----------
    document : dict
        A result document.
    name : str
        Its number, counted from 1 in the order of the document, or ``FEED:PULL``.

    Returns
    -------
    dict
        The pull.

    Raises
    ------
    UsageError
        No such pull; the message lists those there are.
    """
    pulls = _all_pulls(document)
    names = [f"{p['feed']}:{p['pull']}" for p in pulls]
    if name.isdecimal() and 1 <= int(name) <= len(pulls):
        return pulls[int(name) - 1]
    if name in names:
        return pulls[names.index(name)]
    listed = ", ".join(f"{i} {n}" for i, n in enumerate(names[:20], 1)) + (", ..." if len(names) > 20 else "")
    raise UsageError(
        f'there is no pull "{name}" in this result{nearest(name, names)}; it has {listed or "none"}'
    )


def explain(document: Document, pull: Document) -> str:
    """Write one pull out as a hand calculation.

    Parameters
    ----------
    document : dict
        A result document.
    pull : dict
        One of its pulls.

    Returns
    -------
    str
        Lines of text; figures in SI, results in the job's units beside them.
    """
    system: System = document["job"]["units"]
    lines = [
        f"PULL {pull['feed']} -> {pull['pull']}   {document['job']['name']}",
        "",
        *_head(document, pull, system),
        "",
        "METHOD",
        *textwrap.indent(_METHOD, "  ").splitlines(),
        "",
        "THE BUNDLE IN ITS DUCTS",
        *in_each_duct(document, pull),
        "",
        "TENSION, SEGMENT BY SEGMENT",
        *_segments(pull, system),
        "",
        "CHECKS",
        *_checks(document, pull, system),
        "",
        "LUBRICANT",
        *_lubricant(pull, system),
    ]
    warned = _warnings(document, pull)
    if warned:
        lines += ["", "NEEDS ATTENTION", *_wrapped(warned)]
    if pull["notes"]:
        lines += ["", "NOTES", *_wrapped(pull["notes"])]
    if document["assumptions"]:
        lines += ["", "ASSUMED", *_wrapped(document["assumptions"])]
    if document["overrides"]:
        lines += ["", "OVERRIDDEN BY THE JOB", *_wrapped(document["overrides"])]
    lines += ["", "CAUTIONS", *_wrapped(document["cautions"])]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _warnings(document: Document, pull: Document) -> list[str]:
    """Return what is doubtful about the ground that a pull stands on: its own grade, and findings on its ducts."""
    said = []
    if any(z is None for z in pull["profile"]["elevation_m"]):
        said.append(f"{GRADE_UNKNOWN[0].upper()}{GRADE_UNKNOWN[1:]}.")
    tags = {pull["feed"], pull["pull"], *(p["tag"] for p in pull["passes"])}
    spans = {s["duct"] for s in document["route"] if s["from"] in tags and s["to"] in tags}
    for finding in document["findings"]:
        where = finding["where"]["id"]
        # one without an id speaks of the whole drawing
        if finding["severity"] in ("warning", "error") and (not where or where in tags or where in spans):
            remedy = f" Remedy: {finding['remedy']}." if finding["remedy"] else ""
            said.append(f"{finding['severity']} [{finding['code']}]: {finding['message']}.{remedy}")
    return said


def _all_pulls(document: Document) -> list[Document]:
    if document["command"] == "check":
        return list(document["pulls"])
    sections = document["sections"] or (document["no_plan"] or {}).get("partial", [])
    return [pull for section in sections for pull in section["pulls"]]


def _head(document: Document, pull: Document, system: System) -> Iterator[str]:
    """Say what is pulled, how it lies, and what tension it starts with."""
    for count, cable in _counted(document["bundle"]["cables"]):
        area = cable["conductor_area_m2"]
        conductor = f", {cable['material']} {show(area, 'area', system)}" if area else ""
        yield (
            f"  {count} cables{' ' + cable['name'] if cable['name'] else ''}: diameter {number(cable['diameter_m'])} m "
            f"({show(cable['diameter_m'], 'diameter', system)}), weight {number(cable['weight_N_per_m'])} N/m each, "
            f"{cable['construction']}{conductor}"
        )
    yield f"  bundle weight w = {number(pull['weight_N_per_m'])} N/m, arrangement {pull['arrangement']}"
    yield f"  length {number(pull['length_m'])} m ({show(pull['length_m'], 'length', system)})"
    if pull["passes"]:
        stops = [
            f"{p['tag']} at {number(p['station_m'])} m{' (re-lubricated)' if p['tag'] in pull['relube'] else ''}"
            for p in pull["passes"]
        ]
        yield from textwrap.wrap(
            "passes " + ", ".join(stops), _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    entry, holding = pull["entry_tension_N"], pull["holding_tension_N"]
    yield f"  entry tension T0 = {number(entry)} N ({show(entry, 'force', system)})"
    least = min(pull["profile"]["tension_N"])
    station = pull["profile"]["station_m"][pull["profile"]["tension_N"].index(least)]
    if holding > 0:
        yield (
            f"  of which {number(holding)} N at least must be held at the reel: with it the tension is lowest, "
            f"{number(least)} N, at {number(station)} m, and the cable stays taut"
        )
    else:
        yield "  no holding back is needed: the tension is nowhere below zero"


def _counted(cables: list[Document]) -> list[tuple[int, Document]]:
    """Return each different cable with how many there are."""
    kinds: list[tuple[int, Document]] = []
    for cable in cables:
        for i, (count, known) in enumerate(kinds):
            if known == cable:
                kinds[i] = (count + 1, known)
                break
        else:
            kinds.append((1, cable))
    return kinds


def _segments(pull: Document, system: System) -> Iterator[str]:
    """Work every segment from the tension the one before it was left with."""
    segments, profile = pull["segments"], pull["profile"]
    none = [pull["weight_N_per_m"]] * len(segments["length_m"])
    tension, worst = pull["entry_tension_N"], 0.0
    vaults = {round(p["station_m"], 6): p["tag"] for p in pull["passes"]}
    for i, length in enumerate(segments["length_m"]):
        tag = vaults.pop(round(profile["station_m"][i], 6), None)
        if tag is not None:
            yield f"  -- vault {tag}{', re-lubricated' if tag in pull['relube'] else ''} --"
        piece = Piece(
            length,
            segments["grade_in_rad"][i],
            segments["grade_out_rad"][i],
            segments["turn_rad"][i],
            segments.get("weight_N_per_m", none)[i],
            segments["friction"][i],
            segments["weight_correction"][i],
        )
        worked = work(piece, tension)
        yield f"  {i + 1}. {_title(piece, segments, i)}"
        yield (
            f"     L = {number(length)}, c = {number(piece.friction)} x {number(piece.correction)} = {number(piece.c)}, "
            f"T1 = {number(tension)}"
        )
        for line in worked.lines:
            yield "     " + line
        tension = worked.tension
        added = segments["added_N"][i]
        if added:
            yield f"     an assist here: T2 = {number(tension)} + ({number(added)})"
            tension += added
        yield f"     T2 = {number(tension)} N ({show(tension, 'force', system)})"
        yield from _sidewall(pull, piece, i, system)
        stated = profile["tension_N"][i + 1]
        apart = abs(tension - stated) / max(1.0, abs(stated))
        worst = max(worst, apart)
        if apart > _SAME:
            yield f"     THE DOCUMENT SAYS {number(stated)} N HERE"
        tension = stated if apart > _SAME else tension
    yield (
        f"  exit tension {number(pull['exit_tension_N'])} N ({show(pull['exit_tension_N'], 'force', system)}); "
        f"greatest on the way {number(pull['max_tension_N'])} N"
    )
    if worst <= _SAME:
        yield f"  every T2 above agrees with the result document to {_SAME:g}"
    else:
        yield f"  NOT EVERY T2 ABOVE AGREES WITH THE RESULT DOCUMENT: apart by up to {worst:.2g} of the tension"


def _title(piece: Piece, segments: Document, i: int) -> str:
    parts = [piece.kind]
    if abs(piece.turn) > 0:
        parts.append(f"{math.degrees(abs(piece.turn)):.4g} deg")
    if piece.grade_in or piece.grade_out:
        one, other = math.degrees(piece.grade_in), math.degrees(piece.grade_out)
        parts.append(f"grade {one:.4g} deg" + (f" to {other:.4g} deg" if one != other else ""))
    if piece.radius is not None:
        parts.append(f"R {number(piece.radius)} m")
    inside = segments["inside_diameter_m"][i]
    parts.append("on guides" if segments["guide"][i] else f"duct {number(1000 * inside)} mm inside")
    if segments["id"][i]:
        parts.append(f"{segments['how'][i]} {segments['id'][i]}".strip())
    return ", ".join(parts)


def _sidewall(pull: Document, piece: Piece, i: int, system: System) -> Iterator[str]:
    pressure = pull["profile"]["sidewall_N_per_m"][i + 1]
    if piece.radius is None or not pressure > 0:
        return
    inside = pull["segments"]["inside_diameter_m"][i] or 0.0
    factor = pull["segments"]["sidewall_factor"][i]
    entering, leaving = pull["profile"]["tension_N"][i : i + 2]
    greatest = max(entering, leaving - pull["segments"]["added_N"][i])
    radius = piece.radius - inside / 2
    yield (
        f"     sidewall p = {number(factor)} x {number(greatest)} / ({number(piece.radius)} - {number(inside / 2)}) = "
        f"{number(factor * greatest / radius)} N/m ({show(pressure, 'sidewall', system)})"
    )
    if abs(factor * greatest / radius - pressure) > _SAME * pressure:
        yield f"     the document says {number(pressure)} N/m: the greatest on the segment"


def _checks(document: Document, pull: Document, system: System) -> Iterator[str]:
    for check in pull["checks"]:
        name = check["name"].replace("_", " ")
        verdict = check["verdict"].upper() if check["binding"] else f"advice, {check['verdict']}"
        said = f"{name}: {_valued(check['value'], check['unit'], system)}"
        if check["limit"] is not None:
            said += f" against {_valued(check['limit'], check['unit'], system)}"
        if check["utilisation"] is not None:
            said += f", {100 * check['utilisation']:.1f} %"
        if check["station_m"] is not None:
            said += f", at {number(check['station_m'])} m"
        if check["name"] == "conductor_tension" and check["limit"] is not None:
            said += f" ({_stress(document, check['limit'])})"
        source = f"{'stated by the job; ' if check['overridden'] else ''}{check['source']}"
        yield from textwrap.wrap(
            f"{said}: {verdict} [{source}]", _WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    yield f"  verdict: {pull['verdict'].upper()}, governed by {pull['governs'].replace('_', ' ') or 'nothing'}"


def _stress(document: Document, limit: float) -> str:
    """Say what a limit on the conductors comes to for their cross-section."""
    areas = [c["conductor_area_m2"] for c in document["bundle"]["cables"] if c["role"] == "power"]
    total = math.fsum(area or 0.0 for area in areas)
    return (
        f"{number(limit / total / 1e6)} N/mm2 x {len(areas)} cables x {number(1e6 * total / len(areas))} mm2"
    )


def _valued(value: float | None, unit: str, system: System) -> str:
    if value is None:
        return "not computed"
    kind = _KINDS.get(unit)
    if kind == "length" and abs(value) < _SMALL:
        kind = "diameter"
    shown = f" ({show(value, kind, system)})" if kind else ""
    return f"{number(value)}{'' if unit in ('', '1') else ' ' + unit}{shown}"


def _lubricant(pull: Document, system: System) -> Iterator[str]:
    plan = pull["lubricant"]
    yield f"  {number(plan['total_L'])} L in all ({show(plan['total_L'], 'volume', system)}), grade {plan['grade']}"
    for at in plan["at"]:
        yield from textwrap.wrap(
            f"{at['vault']}: {number(at['litres'])} L, {at['how']}",
            _WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    yield from _wrapped(plan["notes"])


def _wrapped(sentences: list[str]) -> Iterator[str]:
    for sentence in sentences:
        yield from textwrap.wrap(sentence, _WIDTH, initial_indent="  - ", subsequent_indent="    ")
