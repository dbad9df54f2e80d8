"""The network: vaults and the ducts between them as a graph, and what stands apart from it."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx

from routeio.survey import Duct, Survey


@dataclass(frozen=True, eq=False)
class DuctNetwork:
    """Vaults and the ducts between them.

    Parameters
    ----------
    survey : Survey
        What it was made from.
    graph : networkx.MultiGraph
        Vault tags as nodes (attribute ``vault``); one edge a duct, its key the duct's id, with ``chain``,
        ``length_m``, ``duct`` and ``start`` (the tag at which the chain starts).
    loose : tuple of Duct
        Ducts that end short of a vault; they are in the survey and not in the graph.
    """

    survey: Survey
    graph: nx.MultiGraph
    loose: tuple[Duct, ...]

    @classmethod
    def from_survey(cls, survey: Survey) -> DuctNetwork:
        """Build the graph of a survey."""
        raise NotImplementedError
