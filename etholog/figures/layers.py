"""Places for what stands in layers, parents above their young, with as few lines crossing as can be found.

Written here because no light library lays out layers: the usual way (Sugiyama, Tagawa & Toda 1981, IEEE Trans. SMC
11:109-125): lines over several layers get a point in each, layers are ordered by the middle of their neighbours and by
swapping, and moved to stand under what they hang from. Several beginnings are tried; the one with the fewest crossings
is kept.
"""

import random
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import mean

Node = Hashable
Edge = tuple[Node, Node]  # from above to below
Layers = list[list[Node]]
TRIES, SWEEPS = 12, 12


@dataclass(frozen=True)
class Placed:
    """Where each node stands (x, layer), the points that each edge goes through, and how often edges cross."""

    at: Mapping[Node, tuple[float, int]]
    through: Mapping[Edge, Sequence[tuple[float, int]]]
    crossings: int


def place(layer: Mapping[Node, int], edges: Iterable[Edge]) -> Placed:
    """Return places for nodes whose layers are given; each edge goes to a later layer.

    >>> place({"d": 0, "s": 0, "pair": 1, "young": 2}, [("d", "pair"), ("s", "pair"), ("pair", "young")]).crossings
    0
    """
    edges = list(edges)
    nodes: dict[Node, int] = dict(layer)
    chains: dict[Edge, list[Node]] = {}
    for edge in edges:
        above, below = edge
        between: list[Node] = [("point", edge, level) for level in range(layer[above] + 1, layer[below])]
        nodes |= dict(zip(between, range(layer[above] + 1, layer[below]), strict=True))
        chains[edge] = [above, *between, below]
    short = list(dict.fromkeys(pair for chain in chains.values() for pair in pairwise(chain)))
    up: dict[Node, list[Node]] = {node: [] for node in nodes}
    down: dict[Node, list[Node]] = {node: [] for node in nodes}
    for a, b in short:
        down[a].append(b)
        up[b].append(a)
    best = _ordered(nodes, up, down)
    x = _spread(best, up, down)
    through = {edge: [(x[node], nodes[node]) for node in chain] for edge, chain in chains.items()}
    return Placed({node: (x[node], nodes[node]) for node in layer}, through, _crossings(best, down))


def _ordered(nodes: Mapping[Node, int], up: Mapping[Node, list[Node]], down: Mapping[Node, list[Node]]) -> Layers:
    """Return the layers in the order with the fewest crossings that was found."""
    chance = random.Random(1)
    best: Layers = []
    fewest = -1
    for attempt in range(TRIES):
        layers = _begun(nodes, up, down, chance if attempt else None)
        for sweep in range(SWEEPS):
            levels = range(1, len(layers)) if sweep % 2 == 0 else range(len(layers) - 2, -1, -1)
            toward = up if sweep % 2 == 0 else down
            for level in levels:
                beside = layers[level - 1] if toward is up else layers[level + 1]
                at = {node: i for i, node in enumerate(beside)}
                own = {node: i for i, node in enumerate(layers[level])}
                layers[level].sort(key=lambda node: mean([at[n] for n in toward[node]]) if toward[node] else own[node])
            _swap(layers, up, down)
            crossed = _crossings(layers, down)
            if fewest < 0 or crossed < fewest:
                best, fewest = [list(one) for one in layers], crossed
        if fewest == 0:
            break
    return best


def _begun(
    nodes: Mapping[Node, int], up: Mapping[Node, list[Node]], down: Mapping[Node, list[Node]],
    chance: random.Random | None,
) -> Layers:  # fmt: skip
    """Return layers in the order in which a walk along the edges comes to their nodes, so that families stand
    together."""
    layers: Layers = [[] for _ in range(max(nodes.values(), default=0) + 1)]
    waiting = list(nodes)
    if chance:
        chance.shuffle(waiting)
    seen = set[Node]()
    while waiting:
        stack = [waiting.pop()]
        while stack:
            node = stack.pop()
            if node in seen:
                continue
            seen.add(node)
            layers[nodes[node]].append(node)
            near = [*up[node], *down[node]]
            if chance:
                chance.shuffle(near)
            stack += near
    return layers


def _swap(layers: Layers, up: Mapping[Node, list[Node]], down: Mapping[Node, list[Node]]) -> None:
    """Swap neighbours as long as that makes fewer crossings."""
    for level, own in enumerate(layers):
        above = {node: i for i, node in enumerate(layers[level - 1])} if level else {}
        below = {node: i for i, node in enumerate(layers[level + 1])} if level + 1 < len(layers) else {}
        better = True
        while better:
            better = False
            for i in range(len(own) - 1):
                a, b = own[i], own[i + 1]
                now = _pair(up[a], up[b], above) + _pair(down[a], down[b], below)
                then = _pair(up[b], up[a], above) + _pair(down[b], down[a], below)
                if then < now:
                    own[i], own[i + 1] = b, a
                    better = True


def _pair(left: Sequence[Node], right: Sequence[Node], at: Mapping[Node, int]) -> int:
    return sum(at[a] > at[b] for a in left for b in right)


def _crossings(layers: Layers, down: Mapping[Node, list[Node]]) -> int:
    found = 0
    for upper, lower in pairwise(layers):
        at = {node: i for i, node in enumerate(lower)}
        ends = [sorted(at[n] for n in down[node]) for node in upper]
        flat = [end for own in ends for end in own]
        found += sum(b < a for i, a in enumerate(flat) for b in flat[i + 1 :])
    return found


def _spread(layers: Layers, up: Mapping[Node, list[Node]], down: Mapping[Node, list[Node]]) -> dict[Node, float]:
    """Return where each node stands: in its layer's order, one apart at least, near the middle of its neighbours."""
    x = {node: float(i) for own in layers for i, node in enumerate(own)}
    for sweep in range(40):
        order = layers if sweep % 2 == 0 else layers[::-1]
        for own in order:
            wanted = [mean([x[n] for n in (*up[node], *down[node])] or [x[node]]) - i for i, node in enumerate(own)]
            for i, (node, place_) in enumerate(zip(own, _rising(wanted), strict=True)):
                x[node] = place_ + i
    return x


def _rising(wanted: Sequence[float]) -> list[float]:
    """Return the nearest numbers that never fall (least squares; pooling of adjacent violators, Ayer et al. 1955)."""
    blocks: list[tuple[float, int]] = []
    for value in wanted:
        blocks.append((value, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (a, m), (b, n) = blocks[-2:]
            blocks[-2:] = [((a * m + b * n) / (m + n), m + n)]
    return [value for value, size in blocks for _ in range(size)]
