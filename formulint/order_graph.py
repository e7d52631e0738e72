"""What follows from "this goes in before that": chains of reasons, contradictions, and the fewest additions to move.

Additions are nodes, demands are edges. Nothing here knows of vessels or rules; whoever asks says which pairs are in force
and which of them are violated.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

from formulint.vessels import Spot

if TYPE_CHECKING:
    from networkx import DiGraph

Pair = tuple[Spot, Spot]
"""Two additions of which the first must go in before the second."""


def _graph(pairs: Iterable[Pair]) -> DiGraph:
    import networkx

    graph = networkx.DiGraph()
    graph.add_edges_from(pairs)
    return graph


def consistent(pairs: Iterable[Pair]) -> bool:
    """True where all demands can be met together."""
    import networkx

    return bool(networkx.is_directed_acyclic_graph(_graph(pairs)))


def implied(pairs: Iterable[Pair]) -> frozenset[Pair]:
    """The demands with all that follow from them; they must be consistent."""
    import networkx

    return frozenset(networkx.transitive_closure_dag(_graph(pairs)).edges)


def needed(pairs: Iterable[Pair]) -> frozenset[Pair]:
    """The demands without those that follow from others; they must be consistent."""
    import networkx

    return frozenset(networkx.transitive_reduction(_graph(pairs)).edges)


def chain(pairs: Collection[Pair], start: Spot, end: Spot) -> tuple[Pair, ...]:
    """The shortest chain of demands from one addition to another; empty where there is none."""
    import networkx

    graph = _graph(sorted(pairs))
    if start not in graph or end not in graph or not networkx.has_path(graph, start, end):
        return ()
    path = networkx.shortest_path(graph, start, end)
    return tuple(pairwise(path))


def knots(pairs: Collection[Pair]) -> tuple[tuple[Pair, ...], ...]:
    """Demands that contradict each other: of every knot of them one shortest circle, from its foremost addition on."""
    import networkx

    graph = _graph(sorted(pairs))
    found = []
    for members in networkx.strongly_connected_components(graph):
        if len(members) > 1:
            inner = graph.subgraph(members)
            found.append(min((_circle(inner, node) for node in sorted(members)), key=lambda one: (len(one), one)))
    return tuple(sorted(found))


def _circle(graph: DiGraph, node: Spot) -> tuple[Pair, ...]:
    """A shortest circle through one addition."""
    import networkx

    back = min((networkx.shortest_path(graph, after, node) for after in sorted(graph.successors(node))), key=len)
    path = [node, *back]
    return tuple(pairwise(path))


def to_move(violated: Collection[Pair], weight: Mapping[Spot, float]) -> frozenset[Spot]:
    """The fewest additions that have to move so that no violated demand is left; of equally many, the lighter ones.

    ``violated`` with all that follows is an order in itself. What stays must be free of it pairwise, so it is a largest
    antichain of that order, which is found as the complement of a smallest cover of its pairs (Dilworth, König); what
    is left out of it can then be put in its place one by one.

    Parameters
    ----------
    violated : collection of pairs
        Consistent demands of which the second addition is there when the first goes in.
    weight : mapping
        By addition; one that is not in it weighs nothing.
    """
    pairs = implied(violated)
    nodes = {node for pair in pairs for node in pair}
    most = _widest(nodes, pairs)
    kept: set[Spot] = set()
    for node in sorted(nodes, key=lambda one: (-weight.get(one, 0.0), one)):
        rest = {one for one in nodes if one != node and (one, node) not in pairs and (node, one) not in pairs}
        if node in nodes and _widest(rest, pairs) + 1 == most:
            kept.add(node)
            nodes, most = rest, most - 1
        elif node in nodes:
            nodes = nodes - {node}
    return frozenset(node for pair in pairs for node in pair) - kept


def _widest(nodes: Collection[Spot], pairs: Collection[Pair]) -> int:
    """How many additions the largest antichain has: all, less the pairs of a largest matching."""
    import networkx

    graph = networkx.Graph()
    graph.add_nodes_from(((node, 0) for node in nodes), bipartite=0)
    graph.add_nodes_from(((node, 1) for node in nodes), bipartite=1)
    graph.add_edges_from(((one, 0), (other, 1)) for one, other in pairs if one in nodes and other in nodes)
    matching = networkx.bipartite.hopcroft_karp_matching(graph, [(node, 0) for node in nodes])
    return len(nodes) - len(matching) // 2
