"""Labels in one dimension: pushed apart in a column, stacked in rows."""

from __future__ import annotations

from collections.abc import Sequence


def spread_out(
    targets: Sequence[float], sizes: Sequence[float], low: float, high: float
) -> list[float]:
    """Return centres as near to `targets` (ascending) as room allows, none overlapping.

    Labels that touch form a block that sits at the mean of its targets. When all together are
    larger than the room they are packed from `low` on and run over `high`.
    """
    blocks: list[tuple[float, list[int]]] = []  # (wanted bottom edge, members)
    for index, target in enumerate(targets):
        blocks.append((target - sizes[index] / 2, [index]))
        while len(blocks) > 1 and _bottom(blocks[-2], sizes, low, high) + _height(
            blocks[-2], sizes
        ) > _bottom(blocks[-1], sizes, low, high):
            _, upper = blocks.pop()
            _, lower = blocks.pop()
            blocks.append(_merged(lower + upper, targets, sizes))
    centres = [0.0] * len(targets)
    for block in blocks:
        edge = _bottom(block, sizes, low, high)
        for index in block[1]:
            centres[index] = edge + sizes[index] / 2
            edge += sizes[index]
    return centres


def _height(block: tuple[float, list[int]], sizes: Sequence[float]) -> float:
    return sum(sizes[index] for index in block[1])


def _bottom(
    block: tuple[float, list[int]], sizes: Sequence[float], low: float, high: float
) -> float:
    return max(low, min(block[0], high - _height(block, sizes)))


def _merged(
    members: list[int], targets: Sequence[float], sizes: Sequence[float]
) -> tuple[float, list[int]]:
    """Return the block of `members` whose centres lie nearest to their targets on average."""
    offset, wanted = 0.0, 0.0
    for index in members:
        wanted += targets[index] - (offset + sizes[index] / 2)
        offset += sizes[index]
    return wanted / len(members), members


def stack_rows(spans: Sequence[tuple[float, float]]) -> list[int]:
    """Return for each (left, right) the lowest row in which it overlaps no earlier one."""
    rows: list[list[tuple[float, float]]] = []
    placed = []
    for left, right in spans:
        for number, row in enumerate(rows):
            if all(right <= other_left or other_right <= left for other_left, other_right in row):
                row.append((left, right))
                placed.append(number)
                break
        else:
            rows.append([(left, right)])
            placed.append(len(rows) - 1)
    return placed
