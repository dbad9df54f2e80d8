"""Beside a file with one layer: which of the files around it may hold its vaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from routeio.findings import InputRefusedError
from routeio.gis_open import Source, facts, plain_kind
from routeio.guess import Guess, layers_like, other_words
from routeio.layer_facts import MARKS, Facts

#: No more files than this are opened to see what they hold, and no more named.
_MOST_OPENED, _MOST_NAMED = 20, 6


@dataclass(frozen=True, eq=False)
class Beside:
    """What was found beside a file.

    Parameters
    ----------
    vaults : tuple of Guess
        At most one.
    known : mapping of str to Facts
        Of the layer guessed.
    why : str
        Why none is guessed, to go on with a message; empty where there is nothing to say.
    """

    vaults: tuple[Guess, ...] = ()
    known: Mapping[str, Facts] = field(default_factory=dict)
    why: str = ""


def beside(path: Path, every: Mapping[str, Source]) -> Beside:
    """Return the layer beside a file that may hold its vaults.

    Parameters
    ----------
    path : Path
        A file with one layer, taken for ducts.
    every : mapping of str to Source
        That layer and those of the files beside it, as :func:`routeio.gis_open.sources` gives them.

    Returns
    -------
    Beside
        The one file with points or areas whose name says so; of several the one whose name is the same but for that.
    """
    others = [name for name, source in every.items() if source.path != path]
    # each by itself: the one with the best word may hold nothing of use
    named = [guess for name in others for guess in layers_like("vaults", {name: 1}, by_elimination=False)]
    known: dict[str, Facts] = {}
    for guess in named[:_MOST_OPENED]:
        try:
            found = facts(every[guess.name])
        except InputRefusedError:
            continue  # it is looked at only to see whether it would do
        if plain_kind(found.kind) in {*MARKS, "Unknown"} and found.features != 0:
            known[guess.name] = found
    own = other_words(path.stem)
    alike = [name for name in known if other_words(name) == own] if len(known) > 1 else list(known)
    if len(alike) == 1:
        name = alike[0]
        file = every[name].path.name
        same = " and is the same as this file's but for that" if len(known) > 1 else ""
        reason = (
            f"{file} stands beside the file, its name says vaults{same}, and it holds {known[name].features} "
            f"{plain_kind(known[name].kind)}"
        )
        return Beside((Guess("vaults", name, reason),), {name: known[name]})
    if not known:
        return Beside()
    listed = ", ".join(every[name].path.name for name in list(known)[:_MOST_NAMED])
    return Beside(why=f"; beside it there are {listed}")
