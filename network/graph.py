"""The network: vaults and the ducts between them as a graph, and what stands apart from it."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import networkx as nx

from network.errors import UnknownVaultError
from routeio.findings import InputRefusedError, Where
from routeio.survey import Duct, Survey, Vault


@dataclass(frozen=True, eq=False)
class DuctNetwork:
    """Vaults and the ducts between them.

    Parameters
    ----------
    survey : Survey
        What it was made from.
    graph : networkx.MultiGraph
        Vault tags as nodes (attribute ``vault``); one edge a duct, its key the duct's id, with ``chain``,
        ``length_m``, ``duct`` and ``start`` (the tag at which the chain starts). Parallel ducts are parallel
        edges; a duct that ends where it starts is a loop.
    loose : tuple of Duct
        Ducts with an end that meets no vault; they are not in the graph.
    """

    survey: Survey
    graph: nx.MultiGraph[str]
    loose: tuple[Duct, ...]

    @classmethod
    def from_survey(cls, survey: Survey) -> DuctNetwork:
        """Build the graph of a survey.

        Parameters
        ----------
        survey : Survey
            Vault tags and duct ids unique, as the readers leave them.

        Returns
        -------
        DuctNetwork
            All vaults as nodes, those that no duct meets included.

        Raises
        ------
        InputRefusedError
            A tag or id that stands twice, a duct that names a vault there is not, a duct without length.
        """
        graph: nx.MultiGraph[str] = nx.MultiGraph()
        for vault in survey.vaults:
            if vault.tag in graph:
                raise InputRefusedError(
                    "duplicate-vault",
                    f"vault {vault.tag!r} stands twice in the survey",
                    vault.where,
                    "give each vault a tag of its own",
                )
            graph.add_node(vault.tag, vault=vault)
        loose: list[Duct] = []
        seen: set[str] = set()
        for duct in survey.ducts:
            if duct.id in seen:
                raise InputRefusedError(
                    "duplicate-duct",
                    f"duct {duct.id!r} stands twice in the survey",
                    duct.where,
                    "give each duct an id of its own",
                )
            seen.add(duct.id)
            length = _length(duct)
            for tag in (duct.start_vault, duct.end_vault):
                if tag is not None and tag not in graph:
                    raise InputRefusedError(
                        "unknown-vault",
                        f"duct {duct.id!r} ends at vault {tag!r}, which is not in the survey",
                        duct.where,
                        "draw the vault, or leave the end loose",
                    )
            if duct.start_vault is None or duct.end_vault is None:
                loose.append(duct)
                continue
            graph.add_edge(
                duct.start_vault,
                duct.end_vault,
                key=duct.id,
                chain=duct.chain,
                length_m=length,
                duct=duct,
                start=duct.start_vault,
            )
        return cls(survey, graph, tuple(loose))

    def vault(self, tag: str) -> Vault:
        """Return a vault by its tag.

        Parameters
        ----------
        tag : str
            As in the survey, case and blanks included.

        Returns
        -------
        Vault
            That vault.

        Raises
        ------
        UnknownVaultError
            With the names that look most like it.
        """
        if tag not in self.graph:
            renamed = tuple(v.tag for v in self.survey.vaults if v.tag.startswith(f"{tag}@"))
            raise UnknownVaultError(tag, self._like(tag), Where(file=self.survey.file), renamed)
        vault: Vault = self.graph.nodes[tag]["vault"]
        return vault

    def duct(self, duct_id: str) -> Duct:
        """Return a duct between two vaults by its id.

        Parameters
        ----------
        duct_id : str
            As in the survey.

        Returns
        -------
        Duct
            That duct.

        Raises
        ------
        InputRefusedError
            No such duct, or one with a loose end.
        """
        for duct in self.survey.ducts:
            if duct.id == duct_id:
                if duct.start_vault is None or duct.end_vault is None:
                    raise InputRefusedError(
                        "loose-duct",
                        f"duct {duct_id!r} does not end at a vault on both sides",
                        duct.where,
                        "bring its end to the vault, or raise snap above the distance between them",
                    )
                return duct
        raise InputRefusedError(
            "unknown-duct",
            f"there is no duct {duct_id!r}",
            Where(file=self.survey.file),
            "tautline inspect lists the ducts",
        )

    def between(self, one: str, other: str) -> tuple[Duct, ...]:
        """Return the ducts that run directly between two vaults, by id.

        Parameters
        ----------
        one, other : str
            Tags, in either order.

        Returns
        -------
        tuple of Duct
            Empty where there is none.
        """
        edges: Mapping[str, Mapping[str, Any]] = self.graph.adj[one].get(other, {})
        return tuple(edges[key]["duct"] for key in sorted(edges, key=natural))

    def _like(self, tag: str) -> tuple[str, ...]:
        plain = {t.strip().casefold(): t for t in sorted(self.graph, key=natural)}
        close = difflib.get_close_matches(tag.strip().casefold(), list(plain), n=3, cutoff=0.5)
        return tuple(plain[c] for c in close)


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts ``MH-2`` before ``MH-10``.

    Parameters
    ----------
    name : str
        A tag or an id.

    Returns
    -------
    tuple
        Compares with any other such key.

    Examples
    --------
    >>> sorted(["MH-10", "MH-2", "A"], key=natural)
    ['A', 'MH-2', 'MH-10']
    """
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(p), p) if p.isdecimal() else (1, 0, p) for p in parts)


def _length(duct: Duct) -> float:
    """Length of a duct; a cost that is not finite would be avoided or chosen in silence by any shortest path."""
    length = duct.chain.total_length
    if not (length > 0.0 and math.isfinite(length)):
        raise InputRefusedError(
            "duct-without-length",
            f"duct {duct.id!r} has a length of {length} m",
            duct.where,
            "draw it with a length, or leave it out",
        )
    return length
