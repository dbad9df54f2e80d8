"""Guesses: which layers and fields look like what we need, each with its reason, never taken without a finding."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources


@dataclass(frozen=True)
class Guess:
    """Something taken for something, and why.

    Parameters
    ----------
    what : str
        What was wanted, such as ``ducts`` or ``name``.
    name : str
        The layer or field it is taken to be.
    reason : str
        Why, for a person to judge.
    """

    what: str
    name: str
    reason: str


@cache
def _words() -> dict[str, tuple[str, ...]]:
    text = resources.files("routeio").joinpath("data/words.csv").read_text("utf-8")
    return {row["means"]: tuple(row["words"].split()) for row in csv.DictReader(text.splitlines())}


def _parts(name: str) -> list[str]:
    """Return the words of a layer's name, digits apart: ``E-DuctBank_2`` gives e, duct, bank, ductbank."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    words = [w for w in re.split(r"[^a-z]+", spaced.lower()) if w]
    return [*words, re.sub(r"[^a-z]", "", name.lower())]


def layers_like(what: str, layers: Mapping[str, int], *, by_elimination: bool = True) -> tuple[Guess, ...]:
    """Return the layers whose names sound like ducts or like vaults.

    Parameters
    ----------
    what : str
        ``ducts`` or ``vaults``.
    layers : mapping of str to int
        Layer names, and how much is on each that could be it.
    by_elimination : bool, optional
        Whether to take the only layer that could be it where no name says so.

    Returns
    -------
    tuple of Guess
        All that share the best word.

    Examples
    --------
    >>> [g.name for g in layers_like("ducts", {"E-DUCT": 3, "E-DUCT-TEXT": 9, "WATER": 5})]
    ['E-DUCT']
    """
    words = _words()[what]
    other = {"ducts": "vaults", "vaults": "ducts"}[what]
    against = {*_words()["not_ducts"], *_words()[other]} - set(words)
    best: dict[int, list[Guess]] = {}
    for name, count in layers.items():
        parts = _parts(name)
        if count < 1 or any(part in against for part in parts):
            continue
        ranks = [words.index(part) for part in parts if part in words]
        if ranks:
            rank = min(ranks)
            best.setdefault(min(rank, 8), []).append(
                Guess(what, name, f"its name holds the word {words[rank]!r}, and {count} on it can be {what}")
            )
    if best:
        return tuple(best[min(best)])
    usable = [name for name, count in layers.items() if count > 0]
    if by_elimination and len(usable) == 1:
        return (Guess(what, usable[0], f"it is the only layer with anything on it that can be {what}"),)
    return ()


def fields_like(wanted: Iterable[str], available: Iterable[str]) -> tuple[Guess, ...]:
    """Return the fields or attributes whose names sound like what is wanted.

    Parameters
    ----------
    wanted : iterable of str
        Our names, such as ``name``, ``rim``.
    available : iterable of str
        The file's names.

    Returns
    -------
    tuple of Guess
        At most one for each wanted name; no field is taken twice.

    Examples
    --------
    >>> [(g.what, g.name) for g in fields_like(("name", "invert"), ("VAULT_NO", "INV_ELEV", "TYPE"))]
    [('name', 'VAULT_NO'), ('invert', 'INV_ELEV')]
    """
    plain = {re.sub(r"[^a-z0-9]", "", name.lower()): name for name in reversed(list(available))}
    guesses: list[Guess] = []
    taken: set[str] = set()
    for what in wanted:
        for word in _words().get(what, ()):
            name = plain.get(word)
            if name is not None and name not in taken:
                taken.add(name)
                guesses.append(Guess(what, name, f"its name is a usual one for {what}"))
                break
    return tuple(guesses)
