"""What the network refuses: unknown vaults, vaults that no ducts connect, a feeder that doubles back."""

from __future__ import annotations

from dataclasses import dataclass

from routeio.findings import Finding, InputRefusedError, Where, span_text
from routeio.survey import Ground

# Vaults told where none is like the one that was named.
_LISTED = 24
# Gaps told in a message, the widest.
_TOLD = 4


class UnknownVaultError(InputRefusedError):
    """A vault tag that is not in the survey; suggests the nearest names.

    Parameters
    ----------
    tag : str
        As asked for.
    suggestions : tuple of str
        Tags of the survey that look like it, best first.
    where : Where, optional
        The file.
    renamed : tuple of str, optional
        What vaults are called that bear this tag and share it.
    named : str, optional
        What names it, such as ``plan.splice_at``.
    there : tuple of str, optional
        All tags of the survey.
    """

    def __init__(
        self,
        tag: str,
        suggestions: tuple[str, ...],
        where: Where | None = None,
        renamed: tuple[str, ...] = (),
        named: str = "",
        there: tuple[str, ...] = (),
    ) -> None:
        self.tag = tag
        self.suggestions = suggestions
        self.renamed = renamed
        remedy = "tautline inspect lists the vaults"
        if suggestions:
            remedy = f"did you mean {' or '.join(suggestions)}?"
        elif 0 < len(there) <= _LISTED:
            remedy = f"there are {', '.join(there)}"
        if renamed:
            remedy = (
                f"several vaults are tagged {tag!r}, and are called {', '.join(renamed)} here; name one of these, "
                "or give each a tag of its own in the file"
            )
        named = f", which {named} names" if named else ""
        super().__init__("unknown-vault", f"there is no vault {tag!r}{named}", where, remedy)


@dataclass(frozen=True)
class Gap:
    """The nearest two points of two parts of the network that no duct joins.

    Parameters
    ----------
    width : float
        In plan. [m]
    here, there : str
        What stands on either side, such as ``vault MH-3`` or ``loose end of duct 2F``.
    here_xy, there_xy : tuple of 2 floats
        Where. [m]
    """

    width: float
    here: str
    there: str
    here_xy: tuple[float, float]
    there_xy: tuple[float, float]


class NoRouteError(InputRefusedError):
    """Two vaults that no ducts connect: which parts there are, where the gaps between them lie, how wide.

    Parameters
    ----------
    start, end : str
        The two vaults.
    start_part, end_part : tuple of str
        Tags of the vaults that are connected to each.
    gaps : tuple of Gap
        The gaps to close, in order from ``start``; chosen so that the widest of them is as narrow as can be.
    file : str, optional
        File name.
    findings : tuple of Finding, optional
        What else was found.
    ground : Ground, optional
        In whose unit places are told; metres by default.
    """

    def __init__(
        self,
        start: str,
        end: str,
        start_part: tuple[str, ...],
        end_part: tuple[str, ...],
        gaps: tuple[Gap, ...],
        file: str = "",
        findings: tuple[Finding, ...] = (),
        ground: Ground | None = None,
    ) -> None:
        self.start = start
        self.end = end
        self.start_part = start_part
        self.end_part = end_part
        self.gaps = gaps
        message = f"no ducts lead from vault {start} to vault {end}: {_part(start, start_part)}, {_part(end, end_part)}"
        unit = 1.0 if ground is None else ground.metres_per_unit
        widest = sorted(gaps, key=lambda g: -g.width)[:_TOLD]
        told = "; ".join(
            f"{span_text(g.width)} between {g.here} at {_place(g.here_xy, unit)}"
            f" and {g.there} at {_place(g.there_xy, unit)}"
            for g in gaps
            if g in widest
        )
        if len(gaps) > _TOLD:
            told += f"; and {len(gaps) - _TOLD} narrower ones"
        if told and ground is not None:
            told += f" ({ground.unit.replace('_', ' ')})"
        if told:
            message += f"; the gap{'s' if len(gaps) > 1 else ''}: {told}"
        where = Where(file=file, x=gaps[0].here_xy[0], y=gaps[0].here_xy[1]) if gaps else Where(file=file)
        super().__init__(
            "no-route",
            message,
            where,
            "draw the missing duct, or raise snap above the width of the gap",
            findings,
        )


def _place(xy: tuple[float, float], unit: float) -> str:
    return f"{xy[0] / unit:.2f}, {xy[1] / unit:.2f}"


def _part(tag: str, part: tuple[str, ...]) -> str:
    others = [t for t in part if t != tag]
    if not others:
        return f"{tag} has no duct to another vault"
    shown = ", ".join(others[:5]) + (f" and {len(others) - 5} more" if len(others) > 5 else "")
    return f"{tag} is connected to {shown}"


class DoublesBackError(InputRefusedError):
    """A feeder whose required vaults can only be met in that order by passing some vault twice.

    Parameters
    ----------
    feeder : tuple of str
        As asked for.
    twice : tuple of str
        Vaults that the shortest way passes more than once.
    file : str, optional
        File name.
    """

    def __init__(self, feeder: tuple[str, ...], twice: tuple[str, ...], file: str = "") -> None:
        self.feeder = feeder
        self.twice = twice
        super().__init__(
            "feeder-doubles-back",
            f"the way through {', '.join(feeder)} passes {', '.join(twice)} more than once",
            Where(file=file),
            "change the order of the vaults in feeder, or leave out the one that lies on a branch",
        )
