"""What the crew of a pull needs on one page, as words and figures in the job's units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from tautline.deliver.bundles import count_of
from tautline.deliver.digest import GRADE_UNKNOWN, cable_of, ways_in, winch_peak
from tautline.deliver.frame import Document, Pull, curve_words, sections_of
from tautline.deliver.present import Units, isolated, plain, used
from tautline.document import bundle_of

CUT_OUT = 1.1
"""Greatest setting of the puller's limit over the expected reading (common practice, no source)."""
_APART = 0.5  # metres within which two places of the column are one to the crew
_ROWS = 20
"""Places that fit on the page; where there are more, gentle bends go first."""


def sheet_of(document: Document, p: Pull, units: Units) -> dict[str, Any]:
    """Return the content of one crew sheet, without its plan.

    Parameters
    ----------
    document : mapping
        A result document.
    p : Pull
        One of its pulls.
    units : Units
        Of the job.

    Returns
    -------
    dict
        Texts only, ready to be set.
    """
    d = p.data
    rows, left_out = _places(p, units)
    reads_winch = "winch_N" in d["profile"]
    return {
        "number": str(p.number),
        "job": isolated(document["job"]["name"]),
        "feed": isolated(d["feed"]),
        "pull": isolated(d["pull"]),
        "failing": d["verdict"] == "fail",
        "use": used(d),
        "facts": _facts(document, p, units),
        "limit": _puller_limit(p, units),
        "lubricant": [
            [isolated(a["vault"]), units.text("volume", a["litres"])] for a in d["lubricant"]["at"]
        ],
        "grade": plain(d["lubricant"]["grade"]),
        "hows": _hows(d["lubricant"]["at"]),
        "guides": _guides(p, units),
        "reading": f"Winch should read, {units.label('force')}"
        if reads_winch
        else f"Cable tension, {units.label('force')}",
        "reading_note": "The rope's own friction in the bends ahead of the cable is in the figures."
        if reads_winch
        else "The winch reads more than this while the rope still runs through bends ahead of the cable.",
        "length_unit": units.label("length"),
        "rows": rows,
        "left_out": left_out,
        "notes": [plain(t) for t in d["notes"]],
        "cautions": [plain(t) for t in document["cautions"]],
        "source": f"{isolated(document['job']['file'])}, route from {isolated(document['source']['file'])}, "
        f"sha256 {document['source']['sha256'][:16]}",
    }


def _facts(document: Document, p: Pull, units: Units) -> list[list[str]]:
    d = p.data
    settings = {s["name"]: s for s in document.get("settings", [])}
    facts = [["Length", units.text("length", d["length_m"])]]
    if p.section:
        section = sections_of(document)[p.section - 1]
        reels = count_of(document, section)
        cut = f"{reels} x {units.text('length', section['cable_length_m'])}, slack at both ends included"
        facts.append(["Reels, cut length", cut])
        if len(section["pulls"]) > 1:
            others = ", ".join(
                f"{isolated(q['feed'])} to {isolated(q['pull'])}" for q in section["pulls"] if q is not d
            )
            facts.append(
                ["Same reels", f"the other end goes {others}: lay it out at {isolated(d['feed'])} first"]
            )
    bundle = bundle_of(document, d)
    names = sorted({cable_of(c, units) for c in bundle["cables"]})
    facts.append(
        [
            "Cable",
            f"{', '.join(names)}; {plain(d['arrangement'])}, {units.text('weight', d['weight_N_per_m'])}",
        ]
    )
    attachment = settings.get("pulling.attachment")
    if attachment:
        facts.append(["Rope fastened by", units.setting(attachment)])
    needed = d.get("brake_tension_N", d["holding_tension_N"])
    if needed > 0:
        brake = f"hold back at least {units.text('force', needed)} at the reel before the pull begins"
        if d["holding_tension_N"] < needed:
            expected = units.text("force", d["holding_tension_N"])
            brake += f" (for friction lower than expected; {expected} is what the expected friction needs)"
    else:
        brake = "only to keep the reel from running on"
    facts.append(["Brake", brake])
    if any(z is None for z in d["profile"]["elevation_m"]):
        facts.append(["Grade", GRADE_UNKNOWN])
    if d["entry_tension_N"] > 0:
        facts.append(["Tension at the feed", units.text("force", d["entry_tension_N"])])
    speed = settings.get("pulling.speed")
    practice = units.text("speed", 0.1524)
    slow, fast = units.text("speed", 0.0508), units.text("speed", 0.254)
    usual = f"about {practice}, {slow} to {fast} (common practice); steady, no stop within a bend"
    facts.append(["Speed", units.setting(speed) if speed else usual])
    facts.append(["Re-lube at", ", ".join(isolated(v) for v in d["relube"]) or "nowhere"])
    hot = p.place(d["max_sidewall_station_m"], units)
    if hot:
        facts.append(["Hardest bend", f"{hot}: {units.text('pressure', d['max_sidewall_N_per_m'])}"])
    return facts


def _puller_limit(p: Pull, units: Units) -> dict[str, str]:
    """What to set the puller to: a tenth over the expected reading, never above what cable, bends or puller bear.

    Sidewall pressure grows as the tension does: where it is nearer to its limit, it decides how far the reading may rise.
    """
    d = p.data
    pullers = [c["limit"] for c in d["checks"] if c["name"] == "puller_tension" and c["limit"] is not None]
    expected = d.get("winch_tension_N", d["max_tension_N"])
    limit = d["limits"]["max_tension_N"]
    pressed = [
        c["utilisation"]
        for c in d["checks"]
        if c["name"] == "max_sidewall" and c["binding"] and c["utilisation"]
    ]
    borne = [expected / max(pressed)] if pressed else []
    setting = min([CUT_OUT * expected, *pullers, *borne, *([] if limit is None else [limit])])
    note = f"expected at most {units.text('force', expected)}"
    if limit is not None:
        note += f"; the cable's limit is {units.text('force', limit)}"
    if borne and borne[0] < CUT_OUT * expected:
        note += f"; at {units.text('force', borne[0])} the sidewall pressure in a bend reaches its limit"
    if pullers:
        note += f"; the puller's is {units.text('force', min(pullers))}"
    if limit is not None and expected > limit:
        note += ". The reading is expected to pass the cable's while rope runs in bends ahead: ask before you begin"
    if d["verdict"] == "fail":
        return {"setting": "do not pull", "note": f"a check fails; {note}"}
    return {"setting": units.text("force", setting), "note": note}


def _hows(at: Sequence[Mapping[str, Any]]) -> list[str]:
    """How the lubricant gets in; the vaults only where they differ."""
    ways = ways_in(at)
    return list(ways) if len(ways) == 1 else [f"{vaults}: {how}" for how, vaults in ways.items()]


def _guides(p: Pull, units: Units) -> list[str]:
    """The guides that the cable turns on, where they stand and how far they turn it."""
    return [
        f"{p.near(b.start, units)}: turns {math.degrees(b.angle):.0f}°, "
        f"radius at least {units.text('size', b.radius)}"
        for b in p.bends
        if b.guide
    ]


def _places(p: Pull, units: Units) -> tuple[list[list[str]], int]:
    """Stations at which the crew compares the reading: every vault, and the ends of the bends that matter."""
    spots: list[tuple[float, str, float]] = []
    relube = {isolated(v) for v in p.data["relube"]}
    for station, tag in p.vaults:
        text = f"{tag}: stop, re-lubricate" if tag in relube else tag
        spots.append((station, text, math.inf))
    for curve in p.curves:
        angle = sum(b.angle for b in curve)
        if not curve[0].guide and angle > math.radians(5):
            spots.append((curve[-1].end, f"out of {curve_words(curve, units)}", angle))
    peak = winch_peak(p)
    if peak is not None and all(abs(peak - station) > _APART for station, _, _ in spots):
        spots.append((peak, f"greatest reading: {p.place(peak, units)}", math.inf))
    kept = sorted(spots, key=lambda s: -s[2])[:_ROWS]
    profile = p.data["profile"]
    values = profile.get("winch_N", profile["tension_N"])
    rows = [
        [
            units.figure("length", station),
            text,
            units.figure("force", value_at(profile["station_m"], values, station)),
        ]
        for station, text, _ in sorted(kept)
    ]
    return rows, len(spots) - len(kept)


def value_at(stations: Sequence[float], values: Sequence[float], station: float) -> float:
    """Return a profile's value at a station, straight between its rows.

    Parameters
    ----------
    stations : sequence of float
        Rising. [m]
    values : sequence of float
        One a station.
    station : float
        Where. [m]

    Returns
    -------
    float
        The last value beyond the end.
    """
    for k in range(1, len(stations)):
        if stations[k] >= station - 1e-9:
            span = stations[k] - stations[k - 1]
            f = min(max((station - stations[k - 1]) / span, 0.0), 1.0) if span > 0 else 1.0
            return values[k - 1] + f * (values[k] - values[k - 1])
    return values[-1]


def sign_off(document: Mapping[str, Any]) -> str:
    """Return one line that says what a sheet was made from.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    str
        Program, version and schema.
    """
    return f"{document['program']['name']} {document['program']['version']}, {document['schema']}"
