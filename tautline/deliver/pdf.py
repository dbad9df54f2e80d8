"""The report for the file and the crew's sheets as PDF, set by typst from its wheel: no program to install."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from tautline.deliver.atomic import replacing
from tautline.deliver.bundles import cables_in, count_of, narrow_words, reel_of
from tautline.deliver.crew import sheet_of, sign_off
from tautline.deliver.digest import (
    bends_of,
    checks_of,
    figures_of,
    place_of,
    summary_of,
    trouble_of,
    warnings_of,
    winch_of,
)
from tautline.deliver.frame import ROLES, Document, Pull, pulls_of, sections_of
from tautline.deliver.present import Units, count, isolated, percent, plain, used, words
from tautline.deliver.reasons import alternative_rows, helps, no_remedy, plan_reasons, price, remedy_words
from tautline.deliver.typeset import typeset
from tautline.document import bundle_of


def write_report(document: Document, path: Path) -> None:
    """Write the report of a result document as PDF.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    _write("report.typ", report_data(document), path)


def write_crew(document: Document, path: Path) -> None:
    """Write one page a pull for the crew as PDF.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.
    path : Path
        The file, replaced whole.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    from tautline.deliver.plan_picture import PlanPicture

    units = Units.of(document)
    sheets = []
    for p in pulls_of(document):
        picture = PlanPicture(document, 400.0, only=p, tallest=230.0).render()
        sheets.append(sheet_of(document, p, units) | {"plan": str(picture)})
    _write("crew.typ", {"paper": _paper(units), "made": sign_off(document), "sheets": sheets}, path)


def report_data(document: Document) -> dict[str, Any]:
    """Return what the report says, as texts and pictures ready to be set.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    dict
        Strings, lists of strings, and pictures as SVG.
    """
    from tautline.deliver.feeder_picture import feeder_picture
    from tautline.deliver.plan_picture import PlanPicture

    units, pulls = Units.of(document), pulls_of(document)
    job, source, feeder = document["job"], document["source"], document["feeder"]
    lead = ""
    if feeder:
        vaults = count(len(feeder["vaults"]), "vault")
        length = units.text("length", feeder["length_m"])
        lead = f"{isolated(feeder['from'])} to {isolated(feeder['to'])}, {length} over {vaults}. "
    chart = feeder_picture(document, float(max(1000, min(10 * len(pulls), 2000))))
    return {
        "paper": _paper(units),
        "title": isolated(job["name"]),
        "verdict": document["verdict"].replace("-", " ").upper(),
        "passes": document["verdict"] == "pass",
        "lead": lead + summary_of(document, pulls),
        "meta": f"{document['command']} of {isolated(job['file'])}; route from {isolated(source['file'])}, sha256 "
        f"{source['sha256']}; crs {plain(document['crs'] or 'not known')}; drawn in "
        f"{words(plain(document['ground']['unit']))}",
        "made": sign_off(document),
        "figures": [list(pair) for pair in figures_of(document, units, pulls)],
        "no_plan": _no_plan(document),
        "trouble": [*warnings_of(document, pulls), *(_trouble_line(c) for c in trouble_of(pulls, units))],
        "plan": str(PlanPicture(document, legend=True).render()),
        "chart": str(chart) if chart else "",
        "pulls": _table(
            ["Pull", "Feed", "Pull vault", *_with(units, "Length:length", "Exit:force", "Limit:force")],
            [["Use", "Verdict", "Other way", "Re-lube at"], units],
            [_pull_row(p, units) for p in pulls],
        ),
        "sections": [_section_row(k, s, document, units) for k, s in enumerate(sections_of(document), 1)],
        "section_heads": ["Section", "From", "To", f"Cable, {units.label('length')}", "Of a reel", "Reels"],
        "reasons": [list(row) for row in plan_reasons(document)],
        "alternatives": [
            [
                str(a["number"]),
                price(a["cost"]),
                a["use"],
                *(str(a[key]) for key in ("sections", "pulls", "relubes")),
                a["splices"],
                a["said"],
            ]
            for a in alternative_rows(document)
        ],
        "lubricant_heads": ["Pull", "Vault", f"Lubricant, {units.label('volume')}", "Grade", "How"],
        "lubricant": [
            [
                str(p.number),
                isolated(at["vault"]),
                units.figure("volume", at["litres"]),
                plain(p.data["lubricant"]["grade"]),
                plain(at["how"]),
            ]
            for p in pulls
            for at in p.data["lubricant"]["at"]
        ],
        "vaults": [
            [
                isolated(v["tag"]),
                plain(v["kind"]),
                ", ".join(ROLES.get(r, plain(r)) for r in v["roles"]),
                units.figure("length", v["station_m"]),
                units.figure("length", v["z"]),
            ]
            for v in document["vaults"]
        ],
        "length": units.label("length"),
        "details": [_detail(p, document, units) for p in pulls],
        "cables": [
            [
                plain(c["name"] or "not named") + stretch,
                units.text("size", c["diameter_m"]),
                units.text("weight", c["weight_N_per_m"]),
                plain(c["material"])
                + (f", {units.text('area', c['conductor_area_m2'])}" if c["conductor_area_m2"] else ""),
                plain(c["construction"]),
            ]
            for stretch, bundle in _bundles(document)
            for c in bundle["cables"]
        ],
        "settings": [
            [plain(s["name"]), units.setting(s), plain(s["source"])] for s in document.get("settings", [])
        ],
        **{k: [plain(t) for t in document[k]] for k in ("overrides", "assumptions", "cautions")},
        "findings": [
            [
                str(k),
                f["severity"],
                plain(f["code"]),
                plain(f["message"]),
                place_of(f, document),
                plain(f["remedy"]),
            ]
            for k, f in enumerate(document["findings"], 1)
        ],
    }


def _with(units: Units, *columns: str) -> list[str]:
    return [f"{name}, {units.label(kind)}" for name, kind in (c.split(":") for c in columns)]


def _table(first: list[str], last: list[Any], rows: list[list[str]]) -> dict[str, Any]:
    heads, units = last
    return {"heads": [*first, *_with(units, "Sidewall:pressure", "Limit:pressure"), *heads], "rows": rows}


def _pull_row(p: Pull, units: Units) -> list[str]:
    d, other = p.data, p.data["reverse"]
    return [
        str(p.number),
        isolated(d["feed"]),
        isolated(d["pull"]),
        units.figure("length", d["length_m"]),
        units.figure("force", d["exit_tension_N"]),
        units.figure("force", d["limits"]["max_tension_N"]),
        units.figure("pressure", d["max_sidewall_N_per_m"]),
        units.figure("pressure", d["limits"]["max_sidewall_N_per_m"]),
        used(d),
        d["verdict"].upper() if d["verdict"] == "fail" else "pass",
        "-" if not other else used(other) + (" FAIL" if other["verdict"] == "fail" else ""),
        ", ".join(isolated(v) for v in d["relube"]),
    ]


def _section_row(number: int, s: Mapping[str, Any], document: Document, units: Units) -> list[str]:
    longest = reel_of(document, s)["longest_m"]
    return [
        str(number),
        isolated(s["from"]),
        isolated(s["to"]),
        units.figure("length", s["cable_length_m"]),
        percent(s["cable_length_m"] / longest) if longest else "-",
        str(count_of(document, s)),
    ]


def _bundles(document: Document) -> list[tuple[str, Document]]:
    """The bundles with where each goes, where there are several."""
    others = document.get("other_bundles", ())
    return [
        ("", document["bundle"]),
        *((f" ({isolated(o['from'])} to {isolated(o['to'])})", o) for o in others),
    ]


def _no_plan(document: Document) -> list[str]:
    why = document.get("no_plan")
    if not why:
        return []
    missing, lines = why.get("missing"), narrow_words(document, Units.of(document))
    if missing is None or not why["blocked"]:
        lines.append(plain(why["reason"]))
    if missing is None:  # of an earlier version
        lines += [f"{isolated(b['from'])} to {isolated(b['to'])}: {plain(b['why'])}" for b in why["blocked"]]
    for stretch in missing or ():
        ends = f"from {isolated(stretch['from'])} to {isolated(stretch['to'])}"
        lines.append(f"No section gets {ends}: {plain(stretch['why'])}")
        if not stretch["looked"]:
            lines.append(f"What would help {ends} was not looked for: --why looks everywhere.")
            continue
        told = helps(stretch, document) or [no_remedy(stretch, document)]
        lines += [f"What would help {ends}: {text}." for text in told]
    for remedy in why.get("remedies") or ():
        lines.append(f"The whole feeder would have a plan with {remedy_words(remedy, document)}.")
    reach = (
        f"Sections from the start reach {isolated(why['reached'])}; sections to the end can begin at "
        f"{isolated(why['resumes'])}."
    )
    return [
        *lines,
        reach + (" What follows is the best part of a plan, not a plan." if why["partial"] else ""),
    ]


def _trouble_line(c: Mapping[str, Any]) -> str:
    advice = "" if c["binding"] else " (advice, binds nothing)"
    place = f", {c['place']}" if c["place"] else ""
    return (
        f"{c['verdict']}{advice}: pull {c['pull'].number}, {c['name']} {c['value']}, limit {c['limit']}, "
        f"{percent(c['utilisation'])}{place}"
    )


def _detail(p: Pull, document: Document, units: Units) -> dict[str, Any]:
    from tautline.deliver.pull_picture import pull_picture

    d, other = p.data, p.data["reverse"]
    hot = p.place(d["max_sidewall_station_m"], units)
    winch = winch_of(p, units)
    governs = f", {p.governing(units)}" if d["governs"] else ""
    facts = [
        ["Utilisation", used(d) + governs],
        ["Length", units.text("length", d["length_m"])],
        ["Exit tension", units.text("force", d["exit_tension_N"])],
        ["Greatest tension", units.text("force", d["max_tension_N"])],
        ["Tension limit", units.text("force", d["limits"]["max_tension_N"])],
        *([["Winch reads at most", winch]] if winch else []),
        ["Entry tension", units.text("force", d["entry_tension_N"])],
        ["Hold back", units.text("force", d["holding_tension_N"])],
        ["Brake for low friction", units.text("force", d.get("brake_tension_N", d["holding_tension_N"]))],
        ["Worst sidewall", units.text("pressure", d["max_sidewall_N_per_m"]) + (f": {hot}" if hot else "")],
        ["Sidewall limit", units.text("pressure", d["limits"]["max_sidewall_N_per_m"])],
        [
            "Bundle",
            f"{cables_in(bundle_of(document, d), units)}; {plain(d['arrangement'])}, "
            f"{units.text('weight', d['weight_N_per_m'])}",
        ],
        ["Re-lube at", ", ".join(isolated(v) for v in d["relube"]) or "nowhere"],
        [
            "Lubricant",
            f"{units.text('volume', d['lubricant']['total_L'])}: "
            + "; ".join(
                f"{units.text('volume', a['litres'])} at {isolated(a['vault'])}" for a in d["lubricant"]["at"]
            ),
        ],
    ]
    if other:
        fails = ", fails" if other["verdict"] == "fail" else ""
        facts.append(
            [
                "The other way",
                f"{percent(other['utilisation'])}{fails}; exit {units.text('force', other['exit_tension_N'])}, "
                f"sidewall {units.text('pressure', other['max_sidewall_N_per_m'])}",
            ]
        )
    return {
        "title": f"Pull {p.number}: {isolated(d['feed'])} → {isolated(d['pull'])}",
        "verdict": d["verdict"].upper(),
        "passes": d["verdict"] == "pass",
        "facts": facts,
        "chart": str(pull_picture(p, units)),
        "checks": [
            [
                c["name"] + ("" if c["binding"] else " (advice)"),
                c["value"],
                c["limit"],
                percent(c["utilisation"]),
                c["verdict"],
                c["place"],
                plain(c["source"]) + (" (stated in the job)" if c["overridden"] else ""),
            ]
            for c in checks_of(p, units)
        ],
        "bend_heads": [
            f"Station, {units.label('length')}",
            "Bend",
            f"Tension in, {units.label('force')}",
            f"Out, {units.label('force')}",
            f"Sidewall, {units.label('pressure')}",
            "Where",
        ],
        "bends": [
            [
                units.figure("length", b["start"]),
                b["words"],
                units.figure("force", b["tension_in"]),
                units.figure("force", b["tension_out"]),
                units.figure("pressure", b["sidewall"]),
                b["place"],
            ]
            for b in bends_of(p, units)
        ],
        "notes": [
            *(plain(t) for t in d["notes"]),
            *(f"Lubricant of pull {p.number}: {plain(t)}" for t in d["lubricant"]["notes"]),
        ],
    }


def _paper(units: Units) -> str:
    return "us-letter" if units.system == "us" else "a4"


def _write(template: str, data: Mapping[str, Any], path: Path) -> None:
    source = files("tautline.deliver").joinpath("assets", template).read_bytes()
    content = typeset(source, data, "pdf")
    with replacing(path) as draft:
        draft.write_bytes(content)
