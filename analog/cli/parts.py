"""`edgeproof parts [NAME]`: the part cards, their limits and where each figure comes from."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cards import Card, Column, FigureTable

AUDIT_SCHEMA = "edgeproof-parts-audit-1"


@click.command()
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--audit", is_flag=True, help="Count the figures by kind of source.")
@options.as_json
def command(name: str | None, audit: bool, as_json: bool) -> int:
    """List the part cards, or show one with its limits and their sources."""
    from analog.cards import all_cards, find_card, part_records
    from analog.cli.problems import report_error
    from analog.errors import EdgeproofError

    try:
        cards = all_cards() if name is None else (find_card(name),)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    if as_json:
        content = _audit_object(cards) if audit else part_records(cards)
        click.echo(json.dumps(content, ensure_ascii=False))
    elif audit:
        _show_audit(cards)
    elif name is None:
        _show_list(cards)
    else:
        _show_card(cards[0])
    return exits.PASSED


def _audit_object(cards: tuple[Card, ...]) -> dict[str, Any]:
    from analog.cards import count_sources

    parts = [{"identifier": card.identifier, **count_sources((card,))} for card in cards]
    return {"schema": AUDIT_SCHEMA, "parts": parts, "total": count_sources(cards)}


def _show_audit(cards: tuple[Card, ...]) -> None:
    from analog.cards import count_sources
    from analog.cli.display import Column, show_table

    columns = [Column("part"), *(Column(kind, right=True) for kind in count_sources(cards))]
    rows = [[card.identifier, *_counts((card,))] for card in cards]
    rows.append(["all, shared figures once", *_counts(cards)])
    show_table("Figures by kind of source", columns, rows)


def _counts(cards: tuple[Card, ...]) -> list[str]:
    from analog.cards import count_sources

    return [str(number) for number in count_sources(cards).values()]


def _show_list(cards: Iterable[Card]) -> None:
    from analog.cli.display import Column, say, show_table

    columns = [Column("part"), Column("kind"), Column("what it is"), Column("makers")]
    rows = [
        [card.identifier, card.kind.replace("_", "-"), card.title, ", ".join(card.makers)]
        for card in cards
    ]
    show_table("Part cards", columns, rows)
    say("edgeproof parts NAME shows one with its limits and their sources.")


def _show_card(card: Card) -> None:
    from analog.cli.display import say

    say(f"{card.identifier}: {card.title} ({card.kind.replace('_', '-')})")
    if card.aliases:
        say(f"also called {', '.join(card.aliases)}")
    if card.note:
        say(card.note)
    for column in card.columns:
        say()
        _show_column(column)
    if card.technology is not None:
        _show_technology(card)


def _show_column(column: Column) -> None:
    from analog.cli.display import Column as Heading
    from analog.cli.display import say, show_table

    headings = [Heading("figure"), Heading("at VDD", right=True)]
    headings += [Heading(end, right=True) for end in ("min", "typ", "max")]
    headings += [Heading("conditions"), Heading("source")]
    rows = [row for table in column.tables.values() for row in _figure_rows(table)]
    show_table(column.maker, headings, rows)
    if column.note:
        say(column.note)
    if column.unlimited_transition:
        say("The clock input takes edges of any slowness.")


def _figure_rows(table: FigureTable) -> list[list[str]]:
    from analog.quantities import format_quantity

    def end(values: tuple[float, ...] | None, row: int) -> str:
        return "" if values is None else format_quantity(values[row], table.unit)

    return [
        [
            table.name,
            format_quantity(table.supplies[row], "V") if table.supplies else "",
            end(table.minimum, row),
            end(table.typical, row),
            end(table.maximum, row),
            table.conditions if row == 0 else "",
            str(table.source) if row == 0 else "",
        ]
        for row in range(max(len(table.supplies), 1))
    ]


def _show_technology(card: Card) -> None:
    from analog.cli.display import say

    make = card.technology
    if make is None:
        return
    say(f"tolerance {make.tolerance_low:+.0%} {make.tolerance_high:+.0%}: {make.tolerance_source}")
    law = make.law
    change = f"{min(law.low):+.1%} to {max(law.high):+.1%}"
    say(f"changes by {change} from {law.temperatures_c[0]:g} °C to {law.temperatures_c[-1]:g} °C")
    say(f"  {law.source}")
    if make.leakage is not None:
        say(f"leakage: {make.leakage.source}")
