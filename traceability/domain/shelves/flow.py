"""Maximum flow with whole numbers, what can be reached in what is left, and trials taken back.

Source: Dinic's algorithm (blocking flows in level graphs) and Tarjan's strongly connected
components, textbook, from memory.
"""

from collections import deque
from collections.abc import Mapping
from typing import Final

__all__ = ["UNBOUNDED", "Network"]

UNBOUNDED: Final = 1 << 60


class Network:
    """A directed network; nodes are numbers from `node`, arcs come in pairs (arc, its reverse)."""

    def __init__(self) -> None:
        """Start without nodes."""
        self.arcs_of: list[list[int]] = []
        self.head: list[int] = []
        self.room: list[int] = []
        """What an arc can still carry; the reverse arc holds what it carries."""

    def node(self) -> int:
        """Add a node and return its number."""
        self.arcs_of.append([])
        return len(self.arcs_of) - 1

    def arc(self, tail: int, head: int, capacity: int) -> int:
        """Add an arc and return its number."""
        number = len(self.head)
        self.head += [head, tail]
        self.room += [capacity, 0]
        self.arcs_of[tail].append(number)
        self.arcs_of[head].append(number + 1)
        return number

    def fill(self, source: int, sink: int) -> int:
        """Push as much as possible from source to sink; return how much was added."""
        total = 0
        while (level := self._levels(source, sink)) is not None:
            at = [0] * len(self.arcs_of)
            while (pushed := self._path(source, sink, level, at)) > 0:
                total += pushed
        return total

    def _levels(self, source: int, sink: int) -> list[int] | None:
        level = [-1] * len(self.arcs_of)
        level[source] = 0
        queue = deque([source])
        while queue:
            node = queue.popleft()
            for arc in self.arcs_of[node]:
                if self.room[arc] > 0 and level[self.head[arc]] < 0:
                    level[self.head[arc]] = level[node] + 1
                    queue.append(self.head[arc])
        return level if level[sink] >= 0 else None

    def _path(self, source: int, sink: int, level: list[int], at: list[int]) -> int:
        """Push along one path of the level graph; 0 when there is none left."""
        path: list[int] = []
        node = source
        while node != sink:
            arcs = self.arcs_of[node]
            if at[node] == len(arcs):
                if not path:
                    return 0
                node = self.head[path.pop() ^ 1]
                at[node] += 1
                continue
            arc = arcs[at[node]]
            if self.room[arc] > 0 and level[self.head[arc]] == level[node] + 1:
                path.append(arc)
                node = self.head[arc]
            else:
                at[node] += 1
        pushed = min(self.room[arc] for arc in path)
        self.push(path, pushed)
        return pushed

    def push(self, path: list[int], amount: int) -> None:
        """Send an amount along arcs; a negative amount takes it back."""
        for arc in path:
            self.room[arc] -= amount
            self.room[arc ^ 1] += amount

    def carried_to(self, node: int, source: int) -> list[int]:
        """Return the arcs of one path of flow that arrives at a node, from the node's side.

        The node must be carrying flow.
        """
        path: list[int] = []
        while node != source:
            # An arc out of `node` whose reverse twin belongs to an arc into it that carries.
            back = next(arc for arc in self.arcs_of[node] if arc & 1 and self.room[arc] > 0)
            path.append(back ^ 1)
            node = self.head[back]
        return path

    def way_to(self, node: int, source: int, *, never: int) -> list[int] | None:
        """Return the arcs of a path with room from the source to a node, or None.

        Searched from the node, so that a near source of supply is found quickly.

        Args:
            node: where one more unit is wanted.
            source: where units come from.
            never: a node that the path must not touch.
        """
        onward: dict[int, int] = {node: -1, never: -1}
        queue = deque([node])
        while queue:
            here = queue.popleft()
            for back in self.arcs_of[here]:
                before = self.head[back]
                if before in onward or self.room[back ^ 1] <= 0:
                    continue
                onward[before] = back ^ 1
                if before == source:
                    path = [back ^ 1]
                    while self.head[path[-1]] != node:
                        path.append(onward[self.head[path[-1]]])
                    return path
                queue.append(before)
        return None

    def marks_reached(self, marks: Mapping[int, int]) -> list[int]:
        """Return for every node the union of the marks that can be reached in what is left.

        Args:
            marks: bits by node; a node without bits marks nothing.
        """
        order, group = self._components()
        reached = [0] * len(order)
        for number, nodes in enumerate(order):  # a group comes after all it can reach
            bits = 0
            for node in nodes:
                bits |= marks.get(node, 0)
                for arc in self.arcs_of[node]:
                    if self.room[arc] > 0:
                        bits |= reached[group[self.head[arc]]]
            reached[number] = bits
        return [reached[group[node]] for node in range(len(self.arcs_of))]

    def _components(self) -> tuple[list[list[int]], list[int]]:
        """Return strongly connected groups, last reached first, and each node's group."""
        count = len(self.arcs_of)
        index, low, group = [-1] * count, [0] * count, [-1] * count
        at = [0] * count
        order: list[list[int]] = []
        stack: list[int] = []
        clock = 0
        for root in range(count):
            work = [root] if index[root] < 0 else []
            while work:
                node = work[-1]
                if index[node] < 0:
                    index[node] = low[node] = clock
                    clock += 1
                    stack.append(node)
                ahead = self._next_open(node, at, index, group, low)
                if ahead is not None:
                    work.append(ahead)
                    continue
                work.pop()
                if work:
                    low[work[-1]] = min(low[work[-1]], low[node])
                if low[node] == index[node]:
                    nodes: list[int] = []
                    while not nodes or nodes[-1] != node:
                        nodes.append(stack.pop())
                        group[nodes[-1]] = len(order)
                    order.append(nodes)
        return order, group

    def _next_open(
        self, node: int, at: list[int], index: list[int], group: list[int], low: list[int]
    ) -> int | None:
        """Return the next neighbour not yet visited, noting how low the others are."""
        arcs = self.arcs_of[node]
        while at[node] < len(arcs):
            arc = arcs[at[node]]
            at[node] += 1
            ahead = self.head[arc]
            if self.room[arc] <= 0:
                continue
            if index[ahead] < 0:
                return ahead
            if group[ahead] < 0:
                low[node] = min(low[node], index[ahead])
        return None
