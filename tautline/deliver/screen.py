"""What a plan or a check prints: plain text of about a hundred columns, in the job's own units."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from tautline.deliver.bundles import bundle_words, cables_in, count_of, narrow_words, other_words, reel_of
from tautline.deliver.digest import failing_of, place_of, ways_in
from tautline.deliver.frame import Document, Pull, pulls_of, sections_of
from tautline.deliver.present import Units, columns, count, isolated, percent, plain, used, words
from tautline.deliver.reasons import (
    alternative_rows,
    gain_words,
    helps,
    no_remedy,
    price,
    reach_words,
    remedy_words,
    runner_words,
    splice_reasons,
    way_words,
    whole_feeder,
)
from tautline.document import bundle_of

_TableRow = tuple[list[str], list[str]]

WIDTH = 100
_NAME = 28
_SHOWN = 20
"""Findings and checks listed of each sort before the rest is only counted."""


def render(document: Document) -> str:
    """Return a result document as a person reads it on a terminal.

    Parameters
    ----------
    document : mapping
        A result document, valid against the schema.

    Returns
    -------
    str
        Lines that end with a newline. The verdict stands first and last.
    """
    units, pulls = Units.of(document), pulls_of(document)
    blocks = [
        _head(document, units, pulls),
        _no_plan(document),
        _sections(document, units),
        _pulls(document, pulls, units),
        _vaults(document, pulls),
        _alternatives(document),
        _answers(document, units),
        _lubricant(pulls, units),
        _attention(pulls, units),
        _findings(document),
        _said(document),
        _verdict(document, pulls),
    ]
    return "\n".join("\n".join(block) + "\n" for block in blocks if block)


def _answers(document: Document, units: Units) -> list[str]:
    """What was asked the other way round, a sentence each."""
    lines = []
    for a in document.get("answers", ()):
        ends = f"{isolated(a['from'])} to {isolated(a['to'])}"
        stopped = ", ".join(words(name) for name in a["stopped_by"])
        if a["question"] == "longest":
            told = f"longest pull from {isolated(a['from'])} towards {isolated(a['to'])}: {units.text('length', a['length_m'])}, "
            told += (
                f"to {isolated(a['reached'])}, where the feeder ends"
                if not stopped
                else f"{units.text('length', a['past_m'])} past {isolated(a['reached'])}; beyond, it fails by {stopped}"
            )
        else:
            what = "tightest bends" if a["question"] == "smallest-radius" else "narrowest duct"
            key = "radius_m" if a["question"] == "smallest-radius" else "inside_diameter_m"
            if a[key] is None:
                told = f"{what} from {ends}: none would do{f', for {stopped}' if stopped else ''}"
            else:
                size = (
                    f"{isolated(a['trade_size'])} {isolated(a['type'])}, inside "
                    if "trade_size" in a
                    else "R "
                )
                told = (
                    f"{what} from {ends}: {size}{units.text('size' if 'trade_size' in a else 'length', a[key], 2)}, fed at {isolated(a['feed'])}, "
                    f"at {percent(a['utilisation'])} of the limits"
                    + (f"; any smaller fails by {stopped}" if stopped else "")
                )
        lines += _wrap(told)
    return lines


def _head(document: Document, units: Units, pulls: Sequence[Pull]) -> list[str]:
    job, source = document["job"], document["source"]
    lines = [f"{isolated(job['name'])}: {_word(document)}"]
    feeder = document["feeder"]
    if feeder:
        sections = sections_of(document)
        stops = sum(len(p.data["relube"]) for p in pulls)
        parts = [count(len(sections), "section")] if sections else []
        parts += [count(len(pulls), "pull"), count(stops, "re-lube stop")]
        cost = document.get("cost")
        if cost:
            reels = f" (of it reels {price(cost['reels'])})" if cost.get("reels") else ""
            parts += [count(cost["splices"], "splice"), f"cost {price(cost['total'])}{reels}"]
        lines += _wrap(
            f"{isolated(feeder['from'])} to {isolated(feeder['to'])}, {units.text('length', feeder['length_m'])} "
            f"over {count(len(feeder['vaults']), 'vault')}: {', '.join(parts)}"
        )
    else:
        total = sum(p.data["length_m"] for p in pulls)
        lines.append(f"{count(len(pulls), 'pull')}, {units.text('length', total)} in all")
    lines += _wrap(bundle_words(document["bundle"], units))
    for other in other_words(document, units):
        lines += _wrap(other, "  ")
    lines += _wrap(
        f"{document['command']} of {isolated(job['file'])}, route from {isolated(source['file'])}, sha256 {source['sha256'][:12]}"
    )
    return lines


def _no_plan(document: Document) -> list[str]:
    why = document.get("no_plan")
    if not why:
        return []
    lines = ["WHY THERE IS NO PLAN"]
    for sentence in narrow_words(document, Units.of(document)):
        lines += _wrap(sentence, "  ")
    missing = why.get("missing")
    if missing is None or not why["blocked"]:
        lines += _wrap(plain(why["reason"]), "  ")
    if missing is None:  # of an earlier version
        for b in why["blocked"]:
            lines += _wrap(f"{isolated(b['from'])} to {isolated(b['to'])}: {plain(b['why'])}", "  - ")
    for stretch in (missing or ())[:_SHOWN]:
        lines += _wrap(
            f"No section gets from {isolated(stretch['from'])} to {isolated(stretch['to'])}:", "  "
        )
        for part in plain(stretch["why"]).split("; "):
            lines += _wrap(part, "      ")
        lines += _remedies(stretch, document)
    if len(missing or ()) > _SHOWN:
        lines.append(f"  {len(missing) - _SHOWN} more stretches in the result document")
    if why.get("remedies"):
        lines.append(f"  {whole_feeder(why['remedies'])}")
        for remedy in why["remedies"]:
            lines += _wrap(remedy_words(remedy, document), "    - ")
    lines += _wrap(reach_words(document), "  ")
    if why["partial"]:
        lines += _wrap("What follows is the best part of a plan, not a plan.", "  ")
    return lines


def _remedies(stretch: Mapping[str, Any], document: Document) -> list[str]:
    if not stretch["looked"]:
        return _wrap("what would help here was not looked for: --why looks everywhere", "    ")
    if not stretch["remedies"]:
        return _wrap(no_remedy(stretch, document), "    ")
    told = helps(stretch, document)
    lines = _wrap("what would help, each on its own:" if len(told) > 1 else "what would help:", "    ")
    for text in told:
        lines += _wrap(text, "    - ")
    return lines


def _sections(document: Document, units: Units) -> list[str]:
    sections = sections_of(document)
    if not sections:
        return []
    reel = document["reel"]
    longest = (
        f"longest on a reel {units.text('length', reel['longest_m'])}"
        if reel["longest_m"]
        else "no limit on a reel"
    )
    others = bool(document.get("other_bundles"))
    sizes = bool(reel.get("sizes"))
    rows: list[_TableRow] = []
    for k, s in enumerate(sections, 1):
        own = s.get("reel")
        holds = own["length_m"] if own else reel_of(document, s)["longest_m"]
        title = f"{isolated(s['from'])} to {isolated(s['to'])}"
        cells = [str(k), title, units.figure("length", s["cable_length_m"])]
        if sizes:
            cells += [units.figure("length", own and own[key]) for key in ("length_m", "waste_m")]
        cells += [percent(s["cable_length_m"] / holds) if holds else "-", str(count_of(document, s))]
        why = runner_words(s)
        notes = [cables_in(bundle_of(document, s), units)] if others else []
        rows.append((cells, [*notes, f"without it: {why}"] if why else notes))
    length = units.label("length")
    heads = [
        "no",
        "section",
        f"cable {length}",
        *([f"reel {length}", "left over"] if sizes else []),
        "of reel",
        "reels",
    ]
    title = f"SECTIONS  ({longest}; slack {units.text('length', reel['slack_m'])} at each end included)"
    return [*_wrap(title), *_table(heads, rows)]


def _pulls(document: Document, pulls: Sequence[Pull], units: Units) -> list[str]:
    if not pulls:
        return []
    worst = max(p.data["utilisation"] for p in pulls)
    force, press = units.label("force"), units.label("pressure")
    heads = [
        "no",
        "pull (feed -> pull)",
        units.label("length"),
        f"exit {force}",
        "limit",
        press,
        "limit",
        "use",
        "verdict",
        "other way",
    ]
    rows: list[_TableRow] = []
    for p in pulls:
        d, limits, other = p.data, p.data["limits"], p.data["reverse"]
        row = [
            str(p.number),
            p.title,
            units.figure("length", d["length_m"]),
            units.figure("force", d["exit_tension_N"]),
            units.figure("force", limits["max_tension_N"]),
            units.figure("pressure", d["max_sidewall_N_per_m"]),
            units.figure("pressure", limits["max_sidewall_N_per_m"]),
            used(d),
            "FAIL" if d["verdict"] == "fail" else "pass",
            "-" if not other else used(other) + (" FAIL" if other["verdict"] == "fail" else ""),
        ]
        others = bool(document.get("other_bundles"))
        notes = [cables_in(bundle_of(document, d), units)] if others else []
        notes.append(_pull_note(p, units))
        way, relief = way_words(d, document, worst), gain_words(d, document)
        notes += [way] if way else []
        notes += ["would relieve it: " + "; ".join(relief)] if relief else []
        rows.append((row, notes))
    title = f"PULLS  (tension in {force}; worst sidewall pressure in {press}; use: worst utilisation of a binding check)"
    return [*_wrap(title), *_table(heads, rows)]


def _pull_note(p: Pull, units: Units) -> str:
    d, parts = p.data, [p.governing(units)] if p.data["governs"] else []
    if d["max_sidewall_station_m"] is not None:
        parts.append(f"worst sidewall: {p.place(d['max_sidewall_station_m'], units)}")
    if d["max_tension_N"] > d["exit_tension_N"] * 1.0005:
        parts.append(f"greatest tension {units.text('force', d['max_tension_N'])}, before the end")
    brake = d.get("brake_tension_N", d["holding_tension_N"])
    if brake > 0:
        parts.append(f"hold back at least {units.text('force', brake)} at the feed")
    if d["relube"]:
        parts.append("re-lube at " + ", ".join(isolated(v) for v in d["relube"]))
    if d["reverse"]:
        parts.append("other way: " + _compared(d, d["reverse"], units))
    return "; ".join(parts)


def _compared(way: Mapping[str, Any], other: Mapping[str, Any], units: Units) -> str:
    """How tension and sidewall pressure change when the pull is turned round."""
    parts = []
    for key, name in (("max_tension_N", "tension"), ("max_sidewall_N_per_m", "sidewall")):
        if way[key] > 0:
            parts.append(f"{name} {100 * (other[key] / way[key] - 1):+.0f} %")
    return ", ".join(parts) or "no tension either way"


def _vaults(document: Document, pulls: Sequence[Pull]) -> list[str]:
    tags: dict[str, list[str]] = {}
    for v in document["vaults"]:
        for role in v["roles"]:
            tags.setdefault(role, []).append(isolated(v["tag"]))
    lines = []
    for role, label in (("splice", "Splices at"), ("relube", "Re-lube at")):
        if tags.get(role):
            lines += _wrap(f"{label}: {', '.join(tags[role])}")
        if role == "splice":
            for tag, reason in splice_reasons(document).items():
                if reason:  # a splice that cannot stand anywhere else may have none
                    lines += _wrap(f"{isolated(tag)}: {reason}", "  ", "      ")
    return lines


def _alternatives(document: Document) -> list[str]:
    """The trade-off between cost and margin, a plan a row."""
    rows = alternative_rows(document)
    if not rows:
        return []
    heads = ["no", "splices at", "cost", "worst use", "sections", "pulls", "re-lube stops"]
    table: list[_TableRow] = []
    for a in rows:
        figures = [price(a["cost"]), a["use"]]
        figures += [str(a[key]) for key in ("sections", "pulls", "relubes")]
        notes = [a["said"]] if a["said"] else []
        table.append(
            (
                [str(a["number"]), a["splices"], *figures],
                [*notes, *([f"re-lube at {a['relube']}"] if a["relubes"] else [])],
            )
        )
    return [*_wrap("ALTERNATIVES  (each the cheapest at its worst use)"), *_table(heads, table)]


def _lubricant(pulls: Sequence[Pull], units: Units) -> list[str]:
    if not pulls:
        return []
    total = sum(p.data["lubricant"]["total_L"] for p in pulls)
    lines = [f"LUBRICANT  ({units.text('volume', total)} in all)"]
    for p in pulls:
        plan = p.data["lubricant"]
        at = "; ".join(f"{units.text('volume', a['litres'])} at {isolated(a['vault'])}" for a in plan["at"])
        lines += _wrap(f"{at} ({plan['grade']})", f"  {p.number:>2}  ", "      ")
        for how, vaults in ways_in(plan["at"]).items():
            lines += _wrap(f"{vaults}: {how}", "      - ")
    return lines


def _attention(pulls: Sequence[Pull], units: Units) -> list[str]:
    failed: list[str] = []
    near: list[str] = []
    advice: list[str] = []
    for p in pulls:
        for c in p.data["checks"]:
            if c["verdict"] not in ("fail", "attention"):
                continue
            value, limit = units.check(c)
            place = p.place(c["station_m"], units)
            line = f"pull {p.number} {words(c['name'])} {value}, limit {limit}, {percent(c['utilisation'])}"
            line += (f", {place}" if place else "") + f" [{plain(c['source'])}]"
            (failed if c["verdict"] == "fail" else near if c["binding"] else advice).append(line)
    lines = []
    for title, found in (("fail", failed), ("near the limit", near), ("advice, binds nothing", advice)):
        for line in found[:_SHOWN]:
            lines += _wrap(line, f"  {title}: ", "      ")
        if len(found) > _SHOWN:
            lines.append(f"  {title}: {len(found) - _SHOWN} more in the result document")
    return ["CHECKS THAT NEED ATTENTION", *lines] if lines else []


def _findings(document: Document) -> list[str]:
    found = document["findings"]
    if not found:
        return []
    counts = Counter(f["severity"] for f in found)
    lines = [
        "FINDINGS  ("
        + ", ".join(count(counts[s], s) for s in ("error", "warning", "info") if counts[s])
        + ")"
    ]
    severe = sorted((f for f in found if f["severity"] != "info"), key=lambda f: f["severity"] != "error")
    for f in severe[:_SHOWN]:
        lines += _finding(f, document)
    if len(severe) > _SHOWN:
        lines.append(f"  {len(severe) - _SHOWN} more in the result document")
    notes = Counter(f["code"] for f in found if f["severity"] == "info")
    for code, number in notes.items():  # one of each kind stands for the others
        first = next(f for f in found if f["code"] == code and f["severity"] == "info")
        lines += _finding(first, document)
        if number > 1:
            lines.append(f"      and {number - 1} more of the kind in the result document")
    return lines


def _finding(f: Mapping[str, Any], document: Document) -> list[str]:
    place = place_of(f, document)
    text = f"{plain(f['message'])} ({place})" + (f" {plain(f['remedy'])}" if f["remedy"] else "")
    return _wrap(text, f"  {f['severity']} {plain(f['code'])}: ", "      ")


def _said(document: Document) -> list[str]:
    lines = []
    for text in document["overrides"]:
        lines += _wrap(plain(text), "Override: ", "  ")
    if document["assumptions"]:
        lines.append(
            f"{count(len(document['assumptions']), 'assumption')}, listed in the report and the result document."
        )
    for text in document["cautions"]:
        lines += _wrap(plain(text).split(". ")[0].rstrip(".") + ".", "Caution: ", "  ")
    return lines


def _verdict(document: Document, pulls: Sequence[Pull]) -> list[str]:
    failing = [str(p.number) for p in pulls if p.data["verdict"] == "fail"]
    text = f"Verdict: {_word(document)}"
    if document["verdict"] == "fail":
        numbers = ", ".join(failing[:_SHOWN]) + (", ..." if len(failing) > _SHOWN else "")
        text += f" ({failing_of(pulls)}: {numbers})"
    return _wrap(text)


def _word(document: Document) -> str:
    return {"pass": "PASS", "fail": "FAIL", "no-plan": "NO PLAN"}[document["verdict"]]


def _wrap(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most WIDTH columns; a word longer than that keeps its length."""
    indent = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return lines or [first.rstrip()]


def _table(heads: Sequence[str], rows: Sequence[_TableRow]) -> list[str]:
    """A table whose second column is text and the others figures; notes under a row, indented.

    A name too long for its column stands on a line of its own, whole.
    """
    wide = [max(len(heads[k]), *(columns(r[k]) for r, _ in rows)) for k in range(len(heads))]
    wide[1] = max(min(wide[1], _NAME), len(heads[1]))
    lines = [_row(heads, wide)]
    for cells, notes in rows:
        if columns(cells[1]) > wide[1]:
            lines.append(f"{cells[0]:>{wide[0]}}  {cells[1]}")
            cells = ["", "", *cells[2:]]
        lines.append(_row(cells, wide))
        for note in notes:
            lines += _wrap(note, " " * (wide[0] + 4))
    return lines


def _row(cells: Sequence[str], wide: Sequence[int]) -> str:
    out = []
    for k, (cell, width) in enumerate(zip(cells, wide, strict=True)):
        pad = " " * (width - columns(cell))
        out.append(cell + pad if k == 1 else pad + cell)
    return "  ".join(out).rstrip()
