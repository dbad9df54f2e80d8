"""What every report says of a result, in words and in rows: outcome, key figures, checks, bends, places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from tautline.deliver.frame import Document, Pull, curve_words, sections_of
from tautline.deliver.present import Units, count, isolated, percent, plain, words
from tautline.document import bundle_of

# Said wherever a pull's profile holds no elevation.
GRADE_UNKNOWN = "grade not known: taken as flat; a slope changes the tension and may need a brake"


_DOUBTS = 12  # told on the first page; the rest is counted there, so that failed checks keep their room


def summary_of(document: Document, pulls: Sequence[Pull]) -> str:
    """Return the outcome in one sentence.

    Parameters
    ----------
    document : mapping
        A result document.
    pulls : sequence of Pull
        Its pulls.

    Returns
    -------
    str
        A sentence.
    """
    failing = [p for p in pulls if p.data["verdict"] == "fail"]
    if document["verdict"] == "no-plan":
        return "No plan exists under the job's limits."
    if failing:
        numbers = ", ".join(str(p.number) for p in failing[:20]) + (", ..." if len(failing) > 20 else "")
        return f"{failing_of(pulls)} a binding check: {numbers}."
    if not pulls:
        return "There is no pull to judge."
    worst = max(pulls, key=lambda p: p.data["utilisation"])
    return (
        f"Every binding check of {count(len(pulls), 'pull')} passes; the nearest to a limit is pull {worst.number} "
        f"at {percent(worst.data['utilisation'])} ({words(worst.data['governs'])})."
    )


def failing_of(pulls: Sequence[Pull]) -> str:
    """Return how many pulls fail.

    Parameters
    ----------
    pulls : sequence of Pull
        All of them.

    Returns
    -------
    str
        Such as ``1 of 5 pulls fails``.
    """
    failing = sum(p.data["verdict"] == "fail" for p in pulls)
    return f"{failing} of {count(len(pulls), 'pull')} {'fails' if failing == 1 else 'fail'}"


def figures_of(document: Document, units: Units, pulls: Sequence[Pull]) -> list[tuple[str, str]]:
    """Return the figures that a reader looks for first, each with what it is.

    Parameters
    ----------
    document : mapping
        A result document.
    units : Units
        Of the job.
    pulls : sequence of Pull
        Its pulls.

    Returns
    -------
    list of (str, str)
        Figure with its unit, and what it is.
    """
    figures = []
    sections = sections_of(document)
    if sections:
        figures.append((str(len(sections)), "section" if len(sections) == 1 else "sections"))
    figures.append((str(len(pulls)), "pull" if len(pulls) == 1 else "pulls"))
    if document.get("cost"):
        cost = document["cost"]
        figures += [
            (str(cost["splices"]), "splices"),
            (str(cost["relubes"]), "re-lube stops"),
            (f"{cost['total']:g}", "cost, in the job's prices"),
        ]
    if pulls:
        figures += [
            (percent(max(p.data["utilisation"] for p in pulls)), "worst utilisation"),
            (units.text("force", max(p.data["max_tension_N"] for p in pulls)), "greatest tension"),
            (
                units.text("pressure", max(p.data["max_sidewall_N_per_m"] for p in pulls)),
                "greatest sidewall pressure",
            ),
        ]
    if sections:
        cable = sum(s["cable_length_m"] * len(bundle_of(document, s)["cables"]) for s in sections)
        figures.append((units.text("length", cable), "cable in all"))
    severities = Counter(f["severity"] for f in document["findings"])
    told = ", ".join(count(severities[s], s) for s in ("error", "warning") if severities[s])
    figures.append((str(len(document["findings"])), "findings" + (f" ({told})" if told else "")))
    return figures


def checks_of(p: Pull, units: Units) -> list[dict[str, Any]]:
    """Return the checks of a pull with value, limit and place in words.

    Parameters
    ----------
    p : Pull
        The pull.
    units : Units
        Of the job.

    Returns
    -------
    list of dict
        The checks of the document with texts in place of figures.
    """
    rows = []
    for c in p.data["checks"]:
        value, limit = units.check(c)
        rows.append(
            {
                **c,
                "name": words(plain(c["name"])),
                "value": value,
                "limit": limit,
                "place": p.place(c["station_m"], units),
                "pull": p,
            }
        )
    return rows


def trouble_of(pulls: Sequence[Pull], units: Units) -> list[dict[str, Any]]:
    """Return every check that fails or needs attention, the worst first.

    Parameters
    ----------
    pulls : sequence of Pull
        Its pulls.
    units : Units
        Of the job.

    Returns
    -------
    list of dict
        As :func:`checks_of` gives them.
    """
    rows = [c for p in pulls for c in checks_of(p, units) if c["verdict"] in ("fail", "attention")]
    return sorted(rows, key=lambda c: (c["verdict"] != "fail", not c["binding"], -(c["utilisation"] or 0.0)))


def warnings_of(document: Document, pulls: Sequence[Pull]) -> list[str]:
    """Return what is doubtful about the input: findings of weight, errors first, and pulls whose grade is not known.

    Parameters
    ----------
    document : mapping
        A result document.
    pulls : sequence of Pull
        Its pulls.

    Returns
    -------
    list of str
        Sentences.
    """
    flat = [str(p.number) for p in pulls if any(z is None for z in p.data["profile"]["elevation_m"])]
    more = f" and {len(flat) - 20} more" if len(flat) > 20 else ""
    lines = [f"Pull {', '.join(flat[:20])}{more}: {GRADE_UNKNOWN}."] if flat else []
    for severity in ("error", "warning"):
        for finding in document["findings"]:
            if finding["severity"] == severity:
                remedy = f" ({plain(finding['remedy'])})" if finding["remedy"] else ""
                lines.append(f"{severity} [{finding['code']}]: {plain(finding['message'])}{remedy}")
    left = len(lines) - _DOUBTS
    return lines if left <= 0 else [*lines[:_DOUBTS], f"{left} more errors and warnings, under findings"]


def cable_of(cable: Mapping[str, Any], units: Units) -> str:
    """Return a cable in a few words: its name, or what it is made of.

    Parameters
    ----------
    cable : mapping
        A cable of the document.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``500 kcmil copper, shielded``.
    """
    if cable["name"]:
        return isolated(cable["name"])
    area = cable["conductor_area_m2"]
    size = f"{units.value('area', area):.6g} {units.label('area')} " if area else ""
    return f"{size}{plain(cable['material'])}, {plain(cable['construction'])}"


def place_of(finding: Mapping[str, Any], document: Document) -> str:
    """Return where a finding lies: file, layer, id, coordinates as in the source.

    Parameters
    ----------
    finding : mapping
        Of the document.
    document : mapping
        A result document.

    Returns
    -------
    str
        Empty where nothing is known.
    """
    w, ground = finding["where"], document["ground"]
    parts = [w["file"], f"layer {w['layer']}" if w["layer"] else "", w["id"]]
    place = ", ".join(plain(part) for part in parts if part)
    if w["x"] is not None and w["y"] is not None:
        scale, unit = ground["metres_per_unit"], words(plain(ground["unit"]))
        place += f"{' ' if place else ''}at {w['x'] / scale:z,.2f}, {w['y'] / scale:z,.2f} {unit}"
    return place


def winch_of(p: Pull, units: Units) -> str:
    """Return the greatest reading of the winch and where the cable's head is then; empty where it is not known.

    Parameters
    ----------
    p : Pull
        The pull.
    units : Units
        Of the job.

    Returns
    -------
    str
        Such as ``7,217 lbf; the head then: 57 ft before MH-13``.
    """
    at = winch_peak(p)
    if at is None:
        return ""
    return f"{units.text('force', p.data['winch_tension_N'])}; the head then: {p.place(at, units)}"


def winch_peak(p: Pull) -> float | None:
    """Return where the cable's head is when the winch reads most, None where readings are not known. [m]

    Parameters
    ----------
    p : Pull
        The pull.

    Returns
    -------
    float or None
        A station of its profile.
    """
    readings = p.data["profile"].get("winch_N")
    if not readings:
        return None
    station: float = p.data["profile"]["station_m"][readings.index(max(readings))]
    return station


def bends_of(p: Pull, units: Units) -> list[dict[str, Any]]:
    """Return the curves of a pull with the tension into and out of each and its greatest sidewall pressure, in SI.

    Parameters
    ----------
    p : Pull
        The pull.
    units : Units
        Of the job.

    Returns
    -------
    list of dict
        Start, words, tension in and out, sidewall pressure, place.
    """
    profile, rows = p.data["profile"], []
    stations, tension, wall = profile["station_m"], profile["tension_N"], profile["sidewall_N_per_m"]
    for curve in p.curves:
        start, end = curve[0].start, curve[-1].end
        inside = [k for k, s in enumerate(stations) if start + 1e-3 < s <= end + 1e-3]
        if not inside:
            continue
        rows.append(
            {
                "start": start,
                "words": curve_words(curve, units),
                "tension_in": tension[inside[0] - 1],
                "tension_out": tension[inside[-1]],
                "sidewall": max(wall[k] for k in inside),
                "place": p.near(start, units),
            }
        )
    return rows


def ways_in(at: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Return how the lubricant of a pull gets in, each way once.

    Parameters
    ----------
    at : sequence of mapping
        ``lubricant.at`` of a pull of the document.

    Returns
    -------
    dict of str to str
        The way in words, and the vaults where it is meant.
    """
    where: dict[str, list[str]] = {}
    for a in at:
        where.setdefault(plain(a["how"]), []).append(isolated(a["vault"]))
    return {how: ", ".join(vaults) for how, vaults in where.items()}
