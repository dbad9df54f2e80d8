"""What a hand calculation of one pull is written from: its segments and rules in the units of the page."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tautline.document import Document
from tautline.explain_piece import Piece
from tautline.explain_units import Units

SAME = 1e-6
"""Relative; as near as a hand calculation comes to the document."""
# Gauss-Legendre with five points, on 0 to 1: node and weight
_GAUSS = (
    (0.04691007703066800, 0.11846344252809454),
    (0.23076534494715845, 0.23931433524968324),
    (0.5, 0.28444444444444444),
    (0.76923465505284155, 0.23931433524968324),
    (0.95308992296933200, 0.11846344252809454),
)


@dataclass(frozen=True)
class Page:
    """A pull of a result document, to be worked by hand.

    Parameters
    ----------
    document, pull, bundle : dict
        The result, one of its pulls, and the bundle pulled.
    units : Units
        Of the page.
    pieces : tuple of Piece
        Its segments, in the units of the page.
    rules : dict of str to float
        Numbers that stand in the formulas, SI; fewer or none in a result of an older version.
    """

    document: Document
    pull: Document
    bundle: Document
    units: Units
    pieces: tuple[Piece, ...]
    rules: dict[str, float]

    @staticmethod
    def of(document: Document, pull: Document) -> Page:
        """Set a page up.

        Parameters
        ----------
        document, pull : dict
            The result, and one of its pulls.

        Returns
        -------
        Page
            In the job's units.
        """
        units = Units.of(document["job"]["units"])
        s = pull["segments"]
        weights = s.get("weight_N_per_m", [pull["weight_N_per_m"]] * len(s["length_m"]))
        pieces = tuple(
            Piece(
                s["length_m"][i] / units.length_unit,
                s["grade_in_rad"][i],
                s["grade_out_rad"][i],
                s["turn_rad"][i],
                weights[i] * units.length_unit / units.force_unit,
                s["friction"][i],
                s["weight_correction"][i],
            )
            for i in range(len(s["length_m"]))
        )
        # a feeder may have another bundle on a stretch of it, with rules of its own
        other = document["other_bundles"][pull["other_bundle"]] if "other_bundle" in pull else None
        rules = {row["name"]: row["value"] for row in (other or document).get("rules", [])}
        return Page(document, pull, other or document["bundle"], units, pieces, rules)

    @property
    def before(self) -> tuple[float, ...]:
        """Tension at the start and at the end of each segment, before an assist relieves it. [N]"""
        tension, added = self.pull["profile"]["tension_N"], self.pull["segments"]["added_N"]
        return (tension[0], *(t - a for t, a in zip(tension[1:], added, strict=True)))

    def wave(self, i: int) -> float:
        """Return the waviness of the duct of a segment, in radians per length of the page."""
        waves = self.pull["segments"].get("waviness_rad_per_m")
        return waves[i] * self.units.length_unit if waves else 0.0

    def drawn(self, i: int) -> Piece:
        """Return a segment as it is drawn, without the waviness of its duct."""
        piece, wave = self.pieces[i], self.wave(i)
        if not wave:
            return piece
        middle = 0.5 * (piece.grade_in + piece.grade_out)
        extra = wave * piece.length / max(math.cos(middle), 0.05)  # as the document has it
        turn = abs(piece.turn) - extra
        return replace(piece, turn=math.copysign(turn, piece.turn) if turn > SAME * extra else 0.0)

    def in_vault(self, i: int) -> bool:
        """Say whether a segment is part of the crossing of a vault."""
        s = self.pull["segments"]
        return bool(s["guide"][i]) or s["how"][i] in ("guide", "vault")

    def crossed(self, tag: str) -> int:
        """Return the segment that begins where a pass-through vault has been crossed."""
        station = self.pull["profile"]["station_m"]
        (start,) = (p["station_m"] for p in self.pull["passes"] if p["tag"] == tag)
        i = min(range(len(station)), key=lambda k: abs(station[k] - start))
        while i < len(self.pieces) and self.in_vault(i):
            i += 1
        return i

    def where(self, k: int) -> str:
        """Say where in the calculation the end of a segment is, 0 for the start of the pull."""
        if k == 0:
            return f"entering at {self.pull['feed']}"
        relieved = self.pull["segments"]["added_N"][k - 1] < 0
        at = self.units.told_length(self.pull["profile"]["station_m"][k])
        return f"leaving segment {k}{', before the assist' if relieved else ''}, at {at}"


def bend(piece: Piece) -> float:
    """Return how far a segment bends, in plan and in grade together.

    Parameters
    ----------
    piece : Piece
        Any.

    Returns
    -------
    float
        At least 0. [rad]

    Examples
    --------
    >>> round(bend(Piece(5.0, 0.1, 0.1, 1.0, 20.0, 0.2, 1.0)), 6)  # 1 rad in plan on a grade of 0.1
    0.995004
    """
    sweep = piece.grade_out - piece.grade_in
    if not sweep or not piece.turn:
        return math.hypot(sweep, piece.turn * math.cos(piece.grade_in))
    return math.fsum(
        share * math.hypot(sweep, piece.turn * math.cos(piece.grade_in + at * sweep)) for at, share in _GAUSS
    )
