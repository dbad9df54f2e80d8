"""Every check of a pull written out: how the value arises, how the limit arises, what of it is used, and its source."""

from __future__ import annotations

import math
from collections.abc import Iterator

from mechanics.units import quantity, show
from tautline.document import Document
from tautline.explain_fit import fitting
from tautline.explain_page import SAME, Page
from tautline.explain_piece import number
from tautline.explain_values import Shown, strained

# inches or millimetres: lengths across the duct
_SMALL = ("clearance", "clearance_advice", "bending_radius", "bending_radius_pulling")
# where less is worse
_LEAST = _SMALL


def check_lines(page: Page) -> Iterator[str]:
    """Write out every check.

    Parameters
    ----------
    page : Page
        The pull.

    Yields
    ------
    str
        Lines of text.
    """
    for check in page.pull["checks"]:
        yield from _written(page, check)
    pull = page.pull
    yield f"  verdict: {pull['verdict'].upper()}, governed by {pull['governs'].replace('_', ' ') or 'nothing'}"


def _written(page: Page, check: Document) -> Iterator[str]:
    verdict = check["verdict"].upper() if check["binding"] else f"advice, {check['verdict']}"
    used = "" if check["utilisation"] is None else f", {100 * check['utilisation']:.1f} %"
    yield f"  {check['name'].replace('_', ' ')}: {verdict}{used}"
    value, limit = check["value"], check["limit"]
    shown = strained(page, check) or fitting(page, check) or Shown(())
    lines = list(shown.lines) or [told(page, check, value)]
    if shown.value is not None and value is not None:
        apart = abs(shown.value - value)
        if apart > SAME * max(abs(value), 1e-3 if check["unit"] == "m" else 0.0):
            lines.append(f"THE DOCUMENT SAYS {told(page, check, value)}")
    if not shown.lines and check["station_m"] is not None:
        lines[0] += f", at {page.units.told_length(check['station_m'])}"
    yield from _labelled("value", lines)
    if limit is not None:
        yield from _labelled("limit", _limit(page, check))
    if limit is not None and value is not None and check["utilisation"] is not None:
        yield from _labelled("used", [_used(page, check)])
    yield from _labelled(
        "source", [f"{'stated by the job; ' if check['overridden'] else ''}{check['source']}"]
    )


def _labelled(label: str, lines: list[str]) -> Iterator[str]:
    for k, line in enumerate(lines):
        yield f"    {label if k == 0 else '':<8}{line}"


def _unit(page: Page, check: Document) -> tuple[float, str]:
    """Return the unit in which a check is written, and its name."""
    units, unit = page.units, check["unit"]
    if unit == "N":
        return units.force_unit, f" {units.force_name}"
    if unit == "N/m":
        return units.force_unit / units.length_unit, f" {units.force_name}/{units.length_name}"
    if unit == "m" and check["name"] in _SMALL:
        return units.small_unit, f" {units.small_name}"
    if unit == "m":
        return units.length_unit, f" {units.length_name}"
    if unit == "rad":
        return math.pi / 180, " deg"
    return 1.0, "" if unit in ("", "1") else f" {unit}"


def told(page: Page, check: Document, value: float | None, figures: int = 7) -> str:
    """Return a value of a check with its unit.

    Parameters
    ----------
    page : Page
        The pull.
    check : dict
        One of its checks.
    value : float or None
        SI.
    figures : int, optional
        To which it is rounded.

    Returns
    -------
    str
        In the units of the page.
    """
    if value is None:
        return "not computed"
    if check["unit"] == "degC":
        return show(value, "temperature", page.units.system)
    unit, name = _unit(page, check)
    return f"{number(float(f'{value / unit:.{figures}g}'))}{name}"


def _used(page: Page, check: Document) -> str:
    unit, _ = _unit(page, check)
    value, limit, used = check["value"] / unit, check["limit"] / unit, check["utilisation"]
    over, under, said = (
        (limit, value, "limit / value") if check["name"] in _LEAST else (value, limit, "value / limit")
    )
    if under == 0 or abs(over / under - used) > SAME * max(1.0, abs(used)):
        return f"{number(used)}"  # a value of nothing against a least
    return f"{said} = {number(over)} / {number(under)} = {number(used)}"


def _limit(page: Page, check: Document) -> list[str]:
    """Say how a limit arises, where there is a formula; one that the job states has none."""
    plain = told(page, check, check["limit"])
    name = check["name"]
    if name == "jam_ratio":
        low, high = check["limit"], check.get("limit_high")
        if high is None:
            return [f"{plain}, the lower end of the band"]
        within = low <= check["value"] <= high
        return [
            f"critical from {number(low)} to {number(high)}: {'within' if within else 'outside'} the band"
        ]
    if check["overridden"]:
        return [f"{plain}, stated by the job"]
    if name.startswith(("restart", "braked")):
        what = "sidewall pressure" if name.endswith("sidewall") else "tension"
        return [f"{plain}, the least limit on {what} above"]
    worked = {
        "conductor_tension": _conductors,
        "sheath_tension": _sheath,
        "bending_radius": _bending,
        "bending_radius_pulling": _bending,
    }.get(name)
    if name == "creep":
        return [f"{plain}, the lubricated friction there"]
    shown = worked(page, check) if worked else Shown(())
    if shown.value is None or abs(shown.value - check["limit"]) > SAME * check["limit"]:
        return [plain]
    return list(shown.lines)


def _conductors(page: Page, check: Document) -> Shown:
    stress, share = page.rules.get("conductor_stress"), page.rules.get("conductor_share")
    cables = page.bundle["cables"]
    main = [c for c in cables if c["role"] == "power"] or cables
    areas = {c["conductor_area_m2"] for c in main}
    if stress is None or share is None or len(areas) != 1 or None in areas:
        return Shown(())
    count, (area,) = sum(c.get("conductors", 1) for c in main), areas
    us = page.units.system == "us"
    per, name = (quantity("1 kcmil", "area"), "kcmil") if us else (1e-6, "mm2")
    pull = stress * per / page.units.force_unit
    limit = share * stress * area * count
    return Shown(
        (
            f"stress [{page.units.force_name}/{name}] x area [{name}] x conductors x share = "
            f"{number(pull)} x {number(area / per)} x {count} x {number(share)} = {page.units.told_force(limit)}",
        ),
        limit,
    )


def _sheath(page: Page, check: Document) -> Shown:
    stress = page.rules.get("lead_sheath")
    areas = [c.get("sheath_area_m2") or 0.0 for c in page.bundle["cables"] if c["role"] == "power"]
    if stress is None or not areas:
        return Shown(())
    pull = stress * 1e-6 / page.units.force_unit
    limit = stress * math.fsum(areas)
    return Shown(
        (
            f"stress [{page.units.force_name}/mm2] x lead [mm2] x cables = {number(pull)} x {number(areas[0] * 1e6)} x "
            f"{len(areas)} = {page.units.told_force(limit)}",
        ),
        limit,
    )


def _bending(page: Page, check: Document) -> Shown:
    key = "bending_pulling" if check["name"].endswith("pulling") else "bending"
    unit, name = page.units.small_unit, page.units.small_name
    cables = page.bundle["cables"]
    found = [
        (times * c["diameter_m"], f"{number(times)} x {page.units.small(c['diameter_m'])}", "times d")
        for c in cables
        if (times := page.rules.get(f"{key} {c['construction']}")) is not None
    ]
    one, overall = page.rules.get("multiplexed_one"), page.rules.get("multiplexed_overall")
    main = [c["diameter_m"] for c in cables if c["role"] == "power"]
    if one is not None and overall is not None and len(main) == 3:
        d, round_three = max(main), 1 + 2 / math.sqrt(3)
        found.append((one * d, f"{number(one)} x {page.units.small(d)}", "times d, of an assembly"))
        put_in = f"{number(overall)} x {number(round_three)} x {page.units.small(d)}"
        found.append((overall * round_three * d, put_in, "times the diameter of the assembly"))
    for limit, put_in, said in found:
        if abs(limit - check["limit"]) <= SAME * limit:
            return Shown((f"{said} = {put_in} = {number(limit / unit)} {name}",), limit)
    return Shown(())
