"""The checks of a pull: those that the path and the bundle settle, and those that need the tensions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from mechanics.arrangement import LOOSE_FILL
from mechanics.bundle import main_cables
from mechanics.errors import FloatArray
from mechanics.limits import (
    Cap,
    at_least,
    at_most,
    bending_caps,
    binds,
    overriding,
    sidewall_cap,
    tension_caps,
    told,
)
from mechanics.rules import Check, Rules
from mechanics.setting import NO_BEND, Setting, bend_angle
from mechanics.table_files import Entry
from mechanics.tables import least_temperature

_UNITLESS = "1"
_FITS = 1e-6  # a cable too long by less fits its reel: rounding of the lengths added up [m]


def static_checks(setting: Setting) -> Iterator[Check]:
    """Go through the checks that do not depend on the tension.

    Parameters
    ----------
    setting : Setting
        The bundle along its track.

    Yields
    ------
    Check
        How it lies, clearance, bending radius, bends in all, fill, jam, reel, temperature, creep.
    """
    yield from _lying(setting)
    yield from _bending(setting)
    rules = setting.rules
    if rules.reel is not None:
        cap = Cap("reel_length", rules.reel, "longest cable on a reel, as stated in the job")
        cap = overriding(cap, rules)
        length = setting.track.chain.total_length + 2.0 * rules.slack
        if 0.0 < length - cap.limit <= _FITS:
            length = cap.limit
        yield at_most(cap, length, "m", rules)
    yield from _temperature(setting)
    yield from _creep(setting)


@dataclass(frozen=True, eq=False)
class Tensions:
    """What the tension checks need of an evaluated pull.

    Parameters
    ----------
    station : ndarray, shape (n + 1,)
        Start of the pull and end of each piece. [m]
    before : ndarray, shape (n + 1,)
        Tension there, before what is added. [N]
    after : ndarray, shape (n + 1,)
        Tension there, with what is added. [N]
    sidewall : ndarray, shape (n,)
        Greatest on each piece. [N/m]
    rope : ndarray, shape (n + 1,)
        Tension of the rope at the winch when the head of the cable is there. [N]
    stops : sequence of int
        Index into ``station`` of each re-lube stop.
    """

    station: FloatArray
    before: FloatArray
    after: FloatArray
    sidewall: FloatArray
    rope: FloatArray
    stops: Sequence[int] = ()


@dataclass(frozen=True)
class Braked:
    """What a cable bears where its reel is braked for low friction, and friction turns out as expected.

    Parameters
    ----------
    entry : float
        What the brake gives. [N]
    tension : float
        Greatest anywhere. [N]
    sidewall : float
        Greatest anywhere. [N/m]
    """

    entry: float
    tension: float
    sidewall: float


def tension_checks(setting: Setting, tensions: Tensions, braked: Braked | None = None) -> Iterator[Check]:
    """Go through the checks that depend on the tension.

    Parameters
    ----------
    setting : Setting
        The bundle along its track.
    tensions : Tensions
        What came of the balance.
    braked : Braked or None, optional
        Where the brake gives more than the tensions began with.

    Yields
    ------
    Check
        Tension against each of its limits, sidewall pressure, the winch, starting again after a stop, the brake set
        for low friction.
    """
    rules, station = setting.rules, tensions.station
    peaks = np.maximum(tensions.before, tensions.after)
    worst = int(np.argmax(peaks))
    caps = tension_caps(setting.bundle, rules)
    for cap in caps:
        yield at_most(cap, float(peaks[worst]), "N", rules, where=float(station[worst]))
    pressed = sidewall_cap(setting.bundle, rules)
    if tensions.sidewall.size:
        hardest = int(np.argmax(tensions.sidewall))
        value = float(tensions.sidewall[hardest])
        yield at_most(pressed, value, "N/m", rules, where=float(station[hardest + 1]) if value > 0 else None)
    if rules.puller is not None:
        cap = Cap("puller_tension", rules.puller, "greatest rope tension of the winch, as stated in the job")
        worst = int(np.argmax(tensions.rope))
        yield at_most(
            overriding(cap, rules), float(tensions.rope[worst]), "N", rules, where=float(station[worst])
        )
    if tensions.stops:
        last = max(tensions.stops)
        yield from _restart(setting, peaks[: last + 1], tensions.sidewall[:last], caps, pressed)
    if braked is not None:
        yield from _set_brake(setting, braked, caps, pressed)


def _restart(
    setting: Setting, peaks: FloatArray, sidewall: FloatArray, caps: tuple[Cap, ...], pressed: Cap
) -> Iterator[Check]:
    """Starting again after the last re-lube stop: the cable lies in all of the pull up to there."""
    rules = setting.rules
    said = f"{rules.restart_factor:g} on the tension when a pull starts again (judgement, no source); limit: "
    least = min(caps, key=lambda cap: cap.limit)
    again = Cap("restart_tension", least.limit, said + least.source)
    yield at_most(
        overriding(again, rules), rules.restart_factor * float(peaks.max()), "N", rules, binding=False
    )
    again = Cap("restart_sidewall", pressed.limit, said + pressed.source)
    value = rules.restart_factor * float(sidewall.max(initial=0.0))
    yield at_most(overriding(again, rules), value, "N/m", rules, binding=False)


def _set_brake(setting: Setting, braked: Braked, caps: tuple[Cap, ...], pressed: Cap) -> Iterator[Check]:
    """The reel braked for the lowest friction that may turn out, while friction is as expected."""
    low = _row(setting, "low_friction")
    said = (
        f"reel braked as {low.number('value'):g} of the expected friction would need ({low.source}) and friction as "
        "expected; limit: "
    )
    least = min(caps, key=lambda cap: cap.limit)
    yield at_most(
        Cap("braked_tension", least.limit, said + least.source),
        braked.tension,
        "N",
        setting.rules,
        binding=False,
    )
    yield at_most(
        Cap("braked_sidewall", pressed.limit, said + pressed.source),
        braked.sidewall,
        "N/m",
        setting.rules,
        binding=False,
    )


def _row(setting: Setting, name: str) -> Entry:
    return setting.tables.find("limits", name)


def _lying(setting: Setting) -> Iterator[Check]:
    """Clearance, jam and fill in the tightest bore of the track."""
    rules = setting.rules
    lies = [(k, lie) for k, lie in enumerate(setting.lies) if lie is not None]
    if not lies:
        return
    first = {k: _first(setting, k) for k, _ in lies}
    for k, lie in lies:
        if lie.refusal:
            yield Check(
                "arrangement",
                lie.fill,
                LOOSE_FILL if lie.clearance > 0.0 and lie.fill > LOOSE_FILL else None,
                None,
                _UNITLESS,
                f"geometry: {lie.refusal}",
                True,
                "fail",
                first[k],
            )
            break
    k, lie = min(lies, key=lambda pair: pair[1].clearance)
    row = _row(setting, "clearance_least")
    cap = overriding(Cap("clearance", row.number("value"), row.source), rules)
    yield at_least(cap, lie.clearance, "m", rules, where=first[k])
    advice = _row(setting, "clearance_advice")
    if not cap.overridden and cap.limit <= lie.clearance < advice.number("value"):
        yield at_least(
            Cap("clearance_advice", advice.number("value"), advice.source),
            lie.clearance,
            "m",
            rules,
            binding=False,
            where=first[k],
        )
    k, lie = max(lies, key=lambda pair: pair[1].fill)
    row = setting.tables.find("fill", str(min(len(setting.bundle.cables), 3)))
    cap = Cap("fill", row.number("fill"), f"{row.source}: a premises-wiring rule")
    yield at_most(overriding(cap, rules), lie.fill, _UNITLESS, rules, binding=False, where=first[k])
    yield from _jam(setting)


def _jam(setting: Setting) -> Iterator[Check]:
    """Three single cables in the ducts that have bends: the ratio nearest to the middle of the critical band."""
    low, high = (_row(setting, f"jam_{end}").number("value") for end in ("low", "high"))
    bent = set(setting.track.bore[(setting.curvature > NO_BEND) & ~setting.guide].tolist())
    ratios = [
        (lie.jam_ratio, k)
        for k, lie in enumerate(setting.lies)
        if k in bent and lie is not None and lie.jam_ratio is not None
    ]
    if not ratios:
        return
    value, k = min(ratios, key=lambda pair: abs(pair[0] - 0.5 * (low + high)))
    within = low <= value <= high
    binding = binds("jam_ratio", setting.rules, False)
    yield Check(
        "jam_ratio",
        value,
        low,
        None,
        _UNITLESS,
        f"critical from {low:g} to {high:g}; {_row(setting, 'jam_low').source}",
        binding,
        ("fail" if binding else "attention") if within else "pass",
        _first(setting, k),
        setting.rules.overrides.get("jam_ratio") is not None,
        high,
    )


def _bending(setting: Setting) -> Iterator[Check]:
    rules, duct = setting.rules, ~setting.guide
    bends = setting.curvature > NO_BEND
    placed, pulling = bending_caps(setting.bundle, setting.tables)
    placed = overriding(placed, rules)
    if placed.overridden:  # one radius stated rules both, unless the other is stated too
        pulling = Cap(pulling.name, placed.limit, placed.source, True)
    pulling = overriding(pulling, rules)
    with np.errstate(divide="ignore", over="ignore"):  # a straight, or next to one
        radius = 1.0 / setting.curvature - 0.5 * setting.diameter
    start = None
    for cap, which in ((placed, bends & duct), (pulling, bends)):
        if which.any():
            worst = int(np.argmin(np.where(which, radius, np.inf)))
            start = setting.track.chain.station - setting.track.chain.length if start is None else start
            yield at_least(cap, float(radius[worst]), "m", rules, where=float(start[worst]))
    row = _row(setting, "bend_total")
    cap = Cap("bend_total", row.number("value"), row.source)
    total = float(bend_angle(setting.track.chain)[duct].sum())
    yield at_most(overriding(cap, rules), total, "rad", rules, binding=False)


def _temperature(setting: Setting) -> Iterator[Check]:
    rules = setting.rules
    if rules.temperature is None:
        return
    main = main_cables(setting.bundle)  # a bare conductor beside them has no jacket that could crack
    jackets = [c.jacket for c in setting.bundle.cables if c in main or c.jacket]
    least, source = max(least_temperature(jacket, setting.tables) for jacket in jackets)
    yield _not_colder(Cap("temperature", least, source), rules, rules.temperature)
    row = min(setting.tables.rows("lubricant"), key=lambda e: e.number("coldest"))
    yield _not_colder(
        Cap("lubricant_temperature", row.number("coldest"), f"{row.key[0]} grade: {row.source}"),
        rules,
        rules.temperature,
    )


def _not_colder(cap: Cap, rules: Rules, temperature: float) -> Check:
    """A least temperature: no utilisation, since 0 degC is no zero."""
    cap = overriding(cap, rules)
    binding = binds(cap.name, rules, True)
    fails = not temperature >= cap.limit
    return Check(
        cap.name,
        temperature,
        cap.limit,
        None,
        "degC",
        told(cap, rules, True),
        binding,
        ("fail" if binding else "attention") if fails else "pass",
        None,
        cap.overridden,
    )


def _creep(setting: Setting) -> Iterator[Check]:
    """Slopes so steep that the installed cable can slide down by itself."""
    chain = setting.track.chain
    steepest = np.maximum(np.abs(chain.grade_in), np.abs(chain.grade_out))
    steepest[setting.guide] = 0.0
    if not steepest.any():
        return
    friction = np.array([b.friction.lubricated for b in setting.track.bores])[setting.track.bore]
    slope = np.tan(np.minimum(steepest, 1.57))
    with np.errstate(divide="ignore", invalid="ignore"):
        used = np.where(slope > 0.0, slope / friction, 0.0)
    worst = int(np.argmax(used))
    cap = Cap(
        "creep",
        max(float(friction[worst]), 1e-6),
        "tangent of the slope against the lubricated friction; common practice: anchor the cable above it",
    )
    where = float(chain.station[worst] - chain.length[worst])
    yield at_most(
        overriding(cap, setting.rules),
        float(slope[worst]),
        _UNITLESS,
        setting.rules,
        binding=False,
        where=where,
    )


def _first(setting: Setting, bore: int) -> float:
    """Station at which a bore is first met."""
    track = setting.track
    k = int(np.argmax(track.bore == bore))
    return float(track.chain.length[:k].sum())
