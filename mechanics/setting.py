"""What holds along a track before any tension is known: curvature, and how the bundle lies on each segment."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mechanics.bundle import Lie, lie, main_cables, weight_of
from mechanics.cable import Bundle
from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, FloatArray, instance
from mechanics.limits import known_overrides
from mechanics.rules import Rules
from mechanics.tables import Tables, built_in
from mechanics.track import Track

_SHARPEST = (
    0.02  # least inside radius, over the centreline radius, with which sidewall pressure is still worked out
)
NO_BEND = 1e-9
"""Curvature below which a segment is no bend. [1/m]"""


@dataclass(frozen=True, eq=False)
class Setting:
    """A track with a bundle in it.

    Parameters
    ----------
    track, bundle, rules : Track, Bundle, Rules
        The inputs.
    tables : Tables
        By which they are judged.
    weight : ndarray, shape (n,)
        Of the whole bundle on each segment, in water where its duct is flooded. [N/m]
    lies : tuple of Lie or None
        How it lies in each bore of the track; None for guides and for bores that no segment has.
    guide : ndarray of bool, shape (n,)
        Which segments are guides.
    diameter : ndarray, shape (n,)
        Inside diameter of each segment's duct, 0 on guides. [m]
    correction, factor : ndarray, shape (n,)
        Weight correction and sidewall factor on each segment.
    share : ndarray, shape (n,)
        Part of the bundle's contact force that presses on one cable, by which friction is taken where it depends on
        that: of the least-pressed cable, or of the hardest-pressed where friction grows with the force.
    curvature : ndarray, shape (n,)
        Greatest of the centreline on each segment. [1/m]
    inside_curvature : ndarray, shape (n,)
        The same at the inside of the bend: radius less half the duct's inside diameter, on guides the guide's; the
        waviness of the duct added. [1/m]
    """

    track: Track
    bundle: Bundle
    rules: Rules
    tables: Tables
    weight: FloatArray
    lies: tuple[Lie | None, ...]
    guide: NDArray[np.bool_]
    diameter: FloatArray
    correction: FloatArray
    factor: FloatArray
    share: FloatArray
    curvature: FloatArray
    inside_curvature: FloatArray

    def along(self, track: Track, order: IntArray | slice) -> Setting:
        """Return the same bundle along a track of the same segments in another order, or the other way.

        Parameters
        ----------
        track : Track
            With the same bores.
        order : ndarray of int, shape (n,), or slice
            Which of the segments here each of the track's is.

        Returns
        -------
        Setting
            What :func:`set_up` gives for it.
        """
        return replace(
            self,
            track=track,
            weight=self.weight[order],
            guide=self.guide[order],
            diameter=self.diameter[order],
            correction=self.correction[order],
            factor=self.factor[order],
            share=self.share[order],
            curvature=self.curvature[order],
            inside_curvature=self.inside_curvature[order],
        )


def set_up(track: Track, bundle: Bundle, rules: Rules) -> Setting:
    """Lay a bundle along a track.

    Parameters
    ----------
    track : Track
        The path.
    bundle : Bundle
        The cables.
    rules : Rules
        For the tables.

    Returns
    -------
    Setting
        All that needs no tension.

    Raises
    ------
    DomainError
        A duct without an inside diameter, or a bundle that is none.

    Notes
    -----
    On guides the weight correction is 1. A single cable presses with all its tension, and of several the
    hardest-pressed one is taken to carry half (safe side: a triangle of three rests on two).
    """
    instance("track", track, Track)
    known_overrides(instance("rules", rules, Rules))
    tables = rules.tables or built_in()
    shares = 1.0 if len(main_cables(bundle)) == 1 else 0.5
    used = set(np.flatnonzero(np.bincount(track.bore)).tolist())
    lies: list[Lie | None] = []
    rows = np.zeros((6, len(track.bores)))
    weight = np.full(len(track.bores), weight_of(bundle))
    for k, bore in enumerate(track.bores):
        if k not in used:
            lies.append(None)
        elif bore.guide:
            lies.append(None)
            rows[:, k] = 1.0, 0.0, 1.0, shares, shares, 0.0
        elif bore.inside_diameter is None:
            raise DomainError(f"bores[{k}].inside_diameter must be stated for a duct, got None")
        else:
            if bore.flooded:
                weight[k] = weight_of(bundle, flooded=True)
            how = lie(bundle, bore.inside_diameter, tables)
            lies.append(how)
            law = bore.friction
            grows = law.pressed is not None and law.pressed > law.lubricated
            rows[:, k] = (
                0.0,
                bore.inside_diameter,
                how.weight_correction,
                how.sidewall_factor,
                how.sidewall_factor if grows else how.least_share,
                bore.waviness,
            )
    guide, diameter, correction, factor, share, waviness = rows.take(track.bore, axis=1)
    curvature = track.chain.curvature
    pressing = curvature + waviness
    inside = pressing / np.maximum(1.0 - 0.5 * diameter * pressing, _SHARPEST)
    return Setting(
        track,
        bundle,
        rules,
        tables,
        weight.take(track.bore),
        tuple(lies),
        guide > 0.0,
        diameter,
        correction,
        factor,
        share,
        curvature,
        inside,
    )


def bend_angle(chain: Chain) -> FloatArray:
    r"""Return how far each segment bends, in plan and in grade together.

    .. math:: \int \sqrt{g'^2 + (h' \cos g)^2}\,ds

    Parameters
    ----------
    chain : Chain
        One chain or many, n segments.

    Returns
    -------
    ndarray, shape (n,)
        At least 0. [rad]

    Notes
    -----
    Five-point Gauss quadrature where a segment turns and changes its grade; exact otherwise.

    Examples
    --------
    >>> bend_angle(Chain(length=[5.0], grade_in=[0.0], grade_out=[0.25], turn=[0.0])).tolist()
    [0.25]
    """
    if not (chain.grade_in.any() or chain.grade_out.any()):
        return np.abs(chain.turn)
    sweep, turn = chain.grade_out - chain.grade_in, chain.turn
    total = np.hypot(sweep, turn * np.cos(chain.grade_in))
    both = np.flatnonzero((sweep != 0.0) & (turn != 0.0))
    if both.size:
        nodes, weights = np.polynomial.legendre.leggauss(5)
        grade = chain.grade_in[both] + np.outer(0.5 * (nodes + 1.0), sweep[both])
        total[both] = 0.5 * (weights @ np.hypot(sweep[both], turn[both] * np.cos(grade)))
    return total
