"""One pull written out as an engineer would on paper, from the result document alone."""

from __future__ import annotations

from collections.abc import Iterator

from mechanics.units import show
from tautline.deliver.digest import GRADE_UNKNOWN
from tautline.document import Document
from tautline.errors import ResultError, UsageError
from tautline.explain_answer import answer_lines
from tautline.explain_bundle import in_each_duct
from tautline.explain_checks import check_lines
from tautline.explain_held import depends_on_pressing, entry_line, held_lines
from tautline.explain_lines import WIDTH, fitted
from tautline.explain_lubricant import lubricant_lines
from tautline.explain_page import Page
from tautline.explain_reverse import other_lines, turned
from tautline.explain_sound import refuse_unsound
from tautline.explain_tensions import tension_lines
from tautline.job_table import nearest

_METHOD = (
    "A cable of weight w per length that slides along the duct with friction c = friction x weight correction gains:",
    "  dT/ds = w sin g + c |T k - w n|     (k curvature, n upward across the duct, g grade, s length)",
    "which for a straight, a level bend, a sag or a crest has the closed forms used below. T1 enters a segment and T2 leaves "
    "it; angles are in radians, lengths in {length}, forces in {force}. Sidewall pressure is p = q T / (R - D/2), q the factor "
    "of the arrangement, R the radius of the centreline, D the inside diameter of the duct (0 on guides).",
    "Every number is worked with all its digits and written with seven: what is put in as it is written gives what is "
    "written to about the last of them.",
)


_PRESSING = (
    "Friction depends on how hard the cable is pressed: N = sqrt((T g' - w cos g)^2 + (T h' cos g)^2) on the bundle, q N on "
    "the hardest-pressed cable, with g' = (g1 - g0)/L and h' = turn/L."
)


def find_pull(document: Document, name: str) -> Document:
    """Return a pull of a result document.

    Parameters
    ----------
    document : dict
        A result document.
    name : str
        Its number, counted from 1 in the order of the document, or ``FEED:PULL``; with feed and pull the other way
        about, the other way of a pull.

    Returns
    -------
    dict
        The pull.

    Raises
    ------
    UsageError
        No such pull, and the message lists those there are; or several of that name.
    ResultError
        What the document says of it does not hold together.
    """
    pulls = _all_pulls(document)
    names = [f"{p['feed']}:{p['pull']}" for p in pulls]
    if name.isdecimal() and 1 <= int(name) <= len(pulls):
        return _sound(document, pulls[int(name) - 1])
    back = [f"{p['pull']}:{p['feed']}" for p in pulls]
    for known in (names, back):
        numbers = [i for i, known_name in enumerate(known) if known_name == name]
        if len(numbers) > 1 and any(pulls[i] != pulls[numbers[0]] for i in numbers):
            listed = ", ".join(str(i + 1) for i in numbers)
            way = "is the name" if known is names else "is the other way"
            raise UsageError(
                f'"{name}" {way} of {len(numbers)} pulls, numbers {listed}: say which by its number'
            )
        if numbers:
            pull = _sound(document, pulls[numbers[0]])
            return pull if known is names else turned(pull)
    listed = ", ".join(f"{i} {n}" for i, n in enumerate(names[:20], 1)) + (", ..." if len(names) > 20 else "")
    raise UsageError(
        f'there is no pull "{name}" in this result{nearest(name, [*names, *back])}; it has {listed or "none"}'
    )


def explain(document: Document, pull: Document, width: int = WIDTH) -> str:
    """Write one pull out as a hand calculation.

    Parameters
    ----------
    document : dict
        A result document.
    pull : dict
        One of its pulls.
    width : int, optional
        Of the page. [characters]

    Returns
    -------
    str
        Lines of text, in feet and pounds-force or in metres and newtons, as the job has it.

    Raises
    ------
    ResultError
        A number of the document is too large to be worked with.
    """
    try:
        return _page(document, pull, width)
    except OverflowError as error:
        raise ResultError(
            f"the result has numbers in {pull['feed']}:{pull['pull']} too large to be worked; plan or check again"
        ) from error


def _page(document: Document, pull: Document, width: int) -> str:
    page = Page.of(document, pull)
    parts = {
        f"PULL {pull['feed']} -> {pull['pull']}   {document['job']['name']}": [
            "",
            *answer_lines(page),
            *_head(page),
        ],
        "METHOD": _method(page),
        "THE BUNDLE IN ITS DUCTS": in_each_duct(page),
        "TENSION, SEGMENT BY SEGMENT": tension_lines(page),
        "HELD BACK AT THE REEL": held_lines(page),
        "CHECKS": check_lines(page),
        "LUBRICANT": lubricant_lines(page),
        "THE OTHER WAY": other_lines(pull, page.units) if pull["reverse"] else (),
        "NEEDS ATTENTION": _listed(_warnings(document, pull)),
        "NOTES": _listed(pull["notes"]),
        "ASSUMED": _listed(document["assumptions"]),
        "OVERRIDDEN BY THE JOB": _listed(document["overrides"]),
        "CAUTIONS": _listed(document["cautions"]),
    }
    written = []
    for heading, lines in parts.items():
        under = list(fitted(lines, width))
        if under:
            written.append("\n".join((heading, *under)))
    return "\n\n".join(written) + "\n"


def _sound(document: Document, pull: Document) -> Document:
    refuse_unsound(document, pull)
    return pull


def _listed(sentences: list[str]) -> list[str]:
    return [f"  - {sentence}" for sentence in sentences]


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


def _method(page: Page) -> list[str]:
    units = page.units
    names = {"ft": "feet", "m": "metres", "lbf": "pounds-force", "N": "newtons"}
    said = {"length": names[units.length_name], "force": names[units.force_name]}
    pressing = [_PRESSING] if depends_on_pressing(page) else []
    return ["  " + line.format(**said) for line in (*_METHOD, *pressing)]


def _head(page: Page) -> Iterator[str]:
    """Say what is pulled, how it lies, and what tension it starts with."""
    pull, units = page.pull, page.units
    for count, cable in _counted(page.bundle["cables"]):
        area = cable["conductor_area_m2"]
        conductor = f", {cable['material']} {show(area, 'area', units.system)}" if area else ""
        yield (
            f"  {_cables(count)}{' ' + cable['name'] if cable['name'] else ''}: "
            f"diameter {units.told_diameter(cable['diameter_m'])}, "
            f"weight {units.told_per_length(cable['weight_N_per_m'])} each, {cable['construction']}{conductor}"
        )
    wet = " (in air; less in the ducts under water)" if "weight_N_per_m" in pull["segments"] else ""
    yield (
        f"  bundle weight w = {units.told_per_length(pull['weight_N_per_m'])}{wet}, arrangement {pull['arrangement']}"
    )
    yield f"  length {units.told_length(pull['length_m'])}"
    if pull["passes"]:
        stops = [
            f"{p['tag']} at {units.told_length(p['station_m'])}{' (re-lubricated)' if p['tag'] in pull['relube'] else ''}"
            for p in pull["passes"]
        ]
        yield "  passes " + ", ".join(stops)
    holding: float = pull["holding_tension_N"]
    yield f"  {entry_line(page)}"
    least = min(pull["profile"]["tension_N"])
    station = pull["profile"]["station_m"][pull["profile"]["tension_N"].index(least)]
    if holding > 0:
        yield (
            f"  of which {units.told_force(holding)} at least must be held (HELD BACK AT THE REEL, below); on the way the tension is "
            f"lowest, {units.force(least)} {units.force_name}, at {units.told_length(station)}, and the cable stays taut"
        )
    else:
        pushed = pull["entry_tension_N"] < 0
        yield "  no holding back is needed" + (
            ": the cable is pushed in, and below zero only by that"
            if pushed
            else ": the tension is nowhere below zero"
        )
    brake = pull.get("brake_tension_N", holding)
    if brake > holding:
        yield f"  the brake has to give {units.told_force(brake)}: friction may turn out lower than expected (HELD BACK AT THE REEL, below)"


def _cables(count: int) -> str:
    """Return a number of cables in words."""
    return f"{count} cable" + ("s" if count > 1 else "")


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
