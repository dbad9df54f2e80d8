"""Guesses: which layers and fields look like what we need, each with its reason, never taken without a finding."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

#: Units that the name of a field may end in, by how they are written, and for which of our names each is one.
_LENGTHS = {
    "m": "m",
    "metre": "m",
    "meter": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "usft": "us_survey_foot",
}
_DIAMETERS = _LENGTHS | {"mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inche": "in"}
_MEASURED = {"rim": _LENGTHS, "invert": _LENGTHS, "length": _LENGTHS, "inside_diameter": _DIAMETERS}
_ENDING = re.compile(
    r"(?P<name>.+?)(?:[\s_.(\[-]+|(?<=length)|(?<=len)|(?<=elev)|(?<=invert)|(?<=rim))"
    r"(?P<unit>us[ _]?ft|m|met(?:er|re)s?|ft|foot|feet|mm|cm|in|inch(?:es)?)[)\]]?",
    re.IGNORECASE,
)


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


def _spaced(name: str) -> str:
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).lower()


def _parts(name: str) -> list[str]:
    """Return the words of a layer's name, digits apart: ``E-DuctBank_2`` gives e, duct, bank, ductbank."""
    words = [w for w in re.split(r"[^a-z]+", _spaced(name)) if w]
    return [*words, re.sub(r"[^a-z]", "", name.lower())]


def other_words(name: str) -> frozenset[str]:
    """Return the words of a name that say neither ducts nor vaults: what the files of one route have in common.

    Parameters
    ----------
    name : str
        Of a layer or a file.

    Returns
    -------
    frozenset of str
        In lower case.

    Examples
    --------
    >>> sorted(other_words("north_ducts")), sorted(other_words("North Manholes"))
    (['north'], ['north'])
    """
    said = {*_words()["ducts"], *_words()["vaults"]}
    return frozenset(part for part in re.split(r"[^a-z0-9]+", _spaced(name)) if part and part not in said)


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
        found = [part for part in parts if part in words]
        if found:
            word = min(found, key=words.index)
            # one vault or several are one word
            rank = words.index(word.removesuffix("s") if word.removesuffix("s") in words else word)
            best.setdefault(min(rank, 8), []).append(
                Guess(what, name, f"its name holds the word {word!r}, and {count} on it can be {what}")
            )
    if best:
        return tuple(best[min(best)])
    usable = [name for name, count in layers.items() if count > 0]
    if by_elimination and len(usable) == 1:
        return (Guess(what, usable[0], f"it is the only layer with anything on it that can be {what}"),)
    return ()


def unit_in_name(what: str, name: str) -> str:
    """Return the unit that the name of a field ends in.

    Parameters
    ----------
    what : str
        What the field holds, in our names: ``rim``, ``invert``, ``length`` or ``inside_diameter``; others have none.
    name : str
        As the file spells it.

    Returns
    -------
    str
        As in ``12 ft``; empty where the name ends in none.

    Examples
    --------
    >>> unit_in_name("invert", "INVERT_FT"), unit_in_name("rim", "Rim (m)"), unit_in_name("invert", "INV_IN")
    ('ft', 'm', '')
    """
    return _without_unit(what, name)[1]


def _without_unit(what: str, name: str) -> tuple[str, str]:
    match = _ENDING.fullmatch(name.strip())
    if match is None:
        return name, ""
    written = re.sub(r"[ _]", "", match["unit"].lower())
    units = _MEASURED.get(what, {})
    unit = units.get(written) or units.get(written.removesuffix("s"), "")
    return (match["name"], unit) if unit else (name, "")


def names_vaults(field: str) -> bool:
    """Whether the name of a field or attribute says that it names vaults, and not just anything.

    Parameters
    ----------
    field : str
        As the file spells it.

    Returns
    -------
    bool
        ``TAG`` and ``ID`` may name anything.

    Examples
    --------
    >>> names_vaults("MH_NO"), names_vaults("TAG")
    (True, False)
    """
    return re.sub(r"[^a-z0-9]", "", field.lower()) in _words()["names_vaults"]


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
    names = list(reversed(list(available)))
    guesses: list[Guess] = []
    taken: set[str] = set()
    for what in wanted:
        plain = {re.sub(r"[^a-z0-9]", "", _without_unit(what, n)[0].lower()): n for n in names}
        for word in _words().get(what, ()):
            name = plain.get(word)
            if name is not None and name not in taken:
                taken.add(name)
                unit = unit_in_name(what, name)
                by_name = f" and ends in its unit, {unit}" if unit else ""
                guesses.append(Guess(what, name, f"its name is a usual one for {what}{by_name}"))
                break
    return tuple(guesses)
