"""`edgeproof parts [NAME]`: the part cards, their limits and where each figure comes from."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cards import Card, Column, FigureTable, Leakage, Technology
    from analog.circuits.part_sheets import ModelSheet

AUDIT_SCHEMA = "edgeproof-parts-audit-1"


@click.command()
@click.argument("name", metavar="[NAME]", required=False)
@click.option("--audit", is_flag=True, help="Count the figures by kind of source.")
@options.as_json
def command(name: str | None, audit: bool, as_json: bool) -> int:
    """List the part cards, or show one: limits, sources, model parameters and curves."""
    from analog.cards import all_cards, find_card
    from analog.cli.problems import report_error
    from analog.errors import EdgeproofError

    try:
        cards = all_cards() if name is None else (find_card(name),)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    if as_json:
        content = _audit_object(cards) if audit else _parts_object(cards)
        click.echo(json.dumps(content, ensure_ascii=False))
    elif audit:
        _show_audit(cards)
    elif name is None:
        _show_list(cards)
    else:
        _show_card(cards[0])
    return exits.PASSED


def _parts_object(cards: tuple[Card, ...]) -> dict[str, Any]:
    from analog.circuits.part_sheets import part_sheets

    return part_sheets(cards)


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
    say("edgeproof parts NAME shows one: limits, sources, model parameters and curves.")


def _show_card(card: Card) -> None:
    from analog.cli.display import say

    say(f"{card.identifier}: {card.title} ({card.kind.replace('_', '-')})")
    if card.aliases:
        say(f"also called {', '.join(card.aliases)}")
    if card.note:
        say(card.note)
    for column in card.columns:
        if column.tables or column.note:
            say()
            _show_column(column)
    if card.technology is not None:
        _show_technology(card)
    _show_models(card)
    _show_curves(card)


def _show_models(card: Card) -> None:
    from analog.circuits.part_sheets import model_sheets

    by_maker: dict[str, list[ModelSheet]] = {}
    for sheet in model_sheets(card):
        by_maker.setdefault(sheet.maker, []).append(sheet)
    for sheets in by_maker.values():
        _show_model(sheets)


def _show_model(sheets: list[ModelSheet]) -> None:
    """Show the arguments of one maker's model, a column per supply."""
    from analog.circuits.part_sheets import argument_unit
    from analog.cli.display import Column as Heading
    from analog.cli.display import say, show_table
    from analog.quantities import format_quantity

    def value(sheet: ModelSheet, name: str, number: float) -> str:
        unit = argument_unit(sheet.model, name)
        return format_quantity(number, unit) if unit else f"{number:.4g}"

    first = sheets[0].model
    supplies = [sheet.model.supply_v for sheet in sheets]
    heads = ["value" if vdd is None else f"at {vdd:g} V" for vdd in supplies]
    headings = [Heading("argument"), *(Heading(head, right=True) for head in heads)]
    rows = [
        [name, *(value(sheet, name, sheet.model.as_dict()[name]) for sheet in sheets)]
        for name in first.as_dict()
    ]
    what = f"models/{first.library}.lib" if first.library else f"SPICE's own {first.device}"
    show_table(f"Model of {sheets[0].maker}: {what}", headings, rows)
    say(f"  from: {sheets[0].source}")
    say()


def _show_curves(card: Card) -> None:
    from analog.circuits.part_sheets import curve_sheets
    from analog.cli.display import say

    for sheet in curve_sheets(card):
        for line in (sheet.title, *sheet.lines, f"  source: {sheet.source}", ""):
            say(line)


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
    from analog.cli.display import Column as Heading
    from analog.cli.display import say, show_table

    if card.technology is None:
        return
    say()
    headings = [Heading("property"), Heading("value"), Heading("source")]
    show_table("Technology", headings, _technology_rows(card.technology))


def _technology_rows(make: Technology) -> list[list[str]]:
    from analog.quantities import format_quantity

    law = make.law
    change = f"{min(law.low):+.1%} to {max(law.high):+.1%}"
    over = f"{law.temperatures_c[0]:g} °C to {law.temperatures_c[-1]:g} °C"
    rating = format_quantity(make.rating_default, "W" if make.kind == "resistor" else "V")
    rows = [
        [
            "tolerance",
            f"{make.tolerance_low:+.0%} {make.tolerance_high:+.0%}",
            str(make.tolerance_source),
        ],
        ["rating when none is stated", rating, str(make.rating_source)],
        ["change with temperature", f"{change} from {over}", str(law.source)],
    ]
    if make.leakage is not None:
        rows.append(["leakage, largest", _leakage(make.leakage), str(make.leakage.source)])
    if make.bias_source is not None:
        bias = f"{make.bias_low:+.0%} to {make.bias_high:+.0%}"
        rows.append(["change at rated direct voltage", bias, str(make.bias_source)])
    if make.ageing_source is not None:
        rows.append(["ageing, ten years", f"{make.ageing_low:+.0%}", str(make.ageing_source)])
    for size in make.sizes:
        volts = f"{size.limiting_v:g} V, {size.overload_v:g} V in short overload"
        rows.append([f"{size.rating_w:g} W", volts, str(size.source)])
    return rows


def _leakage(leak: Leakage) -> str:
    from analog.quantities import format_quantity

    across = "rated" if leak.at_rated_voltage else "applied"
    floor = f", at least {format_quantity(leak.floor_a, 'A')}" if leak.floor_a else ""
    hot = f", {leak.hot_factor:g} times at {leak.hot_c:g} °C" if leak.hot_factor > 1 else ""
    return f"C·V/{1 / leak.per_charge_hz:g} s at the {across} voltage{floor}{hot}"
