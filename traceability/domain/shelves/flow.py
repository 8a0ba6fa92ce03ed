"""Maximum flow with whole numbers, and what can be reached in what is left of a network.

Source: Dinic's algorithm (blocking flows in level graphs), textbook, from memory.
"""

from collections import deque
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
        for arc in path:
            self.room[arc] -= pushed
            self.room[arc ^ 1] += pushed
        return pushed

    def reached(self, start: int) -> set[int]:
        """Return the nodes that can be reached from `start`, itself included, in what is left."""
        seen = {start}
        queue = deque([start])
        while queue:
            node = queue.popleft()
            for arc in self.arcs_of[node]:
                ahead = self.head[arc]
                if self.room[arc] > 0 and ahead not in seen:
                    seen.add(ahead)
                    queue.append(ahead)
        return seen
