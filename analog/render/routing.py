"""Wires of a schematic: shortest right-angled paths that go around parts and foreign wires.

Everything lies on a half-unit grid, cells counted in integers. A path costs its length, more
for each bend and for each foreign wire it crosses; it never runs along a foreign wire, through
a body or over a foreign pin.
"""

from __future__ import annotations

import heapq
import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from analog.render.geometry import Box, Point

GRID = 0.5

Cell = tuple[int, int]
Edge = tuple[Cell, Cell]

_STEPS: tuple[Cell, ...] = ((1, 0), (0, 1), (-1, 0), (0, -1))
_BEND_COST = 2.5
_CROSSING_COST = 6.0
_MARGIN_CELLS = 4


def cell(point: Point) -> Cell:
    """Return the grid cell of a point."""
    return (round(point[0] / GRID), round(point[1] / GRID))


def position(at: Cell) -> Point:
    """Return the point of a grid cell."""
    return (at[0] * GRID, at[1] * GRID)


def _edge(a: Cell, b: Cell) -> Edge:
    return (a, b) if a <= b else (b, a)


@dataclass(slots=True)
class Board:
    """What already stands on the grid: bodies, and by net pins, wires and leads."""

    bodies: list[Box] = field(default_factory=list)
    pins: dict[Cell, str] = field(default_factory=dict)
    edges: dict[Edge, str] = field(default_factory=dict)
    leads: dict[Edge, str] = field(default_factory=dict)

    def add_lead(self, net: str, pin: Point, body: Box) -> None:
        """Enter the straight lead from a pin to its body, which wires may only cross."""
        at = cell(pin)
        end = (min(max(pin[0], body.left), body.right), min(max(pin[1], body.bottom), body.top))
        dx, dy = (round((end[k] - pin[k]) * 1e6) for k in (0, 1))
        step = ((dx > 0) - (dx < 0), (dy > 0) - (dy < 0))
        if 0 in step and step != (0, 0):
            for _ in range(math.ceil(max(abs(dx), abs(dy)) / 1e6 / GRID)):
                following = (at[0] + step[0], at[1] + step[1])
                self.leads[_edge(at, following)] = net
                at = following

    def limits(self) -> tuple[int, int, int, int]:
        """Return the first and last column and row a wire may use."""
        corners = [*self.pins]
        for body in self.bodies:
            corners += [cell((body.left, body.bottom)), cell((body.right, body.top))]
        columns = [column for column, _ in corners]
        rows = [row for _, row in corners]
        return (
            min(columns) - _MARGIN_CELLS,
            max(columns) + _MARGIN_CELLS,
            min(rows) - _MARGIN_CELLS,
            max(rows) + _MARGIN_CELLS,
        )

    def wires_at(self, at: Cell, net: str) -> list[int]:
        """Return the directions (index into the four steps) of foreign wires at a cell."""
        found = []
        for direction, (dx, dy) in enumerate(_STEPS):
            edge = _edge(at, (at[0] + dx, at[1] + dy))
            owner = self.edges.get(edge, self.leads.get(edge))
            if owner is not None and owner != net:
                found.append(direction)
        return found

    def walls(self) -> frozenset[Cell]:
        """Return what lies inside a body, cells and middles of edges, in half cells."""
        found: set[Cell] = set()
        for body in self.bodies:
            columns = range(math.floor(4 * body.left) + 1, math.ceil(4 * body.right))
            rows = range(math.floor(4 * body.bottom) + 1, math.ceil(4 * body.top))
            found.update((column, row) for column in columns for row in rows)
        return frozenset(found)


State = tuple[Cell, int]


def _neighbours(
    board: Board, walls: frozenset[Cell], net: str, state: State
) -> Iterator[tuple[float, State]]:
    at, heading = state
    foreign = board.wires_at(at, net)
    for direction, (dx, dy) in enumerate(_STEPS):
        if heading >= 0 and (direction + 2) % 4 == heading:
            continue
        if foreign and direction != heading:
            continue  # cross a foreign wire straight or not at all
        if direction in foreign or (direction + 2) % 4 in foreign:
            continue
        target = (at[0] + dx, at[1] + dy)
        if _edge(at, target) in board.leads:
            continue
        if board.pins.get(target, net) != net or (2 * at[0] + dx, 2 * at[1] + dy) in walls:
            continue
        if (2 * target[0], 2 * target[1]) in walls and target not in board.pins:
            continue
        ahead = board.wires_at(target, net)
        if ahead and ahead != [(direction + 1) % 2, (direction + 1) % 2 + 2]:
            continue  # anything but a straight foreign wire across
        cost = 1.0 + (_BEND_COST if heading not in (-1, direction) else 0.0)
        yield cost + (_CROSSING_COST if ahead else 0.0), (target, direction)


def _search(board: Board, net: str, tree: set[Cell], goals: set[Cell]) -> list[Cell] | None:
    """Return the cheapest path from any cell of `tree` to any of `goals`; None if walled in."""
    left, right, bottom, top = board.limits()
    walls = board.walls()
    queue: list[tuple[float, int, State]] = []
    best: dict[State, float] = {}
    came: dict[State, State] = {}
    for at in sorted(tree):
        heapq.heappush(queue, (0.0, len(best), (at, -1)))
        best[(at, -1)] = 0.0
    while queue:
        cost, _, state = heapq.heappop(queue)
        if cost > best[state]:
            continue
        if state[0] in goals and not board.wires_at(state[0], net):
            return _trace(came, state)
        for step, following in _neighbours(board, walls, net, state):
            column, row = following[0]
            if not (left <= column <= right and bottom <= row <= top):
                continue
            total = cost + step
            if total < best.get(following, float("inf")):
                best[following] = total
                came[following] = state
                heapq.heappush(queue, (total, len(best), following))
    return None


def _trace(came: dict[State, State], state: State) -> list[Cell]:
    path = [state[0]]
    while state in came:
        state = came[state]
        path.append(state[0])
    return path[::-1]


def connect(board: Board, net: str, terminals: Iterable[Point]) -> bool:
    """Join the terminals of one net by wires; False when one could not be reached."""
    waiting = sorted({cell(point) for point in terminals})
    tree = {waiting.pop(0)}
    while waiting := [at for at in waiting if at not in tree]:
        path = _search(board, net, tree, set(waiting))
        if path is None:
            return False
        for a, b in pairwise(path):
            board.edges[_edge(a, b)] = net
        tree.update(path)
    return True


def segments(board: Board, net: str) -> list[tuple[Point, Point]]:
    """Return the wires of a net as straight pieces, collinear neighbours merged."""
    pieces: list[tuple[Point, Point]] = []
    for axis in (0, 1):
        runs = sorted(
            (edge for edge, owner in board.edges.items() if owner == net and _axis(edge) == axis),
            key=lambda edge: (edge[0][1 - axis], edge[0][axis]),
        )
        current: Edge | None = None
        for edge in runs:
            if current is not None and current[1] == edge[0]:
                current = (current[0], edge[1])
                continue
            if current is not None:
                pieces.append((position(current[0]), position(current[1])))
            current = edge
        if current is not None:
            pieces.append((position(current[0]), position(current[1])))
    return pieces


def _axis(edge: Edge) -> int:
    return 0 if edge[0][1] == edge[1][1] else 1


def junctions(board: Board, net: str, pins: Iterable[Point]) -> list[Point]:
    """Return where three or more wires and pins of a net meet, each to be marked by a dot."""
    meeting: Counter[Cell] = Counter()
    for edge, owner in board.edges.items():
        if owner == net:
            meeting.update(edge)
    meeting.update(cell(pin) for pin in pins)
    return [position(at) for at, count in sorted(meeting.items()) if count >= 3]
