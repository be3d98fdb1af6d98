"""Turns validated card files into records: sources resolved, families inherited, variants made."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from analog.cards.cardfile import (
    CardFile,
    ColumnEntry,
    CurveEntry,
    FamilyFile,
    FigureEntry,
    Row,
    TechnologyEntry,
    VariantEntry,
)
from analog.cards.errors import CardFileError
from analog.cards.figures import CurveTable, FigureTable, Source
from analog.cards.records import Card, Column, Law, Leakage, ResistorSize, Technology
from analog.cards.sources import parse_source

# A Schmitt part is specified by its own thresholds, never by the family's input levels, and takes
# edges of any slowness.
_NOT_INHERITED = {
    "schmitt": frozenset({"V_IL", "V_IH", "transition_max", "transition_rate_max"}),
}

Tables = Mapping[str, FigureTable]


def build_family(entry: FamilyFile, file: str) -> Tables:
    """Return the figures of a logic family by name; raises CardFileError for a bad source."""
    return _Builder(file, entry.sources, entry.typical_spread).tables(entry.figures)


def build_cards(
    entry: CardFile, families: Mapping[str, Tables], file: str, sha256: str
) -> tuple[Card, ...]:
    """Return the card of the file and those of its variants; raises CardFileError."""
    builder = _Builder(file, entry.sources, entry.typical_spread)
    if entry.family and entry.family not in families:
        raise CardFileError(file, (f"family {entry.family!r} has no file",))
    skipped = _NOT_INHERITED.get(entry.kind, frozenset())
    inherited = {
        name: table for name, table in families.get(entry.family, {}).items() if name not in skipped
    }
    main = Card(
        entry.identifier,
        entry.kind,
        entry.title,
        entry.family,
        entry.library or "",
        tuple(entry.aliases),
        tuple(builder.column(entry.identifier, column, inherited) for column in entry.column),
        entry.note,
        file,
        sha256,
        builder.technology(entry) if entry.technology is not None else None,
    )
    made: dict[str, Card] = {}
    for variant in entry.variant:
        base = made[variant.base] if variant.base is not None else main
        made[variant.identifier] = builder.variant(base, variant)
    return (*(() if entry.only_variants else (main,)), *made.values())


class _Builder:
    """Holds what every figure of one file needs: its name, documents and typical spread."""

    def __init__(self, file: str, documents: Mapping[str, str], spread: float) -> None:
        self._file = file
        self._documents = documents
        self._spread = spread

    def source(self, note: str) -> Source:
        try:
            return parse_source(note, self._documents)
        except ValueError as error:
            raise CardFileError(self._file, (str(error),)) from error

    def optional_source(self, note: str | None) -> Source | None:
        return None if note is None else self.source(note)

    def tables(
        self, figures: Mapping[str, FigureEntry], spread: float | None = None
    ) -> dict[str, FigureTable]:
        return {name: self._table(name, entry, spread) for name, entry in figures.items()}

    def _table(self, name: str, entry: FigureEntry, spread: float | None) -> FigureTable:
        column_spread = self._spread if spread is None else spread
        return FigureTable(
            name,
            entry.unit,
            tuple(entry.vdd),
            _row(entry.min),
            _row(entry.typ),
            _row(entry.max),
            entry.at,
            self.source(entry.source),
            column_spread if entry.spread is None else entry.spread,
        )

    def _curve(self, name: str, entry: CurveEntry) -> CurveTable:
        return CurveTable(
            name,
            tuple(entry.x),
            tuple(entry.y),
            entry.x_unit,
            entry.y_unit,
            entry.at,
            self.source(entry.source),
        )

    def column(self, part: str, entry: ColumnEntry, inherited: Tables) -> Column:
        return Column(
            part,
            entry.maker,
            {**inherited, **self.tables(entry.figures, entry.typical_spread)},
            {name: self._curve(name, curve) for name, curve in entry.curves.items()},
            {} if entry.spice is None else dict(entry.spice.parameters),
            None if entry.spice is None else self.source(entry.spice.source),
            entry.unlimited_transition is not None,
            self.optional_source(entry.unlimited_transition),
            entry.note,
        )

    def variant(self, base: Card, entry: VariantEntry) -> Card:
        own = self.tables(entry.figures)
        spice_source = None if entry.spice is None else self.source(entry.spice.source)
        return Card(
            entry.identifier,
            base.kind,
            entry.title or base.title,
            base.family,
            base.library,
            tuple(entry.aliases),
            tuple(_varied(column, entry, own, spice_source) for column in base.columns),
            base.note,
            base.file,
            base.sha256,
            base.technology,
        )

    def technology(self, card: CardFile) -> Technology:
        entry = card.technology
        if entry is None or card.kind not in ("resistor", "capacitor"):
            raise CardFileError(self._file, ("[technology] is missing",))
        return Technology(
            card.identifier,
            "resistor" if card.kind == "resistor" else "capacitor",
            card.title,
            entry.tolerance_low,
            entry.tolerance_high,
            self.source(entry.tolerance_source),
            entry.rating_default,
            self.source(entry.rating_source),
            self._law(entry),
            self._leakage(entry),
            entry.bias_low,
            entry.bias_high,
            self.optional_source(entry.bias_source),
            entry.ageing_low,
            self.optional_source(entry.ageing_source),
            self._sizes(entry),
            entry.distribution,
            entry.sigmas,
            self.source(entry.distribution_source),
        )

    def _sizes(self, entry: TechnologyEntry) -> tuple[ResistorSize, ...]:
        if entry.sizes_source is None:
            return ()
        source = self.source(entry.sizes_source)
        return tuple(
            ResistorSize(size.rating_w, size.limiting_v, size.overload_v, source)
            for size in entry.sizes
        )

    def _law(self, entry: TechnologyEntry) -> Law:
        law = entry.law
        return Law(
            tuple(law.temperatures_c),
            tuple(law.low),
            tuple(law.typical),
            tuple(law.high),
            self.source(law.source),
        )

    def _leakage(self, entry: TechnologyEntry) -> Leakage | None:
        leak = entry.leakage
        if leak is None:
            return None
        return Leakage(
            leak.per_charge_hz,
            leak.floor_a,
            leak.at_rated_voltage,
            leak.hot_factor,
            leak.hot_c,
            self.source(leak.source),
        )


def _varied(
    column: Column, entry: VariantEntry, own: Tables, spice_source: Source | None
) -> Column:
    kept = {name: table for name, table in column.tables.items() if name not in entry.without}
    return Column(
        entry.identifier,
        column.maker,
        {**kept, **own},
        column.curves,
        column.spice if entry.spice is None else dict(entry.spice.parameters),
        column.spice_source if entry.spice is None else spice_source,
        column.unlimited_transition,
        column.unlimited_transition_source,
        column.note,
    )


def _row(values: Row | None) -> tuple[float, ...] | None:
    if values is None:
        return None
    rows: Iterable[float] = values if isinstance(values, list) else [values]
    return tuple(float(value) for value in rows)
