"""Why a plan is as it is, and where there is none what would let one through, in words in the job's units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from tautline.deliver.bundles import changes_of
from tautline.deliver.frame import Document, pulls_of, sections_of
from tautline.deliver.present import Units, count, isolated, percent, percents, plain, words

Data = Mapping[str, Any]

NO_REMEDY = (
    "no single lower friction, larger bend, new vault, pusher, assist, reel or leave at its ends lets a section through "
    "here: look at the duct's size and at the limits"
)
_SEVERAL = "several new vaults at once may, which [vaults] propose = true looks for"

_NARROW = "first a duct that the bundle fits, as said above"


def no_remedy(stretch: Data, document: Document) -> str:
    """Return what is said where nothing that was looked for helps a stretch.

    Parameters
    ----------
    stretch : mapping
        One of those that want a section.
    document : mapping
        A result document.

    Returns
    -------
    str
        Part of a sentence.
    """
    narrow = [[one["from"], one["to"]] for one in (document.get("no_plan") or {}).get("narrow", ())]
    if narrow and any(span in narrow for span in stretch["spans"]):
        return _NARROW
    return NO_REMEDY if _sought(document) else f"{NO_REMEDY}; {_SEVERAL}"


def helps(stretch: Data, document: Document) -> list[str]:
    """Return each thing that would help a stretch, as :func:`remedy_words` has it.

    Parameters
    ----------
    stretch : mapping
        One of those that want a section, with something that helps.
    document : mapping
        A result document.

    Returns
    -------
    list of str
        At last several new vaults, where the cable is too long for its reel and one is not enough.
    """
    told = [remedy_words(remedy, document) for remedy in stretch["remedies"]]
    long = told and all(remedy.get("reel_m") for remedy in stretch["remedies"])
    return [*told, _SEVERAL] if long and not _sought(document) else told


def _sought(document: Document) -> bool:
    """Whether new vaults were looked for, and none would do."""
    return any(f["code"] == "vaults-not-enough" for f in document.get("findings") or ())


def price(value: float) -> str:
    """Return a sum in the job's prices, to the hundredth and no longer than need be.

    Parameters
    ----------
    value : float
        The sum.

    Returns
    -------
    str
        Without a currency.

    Examples
    --------
    >>> price(44.0), price(1234.567)
    ('44', '1,234.57')
    """
    return f"{value:,.2f}".rstrip("0").rstrip(".")


def remedy_words(remedy: Data, document: Document) -> str:
    """Return a change that would let a section through, as a sentence without its full stop.

    Parameters
    ----------
    remedy : mapping
        Of the document.
    document : mapping
        A result document.

    Returns
    -------
    str
        What to change, from what to what, where; then what comes of it.
    """
    units = Units.of(document)
    said = [_change(remedy, document, units)]
    if remedy["kind"] != "allow" and remedy.get("leave"):
        said[0] += f", with {_leave(remedy)}"
    if remedy.get("reel_m"):
        said[0] += f", with {_reel(remedy['reel_m'], document, units)}"
    if remedy["feed"] is not None:
        said.append(
            f"{isolated(remedy['feed'])} -> {isolated(remedy['pull'])} then passes at {percent(remedy['utilisation'])}"
        )
    elif remedy["kind"] == "vault":
        said.append(
            f"the pulls on either side of it then pass, the worse at {percent(remedy['utilisation'])}"
        )
    plan = remedy["plan"]
    if plan is not None:
        said.append(
            f"a plan of the whole feeder then costs {price(plan['cost'])} ({count(plan['splices'] + 1, 'section')}, "
            f"worst use {percent(plan['utilisation'])})"
        )
    return "; ".join(said)


def whole_feeder(remedies: Sequence[Data]) -> str:
    """Return what stands over the changes that give a plan of the whole feeder.

    Parameters
    ----------
    remedies : sequence of mapping
        At least one.

    Returns
    -------
    str
        With its colon.
    """
    return f"{'Any of these' if len(remedies) > 1 else 'This'} gives a plan of the whole feeder:"


def reach_words(document: Document) -> str:
    """Return how far sections get from either end where there is no plan.

    Parameters
    ----------
    document : mapping
        A result document without a plan.

    Returns
    -------
    str
        A sentence.
    """
    why, feeder = document["no_plan"], document["feeder"]
    start, end = (isolated(feeder[k]) for k in ("from", "to"))
    reached, resumes = (isolated(why[k]) for k in ("reached", "resumes"))
    begun = f"sections from {start} reach {reached}" if reached != start else f"no section begins at {start}"
    ended = f"sections to {end} can begin at {resumes}" if resumes != end else f"none ends at {end}"
    return f"{begun[0].upper()}{begun[1:]}; {ended}."


def _change(remedy: Data, document: Document, units: Units) -> str:
    kind, value = remedy["kind"], remedy["value"]
    ends = f"between {isolated(remedy['from'])} and {isolated(remedy['to'])}"
    if kind == "friction":
        each = [
            f"{f['lubricated']:.3f}, now {f['lubricated_now']:.3f}"
            + ("" if f["dry"] is None else f" (dry {f['dry']:.3f}, now {f['dry_now']:.3f})")
            for f in remedy["friction"]
        ]
        return f"a friction coefficient of {'; and of '.join(each)}, in the ducts {ends}"
    if kind == "radius":
        radius, now = (_size(r, units) for r in (value, remedy["now"]))
        if remedy["span"] is None:
            return f"a radius of {radius} in every bend {ends} that is tighter; the tightest now has {now}"
        return f"a radius of {radius} in place of {now} in {_bend(remedy, document, units)}"
    if kind == "vault":
        # Where the job's own rules for new vaults let none stand, this one breaks them.
        beside = ", looked for without the lead, spacing and zones of [vaults]" if _sought(document) else ""
        z = remedy.get("z")
        deep = "" if z is None else f", the duct there at an elevation of {units.text('length', z, 1)}"
        return f"a new vault {_along(remedy, document, units)}{deep}{beside}"
    if kind == "reel":
        return _reel(value, document, units)
    if kind == "allow":
        return _leave(remedy)
    force = units.text("force", value)
    if kind == "assist":
        return f"an assist of {force} at {isolated(remedy['vault'])}"
    return f"a pusher of {force} at the feed" + (
        f", {isolated(remedy['vault'])}" if remedy["vault"] else " of each pull"
    )


def _reel(length: float, document: Document, units: Units) -> str:
    priced = ", at the price of the longest there is now" if document["reel"].get("sizes") else ""
    return f"cable on reels of {units.text('length', length)}{priced}"


def _leave(remedy: Data) -> str:
    """What must be allowed, at which vaults."""
    every = [{"vault": remedy["vault"], "what": ("splice", "feed", "pull")}]
    at: dict[str, list[str]] = {}
    for one in remedy.get("leave") or every:
        at.setdefault(_and([f"to {what}" for what in one["what"]]), []).append(isolated(one["vault"]))
    return "leave " + "; and ".join(f"{what} at {_and(tags)}" for what, tags in at.items())


def _and(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _size(radius: float, units: Units) -> str:
    """A radius as bends are named by it, with a digit more than the steps in which it is looked for."""
    extra = 1 if units.system == "si" else 0
    return units.text("length", radius, extra)


def _bend(item: Data, document: Document, units: Units) -> str:
    turn = item["turn_rad"]
    angle = f"{abs(math.degrees(turn)):.0f}° " if turn else ""
    return f"the {angle}bend {_along(item, document, units)}"


def _along(item: Data, document: Document, units: Units) -> str:
    """Where a place in a span is: how far from its nearer end, and on the map."""
    one, other = (isolated(tag) for tag in item["span"])
    spot = ""
    if item.get("x") is not None:
        ground = document["ground"]
        scale = ground["metres_per_unit"]
        spot = f" (at {item['x'] / scale:,.2f}, {item['y'] / scale:,.2f} {words(plain(ground['unit']))})"
    return f"{units.text('length', item['station_m'])} from {one} towards {other}{spot}"


def way_words(pull: Data, document: Document, worst: float | None = None) -> str:
    """Return why a pull does not go the other way, where one may wonder; empty where its figures say so.

    Parameters
    ----------
    pull : mapping
        Of the document.
    document : mapping
        A result document.
    worst : float, optional
        Worst utilisation of the whole plan, where it is known.

    Returns
    -------
    str
        A sentence without its full stop.
    """
    why, other = pull.get("why"), pull["reverse"]
    if not why or not other:
        return ""
    decided, units = why["other_way"], Units.of(document)
    if decided == "not-allowed":
        return "the other way is not allowed at its vaults"
    easier = other["utilisation"] < pull["utilisation"]
    if decided == "more-stops":
        stops = len(other["relube"]) - len(pull["relube"])
        return f"the other way takes {count(stops, 're-lube stop')} more"
    if not easier:
        return ""
    if worst is None:
        worst = max(p["utilisation"] for s in document["sections"] for p in s["pulls"])
    same = (
        f"the other way is easier at the same cost, {percent(other['utilisation'])}, but leaves the plan's worst use at "
        f"{percent(worst)}"
    )
    if decided == "climbs-more":
        climbs = units.text("length", why["other_climb_m"] - why["climb_m"])
        return f"{same}; this way is kept because it climbs {climbs} less"
    if decided == "later-vaults":
        return f"{same}; this way is kept because it is fed from the earlier vault"
    if any(len(s["pulls"]) > 1 and pull in s["pulls"] for s in sections_of(document)):
        return f"its section is one cable fed at {isolated(pull['feed'])} between its ends, so this pull cannot be turned round"
    return ""


def gain_words(pull: Data, document: Document) -> list[str]:
    """Return what would relieve a pull, one phrase a change, those that help first.

    Parameters
    ----------
    pull : mapping
        Of the document.
    document : mapping
        A result document.

    Returns
    -------
    list of str
        Empty where nothing was looked for.
    """
    units = Units.of(document)
    told = []
    for gain in sorted((pull.get("why") or {}).get("gains", ()), key=lambda g: g["utilisation"]):
        if gain["kind"] == "stop":
            change = f"re-lube at {isolated(gain['vault'])} too"
        elif gain["kind"] == "friction":
            change = f"friction {abs(gain['value']):.2f} lower"
        else:
            change = (
                f"radius {_size(gain['value'], units)} in place of {_size(gain['now'], units)} in "
                f"{_bend({**gain, 'x': None}, document, units)}"
            )
        helps = gain["utilisation"] < pull["utilisation"] - 5e-4
        told.append(f"{change}: {percent(gain['utilisation'])}" + ("" if helps else ", no gain"))
    return told


def runner_words(section: Data) -> str:
    """Return what a plan without a section would be.

    Parameters
    ----------
    section : mapping
        Of the document.

    Returns
    -------
    str
        Empty where it was not looked for.
    """
    why = section.get("why")
    if not why:
        return ""
    other = why["runner_up"]
    if other is None:
        return f"no plan: {plain(why['none'])}"
    extra = f"costs {price(why['extra_cost'])} more" if why["extra_cost"] > 0 else "costs the same"
    ends = [isolated(s["to"]) for s in other["sections"][:-1]]
    splices = f"splices at {_listed(ends)}" if ends else "no splice"
    return f"{extra}, worst use {percent(other['utilisation'])}: {splices}"


def _listed(tags: Sequence[str], most: int = 8) -> str:
    return ", ".join(tags[:most]) + (f" and {len(tags) - most} more" if len(tags) > most else "")


def splice_words(splice: Data, changes: bool = False, between: tuple[str, str] | None = None) -> str:
    """Return why a splice is where it is: what it would mean to have it at the vault before or behind.

    Parameters
    ----------
    splice : mapping
        Of the document.
    changes : bool, optional
        Whether another bundle goes on from there.
    between : (str, str), optional
        The vaults at which the sections on either side of it end.

    Returns
    -------
    str
        Sentences.
    """
    told = []
    if changes:
        told.append("the bundle changes here")
    elif splice["forced"]:
        told.append("the job asks for a splice here")
    for moved in splice["moved"]:
        to = isolated(moved["to"])
        if moved["extra_cost"] is None:
            told.append(f"not at {to}: {plain(moved['why'])}")
        elif abs(moved["extra_cost"]) > 1e-9:
            told.append(f"at {to} the plan would cost {price(moved['extra_cost'])} more")
        else:
            told.append(f"at {to} it would cost the same, {plain(moved['why'])}")
    if not told and between is not None:
        one, other = (isolated(tag) for tag in between)
        told.append(f"no other vault between {one} and {other} may have a splice")
    return "; ".join(told)


def splice_reasons(document: Document) -> dict[str, str]:
    """Return the reason for every splice of a plan.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    dict of str to str
        By vault tag; empty where none were worked out.
    """
    changes = changes_of(document)
    around = {one["to"]: (one["from"], other["to"]) for one, other in pairwise(sections_of(document))}
    return {
        s["vault"]: splice_words(s, s["vault"] in changes, around.get(s["vault"]))
        for s in document.get("splices") or []
    }


def alternative_rows(document: Document) -> list[dict[str, Any]]:
    """Return the alternatives as rows: cost, worst use, what differs in numbers, where the splices are.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    list of dict
        The cheapest first.
    """
    rows = []
    items = document.get("alternatives") or []
    uses = percents([item["plan"]["utilisation"] for item in items])
    for number, (item, use) in enumerate(zip(items, uses, strict=True), 1):
        plan = item["plan"]
        splices = [isolated(s["to"]) for s in plan["sections"][:-1]]
        relube = [isolated(v) for s in plan["sections"] for p in s["pulls"] for v in p["relube"]]
        said = []
        if item["chosen"]:
            said.append("the plan")
        if item["knee"]:
            said.append("knee: margin gets dear beyond")
        rows.append(
            {
                "number": number,
                "cost": plan["cost"],
                "utilisation": plan["utilisation"],
                "use": use,
                "sections": len(plan["sections"]),
                "pulls": plan["setups"],
                "relubes": plan["relubes"],
                "splices": _listed(splices) or "none",
                "relube": _listed(relube) or "nowhere",
                "said": "; ".join(said),
                **item,
            }
        )
    return rows


def plan_reasons(document: Document) -> list[tuple[str, str, str]]:
    """Return every reason that the document gives for its plan: of splices, of sections, of the ways of its pulls.

    Parameters
    ----------
    document : mapping
        A result document.

    Returns
    -------
    list of (str, str, str)
        What it is about (``splice``, ``section`` or ``pull``), which one, and the reason; empty where none were
        worked out.
    """
    rows = [("splice", isolated(tag), why) for tag, why in splice_reasons(document).items() if why]
    pulls = pulls_of(document)
    for number, section in enumerate(sections_of(document), 1):
        if why := runner_words(section):
            ends = f"{isolated(section['from'])} to {isolated(section['to'])}"
            rows.append(("section", f"{number}: {ends}", f"without it: {why}"))
    worst = max((p.data["utilisation"] for p in pulls), default=None)
    for p in pulls:
        way, relief = way_words(p.data, document, worst), gain_words(p.data, document)
        name = f"{p.number}: {p.title}"
        rows += [("pull", name, way)] if way else []
        rows += [("pull", name, "would relieve it: " + "; ".join(relief))] if relief else []
    return rows
