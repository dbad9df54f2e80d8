"""How much lubricant a pull takes, and where, worked by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from mechanics.units import quantity, show
from tautline.document import Document
from tautline.explain_page import SAME, Page
from tautline.explain_piece import number


def lubricant_lines(page: Page) -> Iterator[str]:
    """Work out the lubricant of a pull.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        Lines of text.
    """
    plan = page.pull["lubricant"]
    if plan is None:
        yield "  not in this result, which is of an older version: plan or check again"
        return
    yield f"  {_volume(page, plan['total_L'])} in all, grade {plan['grade']}"
    runs = _runs(page)
    base, factor = page.rules.get("lubricant_base"), page.rules.get("lubricant_factor")
    if base is not None and factor is not None and len(runs) == len(plan["at"]):
        us = page.units.system == "us"
        inch = quantity("1 in", "length") if us else 1.0
        per = base * page.units.length_unit * inch / _unit(page)
        yield (
            f"  Q is base x length [{page.units.length_name}] x D [{'in' if us else 'm'}] x factor, of the ducts on to the next "
            f"place where lubricant goes in; base {number(per)}, factor {number(factor)}"
        )
        for at, run in zip(plan["at"], runs, strict=True):
            yield from _worked(page, at, run, per, inch, factor)
        if len(plan["at"]) > 1:
            terms = " + ".join(number(at["litres"] / _unit(page)) for at in plan["at"])
            yield f"  in all = {terms} = {_volume(page, plan['total_L'])}"
    else:
        for at in plan["at"]:
            yield f"  {at['vault']}: {_volume(page, at['litres'])}, {at['how']}"
    for note in plan["notes"]:
        yield f"  - {note}"


def _runs(page: Page) -> list[dict[float, float]]:
    """Length of duct by inside diameter, from the feed and from each re-lube vault to the next. [m]"""
    s = page.pull["segments"]
    bounds = [0, *(page.crossed(tag) for tag in page.pull["relube"]), len(page.pieces)]
    runs = []
    for begin, end in pairwise(bounds):
        run: dict[float, float] = {}
        for i in range(begin, end):
            if not s["guide"][i]:
                inside = s["inside_diameter_m"][i] or 0.0
                run[inside] = run.get(inside, 0.0) + s["length_m"][i]
        runs.append(run)
    return runs


def _worked(
    page: Page, at: Document, run: dict[float, float], per: float, inch: float, factor: float
) -> Iterator[str]:
    unit = _unit(page)
    litres = unit * per * factor * math.fsum(m / page.units.length_unit * d / inch for d, m in run.items())
    terms = " + ".join(f"{page.units.length(m)} x {number(d / inch)}" for d, m in run.items())
    put_in = f"{number(per)} x {f'({terms})' if len(run) > 1 else terms} x {number(factor)}"
    yield f"  {at['vault']}: Q = {put_in} = {_volume(page, litres)}"
    if abs(litres - at["litres"]) > SAME * at["litres"]:
        yield f"    THE DOCUMENT SAYS {_volume(page, at['litres'])}"
    yield f"    {at['how']}"
    bag, ahead = page.pull["lubricant"].get("bag_L"), page.rules.get("lubricant_ahead")
    if bag and ahead and at["vault"] == page.pull["feed"] and " bag" in at["how"]:
        bags = ahead * at["litres"] / bag
        yield (
            f"    bags: at most a third goes ahead, {number(ahead)} Q / content = {number(ahead)} x "
            f"{number(at['litres'] / unit)} / {number(bag / unit)} = {number(bags)}, whole bags: {math.floor(bags)}"
        )


def _unit(page: Page) -> float:
    """Return a US gallon, or a litre. [L]"""
    return quantity("1 gal", "volume") if page.units.system == "us" else 1.0


def _volume(page: Page, litres: float) -> str:
    if page.units.system == "us":
        return f"{number(litres / _unit(page))} gal ({number(litres)} L)"
    return f"{number(litres)} L ({show(litres, 'volume', 'us')})"
