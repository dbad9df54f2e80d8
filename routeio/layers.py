"""Layers: names and patterns against the layers a file has, and the refusal that lists them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping

from routeio.findings import Finding, InputRefusedError, Where
from routeio.guess import layers_like
from routeio.options import Selection

#: No more names than this in one message.
_MOST_LISTED = 40


def matcher(patterns: Iterable[str]) -> Callable[[str], bool]:
    """Return a test of whether a layer's name matches any of the patterns.

    Parameters
    ----------
    patterns : iterable of str
        ``*`` stands for anything, ``?`` for one letter, all else for itself; case is ignored.

    Returns
    -------
    callable
        From a name to bool.

    Examples
    --------
    >>> is_duct = matcher(["DUCT*", "E-?"])
    >>> is_duct("duct-12"), is_duct("e-1"), is_duct("WATER")
    (True, True, False)
    """
    wild = [re.escape(p).replace(r"\*", ".*").replace(r"\?", ".") for p in patterns]
    regex = re.compile("|".join(f"(?:{w})" for w in wild) or r"(?!)", re.IGNORECASE | re.DOTALL)
    known: dict[str, bool] = {}

    def matches(name: str) -> bool:
        if name not in known:
            known[name] = regex.fullmatch(name) is not None
        return known[name]

    return matches


def chosen(
    what: str,
    selection: Selection,
    layers: Mapping[str, int],
    where: Where,
    *,
    required: bool,
    by_elimination: bool = True,
) -> tuple[tuple[str, ...], tuple[Finding, ...]]:
    """Return the layers a selection means, guessing where it says nothing.

    Parameters
    ----------
    what : str
        ``ducts`` or ``vaults``.
    selection : Selection
        What the user said.
    layers : mapping of str to int
        The file's layers, and how much is on each that could be it.
    where : Where
        For refusals and findings.
    required : bool
        Whether to refuse when there is nothing to guess from.
    by_elimination : bool, optional
        Whether the only layer that could be it may be guessed.

    Returns
    -------
    layers : tuple of str
        As the file spells them.
    findings : tuple of Finding
        A guess is a finding.

    Raises
    ------
    InputRefusedError
        ``missing-layer`` or ``no-layer-chosen``, listing the layers there are.
    """
    patterns = selection.patterns
    if patterns:
        for pattern in patterns:
            if not any(map(matcher([pattern]), layers)):
                like = difflib.get_close_matches(pattern.lower(), [n.lower() for n in layers], n=1)
                hint = next((n for n in layers if like and n.lower() == like[0]), None)
                raise InputRefusedError(
                    "missing-layer",
                    f"no layer matches {what} layer {pattern!r}",
                    where,
                    (f"perhaps {hint!r}; " if hint else "") + listed(layers),
                )
        return tuple(name for name in layers if matcher(patterns)(name)), ()
    guesses = layers_like(what, layers, by_elimination=by_elimination)
    if not guesses:
        if required:
            raise InputRefusedError(
                "no-layer-chosen",
                f"which layers hold the {what} is not stated, and no layer's name says so",
                where,
                listed(layers),
            )
        return (), ()
    return tuple(g.name for g in guesses), tuple(
        Finding(
            "layer-guessed",
            "warning",
            f"layer {g.name!r} is taken for {what}: {g.reason}",
            Where(file=where.file, layer=g.name),
            f"state the layer of the {what}",
        )
        for g in guesses
    )


def without_vaults(layers: Mapping[str, int], where: Where) -> Finding:
    """Return the finding that no layer is taken for vaults.

    Parameters
    ----------
    layers : mapping of str to int
        Those that could be.
    where : Where
        The file.

    Returns
    -------
    Finding
        ``no-vaults``.
    """
    return Finding(
        "no-vaults",
        "warning",
        "which layers hold the vaults is not stated and no layer's name says so: every duct end is loose",
        where,
        "state the layer of the vaults"
        + (f"; {listed(layers)}" if layers else ", or the block they are drawn as: there is no other layer"),
    )


def listed(layers: Mapping[str, int]) -> str:
    """Return the names of layers for a message.

    Parameters
    ----------
    layers : mapping of str to int
        Names; the counts are not shown.

    Returns
    -------
    str
        Such as ``the layers are 'DUCT', 'MH'``.
    """
    names = sorted(layers)
    more = f" and {len(names) - _MOST_LISTED} more" if len(names) > _MOST_LISTED else ""
    return (
        "the layers are " + ", ".join(repr(n) for n in names[:_MOST_LISTED]) + more
        if names
        else "the file has no layers"
    )
