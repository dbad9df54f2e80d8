"""One evaluated pull as the result document writes it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mechanics.bundle import weight_of
from mechanics.chain import Chain, IntArray
from mechanics.errors import FloatArray
from mechanics.lubricant import bag_for
from mechanics.pull import Check, PullResult
from mechanics.track import Bore, Friction
from network.route import FeederRoute
from network.row import Row, Stretch
from tautline.document import Document
from tautline.path import Point, along, as_points, trace

# Checks that hold the cable's own tension against a limit; a winch's reading is the rope's.
_TENSIONS = ("max_tension", "conductor_tension", "eye_tension", "grip_tension", "sheath_tension")


@dataclass(frozen=True, eq=False)
class DonePull:
    """A pull of a row, evaluated, with the other direction beside it.

    Parameters
    ----------
    route : FeederRoute
        The ducts on the map.
    row : Row
        The same as chains.
    feed, pull : int
        Vaults of the row.
    result : PullResult
        As chosen.
    reverse : PullResult or None
        Fed at the pull vault, with the re-lube vaults that are best for it.
    other : int or None
        Which of the job's other bundles is pulled; None: the first.
    """

    route: FeederRoute
    row: Row
    feed: int
    pull: int
    result: PullResult
    reverse: PullResult | None = None
    other: int | None = None

    @property
    def elevated(self) -> bool:
        """Whether elevations are known all along."""
        low, high = sorted((self.feed, self.pull))
        return all(leg.duct.elevated for leg in self.route.legs[low:high])


def pull_document(done: DonePull) -> Document:
    """Return one pull as the document writes it.

    Parameters
    ----------
    done : DonePull
        Evaluated.

    Returns
    -------
    dict
        ``pull`` of the schema.
    """
    result, row = done.result, done.row
    points, index = _placed(done, done.feed, done.pull, result)
    low, high = sorted((done.feed, done.pull))
    crossing = _stations(result)
    passes = [
        {"tag": tag, "station_m": crossing[start]}
        for tag, (start, _) in zip(result.track.tags, result.track.vaults, strict=True)
    ]
    return {
        "feed": row.vaults[done.feed].tag,
        "pull": row.vaults[done.pull].tag,
        "length_m": row.length(low, high),
        "passes": passes,
        "relube": [result.track.tags[k] for k in result.relube],
        "weight_N_per_m": weight_of(result.bundle),
        "arrangement": result.arrangement,
        **_figures(result),
        "winch_tension_N": result.winch_tension,
        "limits": {
            "max_tension_N": _least_limit(result, _TENSIONS),
            "max_sidewall_N_per_m": _least_limit(result, ("max_sidewall",)),
        },
        "utilisation": result.utilisation,
        "governs": _governs(result),
        "verdict": result.verdict,
        "reverse": _reverse(done),
        "lubricant": _lubricant(result, row.vaults[done.feed].tag),
        "checks": [_check(c) for c in result.checks],
        "segments": _segments(result, row.segments(done.feed, done.pull)) | {"path_index": index},
        "profile": _profile(result, points, index, done.elevated),
        "path": as_points(points, done.elevated),
        "notes": list(result.notes),
        **of_bundle(done.other),
    }


def of_bundle(other: int | None) -> Document:
    """Return what says which bundle a section, a pull or a span has; nothing where it is the job's own.

    Parameters
    ----------
    other : int or None
        Which of the other bundles.

    Returns
    -------
    dict
        ``other_bundle`` of the schema.
    """
    return {} if other is None else {"other_bundle": other}


def _figures(result: PullResult) -> Document:
    """Return what both directions are told by."""
    worst = int(np.argmax(result.sidewall)) if result.sidewall.size else 0
    pressed = bool(result.sidewall.size) and result.sidewall[worst] > 0
    return {
        "entry_tension_N": result.entry_tension,
        "holding_tension_N": result.holding_tension,
        "brake_tension_N": result.brake_tension,
        "exit_tension_N": result.exit_tension,
        "max_tension_N": result.max_tension,
        "max_sidewall_N_per_m": float(result.sidewall[worst]) if pressed else 0.0,
        "max_sidewall_station_m": float(result.chain.station[worst]) if pressed else None,
    }


def _reverse(done: DonePull) -> Document | None:
    other = done.reverse
    if other is None:
        return None
    points, index = _placed(done, done.pull, done.feed, other)
    return {
        **_figures(other),
        "utilisation": other.utilisation,
        "winch_tension_N": other.winch_tension,
        "governs": _governs(other),
        "relube": [other.track.tags[k] for k in other.relube],
        "verdict": other.verdict,
        "arrangement": other.arrangement,
        "lubricant": _lubricant(other, done.row.vaults[done.pull].tag),
        "checks": [_check(c) for c in other.checks],
        "notes": list(other.notes),
        "segments": _segments(other, done.row.segments(done.pull, done.feed)),
        "profile": _profile(other, points, index, done.elevated),
    }


def _segments(result: PullResult, stretch: Stretch) -> Document:
    """Return the pieces as evaluated, enough to recompute every tension."""
    chain, source = result.chain, result.source_segment.astype(np.int64)
    bores = [result.track.bores[int(b)] for b in result.track.bore[source]]
    wet = any(bore.flooded for bore in bores)
    wave = [0.0 if bore.guide else bore.waviness for bore in bores]
    return {
        "length_m": chain.length.tolist(),
        "grade_in_rad": chain.grade_in.tolist(),
        "grade_out_rad": chain.grade_out.tolist(),
        "turn_rad": chain.turn.tolist(),
        "friction": result.friction.tolist(),
        "weight_correction": result.weight_correction.tolist(),
        "added_N": result.added.tolist(),
        "sidewall_factor": result.sidewall_factor.tolist(),
        "inside_diameter_m": [bore.inside_diameter for bore in bores],
        "guide": [bore.guide for bore in bores],
        "id": [stretch.ids[k] for k in source],
        "how": [stretch.how[k] for k in source],
        **({"weight_N_per_m": result.weight.tolist()} if wet else {}),
        **({"waviness_rad_per_m": wave} if any(wave) else {}),
        **_laws(bores),
    }


def _laws(bores: list[Bore]) -> Document:
    """Return by which law the friction of each piece was found; nothing where all of it is constant."""
    laws = [Friction(b.friction.lubricated) if b.guide else b.friction for b in bores]
    if all(law.hold is None and law.pressed is None for law in laws):
        return {}
    known = list(dict.fromkeys(laws))
    return {
        "law": [known.index(law) for law in laws],
        "laws": [
            {
                "lubricated": law.lubricated,
                "dry": law.dry,
                "hold_m": law.hold,
                "pressed": law.pressed,
                "press_force_N_per_m": law.press_force,
            }
            for law in known
        ],
    }


def _profile(result: PullResult, points: FloatArray, index: list[int], elevated: bool) -> Document:
    return {
        "station_m": [0.0, *result.chain.station.tolist()],
        "tension_N": result.tension.tolist(),
        "sidewall_N_per_m": [0.0, *result.sidewall.tolist()],
        "elevation_m": [float(points[i, 2]) if elevated else None for i in index],
        "winch_N": result.winch.tolist(),
    }


def _lubricant(result: PullResult, feed: str) -> Document:
    plan, track = result.lubricant, result.track
    stop = track.vaults[result.relube[0]][1] if result.relube else len(track.chain)
    first = [b.inside_diameter for b in (track.bores[int(k)] for k in track.bore[:stop]) if not b.guide]
    bag = bag_for(min(d for d in first if d), result.rules.tables) if any(first) else None
    return {
        "total_L": plan.litres,
        "grade": plan.grade,
        "bag_L": bag.number("content") if bag else None,
        "at": [
            {
                "vault": feed if at.vault is None else result.track.tags[at.vault],
                "litres": at.litres,
                "how": at.how,
            }
            for at in plan.at
        ],
        "notes": list(plan.notes),
    }


def _check(check: Check) -> Document:
    return {
        "name": check.name,
        "value": check.value,
        "limit": check.limit,
        "limit_high": check.upper,
        "utilisation": check.utilisation,
        "unit": check.unit,
        "source": check.source,
        "binding": check.binding,
        "verdict": check.verdict,
        "station_m": check.where,
        "overridden": check.overridden,
    }


def _governs(result: PullResult) -> str:
    """Return the binding check nearest to its limit, a failed one that has no part in the utilisation first of all."""
    failed = [c for c in result.checks if c.binding and c.verdict == "fail" and not c.strains]
    measured = [c for c in result.checks if c.strains]
    worst = max(measured, key=lambda c: c.utilisation or 0.0, default=None)
    if failed and not (worst and worst.verdict == "fail"):
        return failed[0].name
    return worst.name if worst else ""


def _least_limit(result: PullResult, names: tuple[str, ...]) -> float | None:
    """Return the lowest limit that binds among checks of the same thing."""
    limits = [c.limit for c in result.checks if c.binding and c.name in names and c.limit is not None]
    return min(limits, default=None)


def _stations(result: PullResult) -> dict[int, float]:
    """Return the station at which each segment of the track begins, and the end's. [m]"""
    ends = [0.0, *result.track.chain.station.tolist()]
    return dict(enumerate(ends))


def _placed(done: DonePull, feed: int, pull: int, result: PullResult) -> tuple[FloatArray, list[int]]:
    """Return points along a pull, and which of them the pieces of its chain start at."""
    row, forward = done.row, feed < pull
    # what each segment of the track lies in: a leg of the route, or guides (None)
    homes: list[int | None] = [None] * (len(row.feed_guide.chain) if row.feed_guide else 0)
    spans = range(feed, pull) if forward else range(feed - 1, pull - 1, -1)
    for span in spans:
        if span != spans[0]:
            homes += [None] * len(row.crossings[span - 1 if forward else span].chain)
        homes += [span] * len(row.spans[span].chain)
    homes += [None] * (len(row.pull_guide.chain) if row.pull_guide else 0)

    source = result.source_segment.astype(np.int64)
    shape = _shape(result, source)
    home_of = [homes[int(k)] for k in source]
    cuts = [k for k in range(1, len(home_of)) if home_of[k] != home_of[k - 1]]
    points: list[FloatArray] = []
    index: list[int] = []
    count = 0
    first = home_of.index(spans[0])
    at, heading = _before(done, spans[0], forward, shape.part(0, first))
    for start, stop in zip([0, *cuts], [*cuts, len(home_of)], strict=True):
        home = home_of[start]
        part = shape.part(start, stop)
        if home is not None:
            # each duct stands where it was drawn, whatever the lengths on guides add up to
            _, at, heading = along(done.route.legs[home], forward)
        traced, inner = trace(part, at, heading)
        index += [count + i for i in inner[:-1]]
        points.append(traced)
        count += len(traced)
        heading += float(part.turn.sum())
        at = (float(traced[-1][0]), float(traced[-1][1]), float(traced[-1][2]))
    index.append(count - 1)
    return np.vstack(points), index


def _shape(result: PullResult, source: IntArray) -> Chain:
    """Return the pieces as they lie on the map: the waviness of a duct turns the cable this way and that, not away."""
    chain, track = result.chain, result.track.chain
    turn = track.turn[source] * chain.length / track.length[source]
    return Chain(chain.length, chain.grade_in, chain.grade_out, turn)


def _before(
    done: DonePull, span: int, forward: bool, guides: Chain
) -> tuple[tuple[float, float, float], float]:
    """Return where guides at the feed begin, so that they end at the first duct's mouth."""
    _, mouth, heading = along(done.route.legs[span], forward)
    if not len(guides):
        return mouth, heading
    # walk them backwards from the mouth
    back, _ = trace(guides.reversed(), mouth, heading + math.pi)
    x, y, z = back[-1]
    return (float(x), float(y), float(z)), heading - float(guides.turn.sum())


def span_path(done: DonePull, span: int) -> tuple[list[Point], list[int], list[float]]:
    """Return a span of the route to draw: its points, the index of each segment, the turn of each segment.

    Parameters
    ----------
    done : DonePull
        Any pull of the row, for its route.
    span : int
        Which.

    Returns
    -------
    tuple of points, index and turns
        In the row's direction. [m, -, rad]
    """
    chain, start, heading = along(done.route.legs[span])
    points, index = trace(chain, start, heading)
    return as_points(points, done.route.legs[span].duct.elevated), index, chain.turn.tolist()
