"""No limit rests on a card's figure without saying how sure that figure is.

One figure after another is changed by 1 % on every card that has it and said to be from memory
with low confidence. A limit that changes with it, or whose words named that figure's source, must
then say so: in the report these words stand beside the finding.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from analog.benches import BENCHES
from analog.cards import Card, Column, FigureTable, Source, Technology, all_cards, loader
from analog.design import read_design
from analog.verdicts import Limit

ROOT = Path(__file__).resolve().parents[2]
DESIGNS = (
    ROOT / "analog/scenarios/first-draft.toml",
    ROOT / "analog/scenarios/propagator-mat.toml",
    ROOT / "tests/engine/ceramic.toml",
)
UNSURE = Source("memory", "a doubtful note", "low")
CHANGE = 1.01
TECHNOLOGY = "ratings of resistors and capacitors"
CARDS = all_cards()
INDEX = dict(loader._index())

Limits = dict[tuple[str, str, str, int], Limit]


def limits_of(path: Path) -> Limits:
    design = read_design(path)
    found: Limits = {}
    for bench in BENCHES:
        if getattr(design, bench.section) is None:
            continue
        for measure, limits in bench.plan(design).limits.items():
            for n, limit in enumerate(limits):
                found[bench.identifier, measure, limit.identifier, n] = limit
    return found


def changed(values: tuple[float, ...] | None) -> tuple[float, ...] | None:
    return None if values is None else tuple(CHANGE * value for value in values)


def doubtful_table(table: FigureTable) -> FigureTable:
    return replace(
        table,
        minimum=changed(table.minimum),
        typical=changed(table.typical),
        maximum=changed(table.maximum),
        source=UNSURE,
    )


def doubtful_column(column: Column, name: str) -> Column:
    if name not in column.tables:
        return column
    return replace(column, tables=column.tables | {name: doubtful_table(column.tables[name])})  # type: ignore[operator]


def doubtful_technology(make: Technology | None) -> Technology | None:
    if make is None:
        return None
    sizes = tuple(
        replace(
            size,
            limiting_v=CHANGE * size.limiting_v,
            overload_v=CHANGE * size.overload_v,
            source=UNSURE,
        )
        for size in make.sizes
    )
    rating = CHANGE * make.rating_default
    return replace(make, rating_default=rating, rating_source=UNSURE, sizes=sizes)


def doubtful(card: Card, name: str) -> Card:
    if name == TECHNOLOGY:
        return replace(card, technology=doubtful_technology(card.technology))
    return replace(card, columns=tuple(doubtful_column(column, name) for column in card.columns))


def doubt(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Let every look-up of a card give the one with the doubtful figure `name`."""
    cards = {card.identifier: doubtful(card, name) for card in CARDS}
    index = {key: cards[card.identifier] for key, card in INDEX.items()}
    monkeypatch.setattr(loader, "_index", lambda: index)
    monkeypatch.setattr(loader, "all_cards", lambda: tuple(cards.values()))


def words_of(name: str) -> set[str]:
    """Return the words of every source that the figure `name` has on any card."""
    columns = [column for card in CARDS for column in card.columns if name in column.tables]
    return {f"{name}: {column.tables[name].source}" for column in columns}


def said(limit: Limit) -> str:
    return f"{limit.source}; {limit.note}"


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_limits_tell_low_confidence(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = limits_of(path)
    names = {name for card in CARDS for column in card.columns for name in column.tables}
    resting, silent = set(), []
    for name in sorted(names | {TECHNOLOGY}):
        doubt(monkeypatch, name)
        for key, limit in limits_of(path).items():
            moved = (limit.minimum, limit.maximum) != (before[key].minimum, before[key].maximum)
            if moved or any(word in said(before[key]) for word in words_of(name)):
                resting.add(key)
                if "low confidence" not in said(limit):
                    silent.append(f"{name} in {key}: {said(limit)}")
    assert not silent
    assert len(resting) >= 10
