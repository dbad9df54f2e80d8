"""All of one pull: friction, holding back, tension, sidewall pressure and every check, in one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np

from mechanics.balance import tension_along
from mechanics.cable import Bundle
from mechanics.chain import Chain, IntArray
from mechanics.checks import Braked, Tensions, static_checks, tension_checks
from mechanics.contact import FrictionLike, PressedFriction, times
from mechanics.errors import DomainError, FloatArray, instance, wholes
from mechanics.friction import constant_friction, prepare
from mechanics.interval import contact_force, holding_tension, pick_friction
from mechanics.limits import sidewall_cap, tension_caps
from mechanics.lubricant import LubricantPlan, Run, plan_lubricant
from mechanics.peaks import cut_at_peaks, level_tensions, steep
from mechanics.rules import Check, Override, Rules, Verdict
from mechanics.setting import Setting, bend_angle, set_up
from mechanics.track import Track

__all__ = [
    "Check",
    "Override",
    "PullResult",
    "Rules",
    "Verdict",
    "evaluate_pull",
    "static_failures",
    "tension_limits",
]


@dataclass(frozen=True, eq=False)
class PullResult:
    """One pull, evaluated; carries its inputs.

    Parameters
    ----------
    track, bundle, rules : Track, Bundle, Rules
        The inputs.
    relube : tuple of int
        Which of ``track.vaults`` add lubricant.
    chain : Chain
        The chain as evaluated: split where friction changes and where tension peaks or bottoms.
    source_segment : ndarray of int, shape (n,)
        Segment of ``track.chain`` each piece belongs to.
    friction, weight_correction, added : ndarray, shape (n,)
        Used on each piece, before weight correction; the correction; force added at its end. [-, -, N]
    weight : ndarray, shape (n,)
        The bundle's on each piece, all cables; in a flooded duct less the water they displace. [N/m]
    arrangement : str
        As it lies in the duct of the pull's greatest sidewall pressure.
    entry_tension : float
        As used: the greater of the stated and the held. [N]
    holding_tension : float
        Least entry tension that keeps the cable taut. [N]
    tension : ndarray, shape (n + 1,)
        At the start of the pull and at the end of each piece. [N]
    sidewall : ndarray, shape (n,)
        Greatest on each piece, hardest-pressed cable, weight left out, at the inside of the bend. [N/m]
    contact : ndarray, shape (n,)
        Whole contact force of the bundle, weight included, greatest on each piece. [N/m]
    checks : tuple of Check
        All of them.
    lubricant : LubricantPlan
        How much, where, how.
    notes : tuple of str
        Assumptions and safe sides taken, in words.
    sidewall_factor : ndarray, shape (n,)
        The arrangement's, on each piece: sidewall pressure over tension times curvature at the inside of the bend. [-]
    winch : ndarray, shape (n + 1,)
        Tension of the rope at the winch when the cable's head is at the start of the pull and at the end of each
        piece; the rope's own friction in the bends ahead of the head is in it, its weight is not. [N]
    brake_tension : float
        What the reel's brake has to give: the least entry tension that keeps the cable taut even where friction turns
        out as low as the rules, or else the table of limits, expect. At least ``holding_tension``. [N]
    """

    track: Track
    bundle: Bundle
    rules: Rules
    relube: tuple[int, ...]
    chain: Chain
    source_segment: IntArray
    friction: FloatArray
    weight_correction: FloatArray
    added: FloatArray
    weight: FloatArray
    arrangement: str
    entry_tension: float
    holding_tension: float
    tension: FloatArray
    sidewall: FloatArray
    contact: FloatArray
    checks: tuple[Check, ...]
    lubricant: LubricantPlan
    notes: tuple[str, ...] = ()
    sidewall_factor: FloatArray = field(default_factory=lambda: np.zeros(0))
    winch: FloatArray = field(default_factory=lambda: np.zeros(0))
    brake_tension: float = 0.0

    @property
    def verdict(self) -> Literal["pass", "fail"]:
        """``fail`` when any binding check fails."""
        return "fail" if any(c.binding and c.verdict == "fail" for c in self.checks) else "pass"

    @property
    def max_tension(self) -> float:
        """Greatest tension anywhere, before an assist relieves it. [N]"""
        return float(max(self.tension.max(), (self.tension[1:] - self.added).max(initial=0.0)))

    @property
    def winch_tension(self) -> float:
        """Greatest tension of the rope at the winch. [N]"""
        return float(self.winch.max(initial=0.0))

    @property
    def exit_tension(self) -> float:
        """Tension leaving the last segment. [N]"""
        return float(self.tension[-1])

    @property
    def utilisation(self) -> float:
        """Worst utilisation of a binding check, the reel's left out (0 where none has one)."""
        return max((c.utilisation or 0.0 for c in self.checks if c.strains), default=0.0)


def evaluate_pull(track: Track, bundle: Bundle, rules: Rules, relube: Sequence[int] = ()) -> PullResult:
    """Evaluate one pull along a track.

    Parameters
    ----------
    track : Track
        The path in the direction of the pull, at least one segment.
    bundle : Bundle
        What is pulled.
    rules : Rules
        What it is judged by.
    relube : sequence of int, optional
        Which of ``track.vaults`` add lubricant, rising.

    Returns
    -------
    PullResult
        The profile at the held entry tension, and every check on it.

    Raises
    ------
    DomainError
        Names the argument and the legal range. A bundle that does not fit a duct, or may not be pulled so, is no
        error but a check that fails.

    Notes
    -----
    The entry tension is the greater of the job's and the least that keeps the cable taut, at the expected friction
    and, where the rules give one, at the low friction. The brake is sized at the low friction always; where the rules
    give none, advice tells what the cable bears if the brake is set so and friction is as expected. A pusher relieves it only where no brake is needed. An assist
    gives at most what leaves the cable beyond it taut.

    References
    ----------
    [rifenburg1953] and [ieee1185] in docs/sources.md.

    Examples
    --------
    >>> from mechanics.chain import Chain
    >>> from mechanics.cable import Cable
    >>> from mechanics.track import Bore, Friction
    >>> track = Track(
    ...     Chain(length=[150.0, 6.2831853], grade_in=[0, 0], grade_out=[0, 0], turn=[0, 1.5707963]),
    ...     np.array([0, 0]),
    ...     (Bore(0.1274, Friction(0.2)),),
    ... )
    >>> bundle = Bundle((Cable(diameter=0.041, weight=25.5, conductor_area=2.5e-4),) * 3)
    >>> result = evaluate_pull(track, bundle, Rules(entry=500.0))
    >>> result.arrangement, [round(float(t), 1) for t in result.tension], result.verdict
    ('cradled', [500.0, 3484.1, 5247.5], 'pass')
    """
    stops = _checked(track, relube)
    setting = set_up(track, bundle, rules)
    prepared = prepare(track, stops)
    chain, source = prepared.chain, prepared.source_segment
    weight = setting.weight[source]
    correction = setting.correction[source]
    rubbing = prepared.rubbing(correction, setting.share[source])
    entry, holding, brake = _entry(chain, weight, rubbing, setting)
    pushed = rules.pusher > 0.0 and holding == 0.0
    start = entry - rules.pusher if pushed else entry
    added, notes = _assists(track, source, chain, weight, rubbing, start, rules)
    if rules.pusher > 0.0 and not pushed:
        notes.append("The pull has to be held back: the pusher at the feed is left out.")
    if pushed:
        notes.append("The cable is pushed at the feed: whether it buckles in the duct is not worked out.")
    after = tension_along(chain, weight, rubbing, start, added)
    chain, again, after = cut_at_peaks(chain, weight, rubbing, start, added, after)
    if again is not None:
        last = np.append(again[1:] != again[:-1], True)
        added = np.where(last, added[again], 0.0)
        source, correction, weight = source[again], correction[again], weight[again]
        rubbing = pick_friction(rubbing, again)
    tension = np.concatenate(([start], after))
    before = np.concatenate(([start], after - added))
    if pushed and tension[-1] < 0.0:
        notes.append(
            f"The pusher gives {-tension[-1]:.0f} N more at the far end than the pull takes: set it lower, the cable would "
            "run out ahead of the rope."
        )
    friction = prepared.friction if again is None else prepared.friction[again]
    if isinstance(rubbing, PressedFriction):
        friction = constant_friction(chain, weight, rubbing, tension[:-1], before[1:]) / correction
    factor = setting.factor[source]
    force = np.maximum(np.abs(tension[:-1]), np.abs(before[1:]))
    sidewall = factor * force * setting.inside_curvature[source]
    contact = np.maximum(
        contact_force(chain, weight, tension[:-1], 0.0),
        contact_force(chain, weight, before[1:], 1.0),
    )
    rope = before * np.exp(_rope_angle(setting, chain, source))
    tensions = Tensions(
        np.concatenate(([0.0], chain.station)),
        before,
        tension,
        sidewall,
        rope,
        [int(np.searchsorted(source, track.vaults[k][1])) for k in stops],
    )
    braked = None
    if brake > entry:
        braked = _braked(setting, chain, source, weight, rubbing, brake, added)
    lubricant, said = _lubricant(setting, stops)
    return PullResult(
        track=track,
        bundle=bundle,
        rules=rules,
        relube=stops,
        chain=chain,
        source_segment=source,
        friction=friction,
        weight_correction=correction,
        added=added,
        weight=weight,
        arrangement=_arrangement(setting, source, sidewall),
        entry_tension=start,
        holding_tension=holding,
        tension=tension,
        sidewall=sidewall,
        contact=contact,
        checks=(*tension_checks(setting, tensions, braked), *static_checks(setting)),
        lubricant=lubricant,
        notes=(*_notes(setting), *notes, *said),
        sidewall_factor=factor,
        winch=rope,
        brake_tension=brake,
    )


def tension_limits(track: Track, bundle: Bundle, rules: Rules) -> FloatArray:
    """Return the greatest tension that each segment of a track may see anywhere in it, both ends included.

    Parameters
    ----------
    track : Track
        The path in the direction of the pull.
    bundle : Bundle
        What is pulled.
    rules : Rules
        What it is judged by.

    Returns
    -------
    ndarray, shape (n,)
        The least of the binding limits on tension and of what sidewall pressure allows in the segment; infinite
        where nothing binds. A pull keeps to every binding check on tension and sidewall pressure just when its
        profile keeps to these, and, where the rules state a puller, its rope as well. [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range.

    Examples
    --------
    >>> from mechanics.chain import Chain
    >>> from mechanics.cable import Cable
    >>> from mechanics.track import Bore, Friction
    >>> track = Track(
    ...     Chain(length=[9.0, 5.0], grade_in=[0, 0], grade_out=[0, 0], turn=[0, 1.0]),
    ...     np.array([0, 0]),
    ...     (Bore(0.1, Friction(0.2)),),
    ... )
    >>> bundle = Bundle((Cable(diameter=0.05, weight=20.0, conductor_area=2.5e-4),))
    >>> tension_limits(track, bundle, Rules(max_sidewall=2000.0, practice="metric")).round(6).tolist()
    [12500.0, 9900.0]
    """
    setting = set_up(track, bundle, rules)
    binding = [c.limit for c in tension_caps(bundle, rules) if _binds(c.name, rules)]
    bound = np.full(len(track.chain), min(binding, default=np.inf))
    pressed = sidewall_cap(bundle, rules)
    if _binds(pressed.name, rules):
        with np.errstate(divide="ignore", over="ignore"):  # a straight, or next to one
            bound = np.minimum(bound, pressed.limit / (setting.factor * setting.inside_curvature))
    return bound


def static_failures(track: Track, bundle: Bundle, rules: Rules) -> tuple[Check, ...]:
    """Return the binding checks that a pull fails whatever its tension.

    Parameters
    ----------
    track : Track
        The path in the direction of the pull.
    bundle : Bundle
        What is pulled.
    rules : Rules
        What it is judged by.

    Returns
    -------
    tuple of Check
        Empty where only the tensions decide.

    Raises
    ------
    DomainError
        Names the argument and the legal range.

    Examples
    --------
    >>> from mechanics.chain import Chain
    >>> from mechanics.cable import Cable
    >>> from mechanics.track import Bore, Friction
    >>> chain = Chain(length=[9.0], grade_in=[0.0], grade_out=[0.0], turn=[0.0])
    >>> track = Track(chain, np.array([0]), (Bore(0.05, Friction(0.2)),))
    >>> [c.name for c in static_failures(track, Bundle((Cable(diameter=0.046, weight=20.0),)), Rules())]
    ['clearance']
    """
    checks = static_checks(set_up(track, bundle, rules))
    return tuple(c for c in checks if c.binding and c.verdict == "fail")


def _binds(name: str, rules: Rules) -> bool:
    stated = rules.overrides.get(name)
    return stated is None or stated.binding is not False


def _checked(track: Track, relube: Sequence[int]) -> tuple[int, ...]:
    """Refuse what no pull can be; return the re-lube stops."""
    if not len(instance("track", track, Track).chain):
        raise DomainError("track must have at least one segment, got none")
    stops = wholes("relube", relube)
    if any(not 0 <= k < len(track.vaults) for k in stops) or list(stops) != sorted(set(stops)):
        raise DomainError(
            f"relube must be rising indices of the {len(track.vaults)} pass-through vaults, got {stops}"
        )
    return stops


def _entry(
    chain: Chain, weight: FloatArray, rubbing: FrictionLike, setting: Setting
) -> tuple[float, float, float]:
    """Return the entry tension as used, the least that keeps the cable taut, and what the brake has to give."""
    rules, stated = setting.rules, setting.rules.low_friction_factor
    low = setting.tables.find("limits", "low_friction").number("value") if stated is None else stated

    def held(rub: FrictionLike) -> float:
        return holding_tension(chain, weight, rub) if steep(chain, rub).any() else 0.0

    holding = held(rubbing)
    brake = max(holding, held(times(low, rubbing)))
    if stated is not None:
        holding = brake
    return max(float(rules.entry), holding), holding, brake


def _braked(
    setting: Setting,
    chain: Chain,
    source: IntArray,
    weight: FloatArray,
    rubbing: FrictionLike,
    brake: float,
    added: FloatArray,
) -> Braked:
    """Return what the cable bears where the brake is set for low friction and friction is as expected."""
    after = tension_along(chain, weight, rubbing, brake, added)
    entering = np.concatenate(([brake], after[:-1]))
    piece, peak = level_tensions(chain, weight, rubbing, entering, after - added)
    tension = np.maximum(np.abs(entering), np.abs(after - added))
    np.maximum.at(tension, piece, peak)
    pressed = setting.factor[source] * tension * setting.inside_curvature[source]
    return Braked(brake, float(tension.max()), float(pressed.max()))


def _assists(
    track: Track,
    source: IntArray,
    chain: Chain,
    weight: FloatArray,
    rubbing: FrictionLike,
    entry: float,
    rules: Rules,
) -> tuple[FloatArray, list[str]]:
    """Return what each assist adds at the end of its vault's crossing, and what was taken for it."""
    n = len(chain)
    added, notes = np.zeros(n), []
    for k, tag in enumerate(track.tags):
        force = rules.assists.get(tag)
        stop = int(np.searchsorted(source, track.vaults[k][1]))
        if force is None or not 0 < stop < n:
            continue
        reached = float(tension_along(chain, weight, rubbing, entry, added)[stop - 1])
        ahead = pick_friction(rubbing, np.arange(stop, n))
        given = min(force, max(reached - holding_tension(chain.part(stop, n), weight[stop:], ahead), 0.0))
        added[stop - 1] = -given
        if given < force:
            notes.append(
                f"The assist at {tag} gives {given:.0f} N of {force:.0f} N: more would slacken the cable beyond."
            )
    return added, notes


def _rope_angle(setting: Setting, chain: Chain, source: IntArray) -> FloatArray:
    """Friction times bend angle of the rope ahead of the cable's head, at the start and at the end of each piece."""
    rules = setting.rules
    rope = rules.rope_friction
    if rope is None:
        rope = setting.tables.find("friction", "dry rope", "any").number("dry")
    guides = np.array([b.friction.lubricated for b in setting.track.bores])[setting.track.bore]
    rub = np.where(setting.guide, guides, rope)[source] * bend_angle(chain)
    return np.concatenate((np.cumsum(rub[::-1])[::-1], [0.0]))


def _arrangement(setting: Setting, source: IntArray, sidewall: FloatArray) -> str:
    """Return how the bundle lies in the duct where it is pressed hardest, guides left out."""
    ducts = np.where(setting.guide[source], -1.0, sidewall)
    bore = int(setting.track.bore[source[int(np.argmax(ducts))]])
    found = setting.lies[bore] or next((lie for lie in setting.lies if lie is not None), None)
    return found.arrangement if found else "single"


def _lubricant(setting: Setting, stops: Sequence[int]) -> tuple[LubricantPlan, list[str]]:
    """Share the lubricant out; where it is too cold for any, a check fails and none is planned."""
    track, rules = setting.track, setting.rules
    bounds = [0, *(track.vaults[k][1] for k in stops), len(track.chain)]
    runs = []
    for begin, end in pairwise(bounds):
        ducts = begin + np.flatnonzero(~setting.guide[begin:end])
        chain, bores = track.chain, track.bore[ducts]
        lengths = np.bincount(bores, chain.length[ducts], len(track.bores))
        used = np.flatnonzero(lengths)
        rise = np.maximum(chain.grade_in[ducts], chain.grade_out[ducts])
        runs.append(
            Run(
                tuple(lengths[used].tolist()),
                tuple(float(track.bores[k].inside_diameter or 0.0) for k in used),
                float(chain.grade_in[ducts[0]]) if ducts.size else 0.0,
                float(rise.max(initial=-1.6)),
            )
        )
    try:
        return plan_lubricant(runs, stops, rules.lubricant_factor, rules.temperature, setting.tables), []
    except DomainError as error:
        return LubricantPlan(0.0, (), "none"), [f"No lubricant planned: {error}."]


def _notes(setting: Setting) -> list[str]:
    """Return the safe sides taken for how the bundle lies, each once."""
    return list(dict.fromkeys(note for lie in setting.lies if lie is not None for note in lie.notes))
