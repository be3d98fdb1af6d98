"""Part cards: data files in `models/` turned into figures with their sources.

`find_card("40106")` gives a `Card` with one `Column` per maker; ``column.figure("V_P", vdd=9.0)``
gives a `Figure`. Figures of different makers are never mixed.
"""

from analog.cards.errors import (
    CardFileError,
    MissingFigureError,
    UnknownMakerError,
    UnknownPartError,
)
from analog.cards.figures import CurveTable, Figure, FigureTable, Source
from analog.cards.listing import (
    count_sources,
    low_confidence,
    part_records,
    parts_schema,
)
from analog.cards.loader import (
    all_cards,
    family_figures,
    find_card,
    model_text,
    models_folder,
    nearest_names,
    technology,
    technology_names,
    transformer_for,
)
from analog.cards.presets import MainsPreset, mains_preset, mains_presets
from analog.cards.records import Card, Column, Kind, Law, Leakage, ResistorSize, Technology

__all__ = [
    "Card",
    "CardFileError",
    "Column",
    "CurveTable",
    "Figure",
    "FigureTable",
    "Kind",
    "Law",
    "Leakage",
    "MainsPreset",
    "MissingFigureError",
    "ResistorSize",
    "Source",
    "Technology",
    "UnknownMakerError",
    "UnknownPartError",
    "all_cards",
    "count_sources",
    "family_figures",
    "find_card",
    "low_confidence",
    "mains_preset",
    "mains_presets",
    "model_text",
    "models_folder",
    "nearest_names",
    "part_records",
    "parts_schema",
    "technology",
    "technology_names",
    "transformer_for",
]
