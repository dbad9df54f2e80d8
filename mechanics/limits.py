"""The limits of a cable and of what pulls it, each with its source; the tables behind them are in ``mechanics/data``."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import get_args

from mechanics.bundle import main_cables
from mechanics.cable import Attachment, Bundle, Cable
from mechanics.errors import DomainError, flag, number, one_of
from mechanics.packing import ENCLOSING
from mechanics.rules import SUPPLY, Check, Override, Practice, Rules, Verdict
from mechanics.tables import Tables, built_in, tables_of

LEAD = "lead-covered"
"""The construction, in the tables, that has a lead sheath."""
OVERRIDABLE: dict[str, str] = {
    "max_tension": "force",
    "conductor_tension": "force",
    "eye_tension": "force",
    "grip_tension": "force",
    "sheath_tension": "force",
    "puller_tension": "force",
    "restart_tension": "force",
    "max_sidewall": "sidewall",
    "restart_sidewall": "sidewall",
    "bending_radius": "length",
    "bending_radius_pulling": "length",
    "clearance": "diameter",
    "bend_total": "angle",
    "reel_length": "length",
    "fill": "ratio",
    "jam_ratio": "",
    "temperature": "temperature",
    "lubricant_temperature": "temperature",
    "creep": "",
}
"""Every check whose limit, or whether it binds, a job may state; with the kind of value, empty for a plain number."""


@dataclass(frozen=True)
class Cap:
    """A limit that comes of the bundle alone.

    Parameters
    ----------
    name : str
        Of the check.
    limit : float
        SI; infinite where none is known.
    source : str
        Of the limit.
    overridden : bool, optional
        Whether the job stated it.
    """

    name: str
    limit: float
    source: str
    overridden: bool = False


def conductor_limit(bundle: Bundle, practice: Practice = "us", tables: Tables | None = None) -> Cap:
    r"""Return the greatest tension that the conductors of a bundle carry together.

    .. math:: T \le k\,\sigma \sum A_i, \qquad k = 1 \text{ up to three conductors, } 0.8 \text{ beyond}

    Parameters
    ----------
    bundle : Bundle
        The power cables count; a ground or fibre cable beside them does not.
    practice : {"us", "metric"}, optional
        Whose conductor stresses hold.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    Cap
        Infinite, and the source says why, where a cable has no conductor area stated.

    Raises
    ------
    DomainError
        A conductor material or temper that the table does not hold, or another practice.

    References
    ----------
    [icea-p41] and [aeic-cg5] in docs/sources.md.

    Examples
    --------
    >>> from mechanics.units import quantity
    >>> cable = Cable(diameter=0.03, weight=20.0, conductor_area=quantity("500 kcmil", "area"))
    >>> round(conductor_limit(Bundle((cable,))).limit / quantity("1 lbf", "force"), 6)
    4000.0
    """
    known = tables_of(tables)
    main = main_cables(bundle)
    one_of("practice", practice, get_args(Practice))
    if any(c.conductor_area is None for c in main):
        return Cap("conductor_tension", float("inf"), "conductor area not stated: no limit can be worked out")
    rows = [known.find("conductor_stress", c.material, c.temper, practice) for c in main]
    weakest = min(rows, key=lambda row: row.number("stress"))
    area = sum((c.conductor_area or 0.0) * c.conductors for c in main)
    count = sum(c.conductors for c in main)
    alike = known.find("limits", "shared_by_all")
    share, said = 1.0, alike.source
    if count > alike.number("value"):
        beyond = known.find("limits", "share_beyond")
        share, said = beyond.number("value"), beyond.source
    source = weakest.source if count == 1 else f"{weakest.source}; {count} conductors: {said}"
    return Cap("conductor_tension", share * weakest.number("stress") * area, source)


def attachment_limits(
    bundle: Bundle, attachment: Attachment = "eye", tables: Tables | None = None
) -> tuple[Cap, ...]:
    """Return the greatest tensions that the way the rope is fastened allows.

    Parameters
    ----------
    bundle : Bundle
        For its lead sheaths.
    attachment : {"eye", "grip"}, optional
        One pulling eye on all conductors, or one basket grip over all cables.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    tuple of Cap
        Of the eye; or of the grip, and of the lead under it: infinite, and the source says why, where a lead-covered
        cable has no cross-section of its lead stated.

    Raises
    ------
    DomainError
        Neither an eye nor a grip.

    References
    ----------
    [icea-p41] and [tes-p-104.05] in docs/sources.md.

    Examples
    --------
    >>> attachment_limits(Bundle((Cable(diameter=0.03, weight=20.0),)), "grip")[0].name
    'grip_tension'
    """
    known = tables_of(tables)
    main = main_cables(bundle)
    if one_of("attachment", attachment, get_args(Attachment)) == "eye":
        row = known.find("limits", "pulling_eye")
        return (Cap("eye_tension", row.number("value"), row.source),)
    row = known.find("limits", "basket_grip")
    caps = [Cap("grip_tension", row.number("value"), f"{row.source}; one grip over all cables")]
    lead = sum(c.sheath_area or 0.0 for c in main)
    if any(c.construction == LEAD and not c.sheath_area for c in main):
        said = "cross-section of the lead sheath not stated: no limit can be worked out for the lead under a grip"
        caps.append(Cap("sheath_tension", float("inf"), said))
    elif lead > 0:
        row = known.find("limits", "lead_sheath")
        caps.append(Cap("sheath_tension", row.number("value") * lead, f"{row.source}: under a grip"))
    return tuple(caps)


def sidewall_limit(bundle: Bundle, stated: float | None = None, tables: Tables | None = None) -> Cap:
    """Return the greatest sidewall pressure that the weakest cable of a bundle takes.

    Parameters
    ----------
    bundle : Bundle
        By the construction of its cables, those beside the power cables included: any may lie between them and the duct.
    stated : float, optional
        From the data sheet. [N/m]
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    Cap
        The stated one, else the least of the table's.

    Raises
    ------
    DomainError
        A construction that the table does not hold, or a stated limit not above 0.

    References
    ----------
    [aeic-cg5] in docs/sources.md.

    Examples
    --------
    >>> round(sidewall_limit(Bundle((Cable(diameter=0.03, weight=20.0),))).limit, 1)  # 500 lbf/ft
    7297.0
    """
    main_cables(bundle)
    known = tables_of(tables)
    if stated is not None:
        limit = number("stated", stated, above=0.0)
        return Cap("max_sidewall", limit, "the cable's data sheet, as stated in the job")
    rows = [known.find("sidewall", c.construction) for c in bundle.cables]
    weakest = min(rows, key=lambda row: row.number("pressure"))
    return Cap("max_sidewall", weakest.number("pressure"), f"{weakest.key[0]}: {weakest.source}")


def bending_limit(bundle: Bundle, pulling: bool = False, tables: Tables | None = None) -> Cap:
    """Return the least radius, at the inside of a bend, to which a bundle may be bent.

    Parameters
    ----------
    bundle : Bundle
        By construction and diameter of its cables.
    pulling : bool, optional
        While it is being pulled under tension; otherwise as it stays in place.
    tables : Tables, optional
        With a user's own rows.

    Returns
    -------
    Cap
        The greatest that any of its cables asks for. [m]

    Raises
    ------
    DomainError
        A construction that the table does not hold.

    References
    ----------
    [nec] in docs/sources.md.

    Examples
    --------
    >>> round(bending_limit(Bundle((Cable(diameter=0.05, weight=20.0),))).limit, 6)
    0.6
    """
    known = tables_of(tables)
    main_cables(bundle)
    column = "pulling" if flag("pulling", pulling) else "placed"
    name = "bending_radius_pulling" if pulling else "bending_radius"

    def asked(cable: Cable) -> tuple[float, str]:
        row = known.find("bending", cable.construction)
        times = row.number(column)
        return times * cable.diameter, f"{times:g} times the diameter, {row.key[0]}: {row.source}"

    limit, source = max(asked(c) for c in bundle.cables)
    if bundle.triplexed:
        one, overall = (known.find("limits", f"multiplexed_{key}") for key in ("one", "overall"))
        d = max(c.diameter for c in main_cables(bundle))
        assembled = max(one.number("value") * d, overall.number("value") * ENCLOSING[2] * d)
        if assembled > limit:
            limit, source = assembled, f"assembly: {one.source}"
    return Cap(name, limit, source)


@functools.lru_cache(maxsize=256)
def _tension_caps(
    bundle: Bundle, practice: Practice, attachment: Attachment, tables: Tables
) -> tuple[Cap, ...]:
    return (conductor_limit(bundle, practice, tables), *attachment_limits(bundle, attachment, tables))


@functools.lru_cache(maxsize=256)
def _sidewall_cap(bundle: Bundle, stated: float | None, tables: Tables) -> Cap:
    return sidewall_limit(bundle, stated, tables)


@functools.lru_cache(maxsize=256)
def bending_caps(bundle: Bundle, tables: Tables) -> tuple[Cap, Cap]:
    """Return the bending limits of a bundle, in place and while pulling; see :func:`bending_limit`.

    Parameters
    ----------
    bundle : Bundle
        By construction and diameter of its cables.
    tables : Tables
        Which to use.

    Returns
    -------
    tuple of Cap
        In place, and while pulling.
    """
    return bending_limit(bundle, False, tables), bending_limit(bundle, True, tables)


def tension_caps(bundle: Bundle, rules: Rules) -> tuple[Cap, ...]:
    """Return every limit on the tension anywhere in a bundle, as the rules have them.

    Parameters
    ----------
    bundle : Bundle
        The cables.
    rules : Rules
        ``max_tension`` among its overrides takes the place of conductor, eye, grip and sheath together.

    Returns
    -------
    tuple of Cap
        At least one; the limit of a cap may be infinite.
    """
    whole = rules.overrides.get("max_tension")
    if whole is not None and whole.limit is not None:
        source = "limits.max_tension as stated in the job, in place of conductor, eye and grip limits"
        return (
            Cap(
                "max_tension",
                number("overrides['max_tension'].limit", whole.limit, above=0.0),
                source,
                True,
            ),
        )
    caps = _tension_caps(bundle, rules.practice, rules.attachment, rules.tables or built_in())
    return tuple(overriding(cap, rules) for cap in caps)


def sidewall_cap(bundle: Bundle, rules: Rules) -> Cap:
    """Return the limit on sidewall pressure, as the rules have it.

    Parameters
    ----------
    bundle : Bundle
        The cables.
    rules : Rules
        With the data sheet's value and overrides.

    Returns
    -------
    Cap
        One limit.
    """
    return overriding(_sidewall_cap(bundle, rules.max_sidewall, rules.tables or built_in()), rules)


def overriding(cap: Cap, rules: Rules) -> Cap:
    """Return a limit as the job overrides it, or as it is.

    Parameters
    ----------
    cap : Cap
        By the tables.
    rules : Rules
        With the job's overrides.

    Returns
    -------
    Cap
        Marked where the job stated it.

    Raises
    ------
    DomainError
        A stated limit that is not finite, or not above 0 (a temperature may be).
    """
    stated = rules.overrides.get(cap.name)
    if stated is None or stated.limit is None:
        return cap
    least = None if OVERRIDABLE[cap.name] == "temperature" else 0.0
    limit = number(f"overrides[{cap.name!r}].limit", stated.limit, above=least)
    return Cap(cap.name, limit, f"limits.{cap.name} as stated in the job, in place of: {cap.source}", True)


def binds(name: str, rules: Rules, usually: bool) -> bool:
    """Say whether a check can fail a pull.

    Parameters
    ----------
    name : str
        Of the check.
    rules : Rules
        With the job's overrides.
    usually : bool
        Where the job does not say.

    Returns
    -------
    bool
        As the job says, else as usual.
    """
    stated = rules.overrides.get(name, Override())
    return usually if stated.binding is None else stated.binding


def told(cap: Cap, rules: Rules, usually: bool) -> str:
    """Return the source of a limit, and that the job lets its check bind, or not, against the usual.

    Parameters
    ----------
    cap : Cap
        The limit.
    rules : Rules
        With the job's overrides.
    usually : bool
        Whether it binds where the job does not say.

    Returns
    -------
    str
        For the check.
    """
    now = binds(cap.name, rules, usually)
    if now == usually:
        return cap.source
    return f"{cap.source}; {'binding' if now else 'advice only'}, as stated in the job"


def known_overrides(rules: Rules) -> None:
    """Refuse overrides of checks that do not exist, or that have no limit to state.

    Parameters
    ----------
    rules : Rules
        With the job's overrides.

    Raises
    ------
    DomainError
        Names those that do.
    """
    for name in rules.overrides:
        if name not in OVERRIDABLE:
            raise DomainError(f"overrides must be of {', '.join(OVERRIDABLE)}, got {name!r}")
    jam = rules.overrides.get("jam_ratio")
    if jam is not None and jam.limit is not None:
        raise DomainError(
            "overrides['jam_ratio'] may say whether the check binds; its band stands in the table of limits "
            f"(jam_low, jam_high), got a limit of {jam.limit!r}"
        )


def at_most(
    cap: Cap, value: float, unit: str, rules: Rules, *, binding: bool = True, where: float | None = None
) -> Check:
    """Hold a value against a limit it must not pass.

    Parameters
    ----------
    cap : Cap
        Limit, as the job overrides it; infinite: the check is only a note.
    value : float
        What was computed.
    unit : str
        SI.
    rules : Rules
        With the job's overrides.
    binding : bool, optional
        Whether it usually can fail a pull.
    where : float, optional
        Station. [m]

    Returns
    -------
    Check
        Utilisation is value over limit.
    """
    if cap.limit == float("inf"):
        return Check(cap.name, value, None, None, unit, cap.source, False, "note", where, cap.overridden)
    return _held(cap, value, value / cap.limit, unit, rules, binding, where)


def at_least(
    cap: Cap, value: float, unit: str, rules: Rules, *, binding: bool = True, where: float | None = None
) -> Check:
    """Hold a value against a limit it must not fall below.

    Parameters
    ----------
    cap : Cap
        Limit, as the job overrides it.
    value : float
        What was computed.
    unit : str
        SI.
    rules : Rules
        With the job's overrides.
    binding : bool, optional
        Whether it usually can fail a pull.
    where : float, optional
        Station. [m]

    Returns
    -------
    Check
        Utilisation is limit over value, at most 1000.
    """
    used = cap.limit / max(value, 1e-3 * abs(cap.limit), 1e-300) if cap.limit > 0 else 0.0
    return _held(cap, value, used, unit, rules, binding, where)


def _held(
    cap: Cap, value: float, used: float, unit: str, rules: Rules, binding: bool, where: float | None
) -> Check:
    source = told(cap, rules, binding)
    binding = binds(cap.name, rules, binding)
    attention = (rules.tables or built_in()).find("limits", "attention").number("value")
    verdict: Verdict = "pass"
    if not used <= 1.0:
        verdict = "fail" if binding else "attention"
    elif binding and used > attention and cap.name not in SUPPLY:
        verdict = "attention"
    return Check(cap.name, value, cap.limit, used, unit, source, binding, verdict, where, cap.overridden)
