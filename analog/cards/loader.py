"""Reads card files into records and finds cards by name.

Cards and models stand in one folder: `_models` inside the installed package, or `models/` at
the top of a checkout.
"""

from __future__ import annotations

import difflib
import hashlib
import math
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from analog.cards.build import build_cards, build_family
from analog.cards.cardfile import CardFile, FamilyFile
from analog.cards.errors import CardFileError, UnknownPartError
from analog.cards.figures import FigureTable
from analog.cards.records import Card, Technology
from analog.errors import MachineError

_Entry = TypeVar("_Entry", bound=BaseModel)
_LIBRARY_NAME = re.compile(r"[a-z][a-z0-9_]*")


@lru_cache(maxsize=1)
def models_folder() -> Path:
    """Return the folder of models and cards; MachineError when the installation lacks it."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_models", package.parent / "models"):
        if (folder / "cards").is_dir():
            return folder
    raise MachineError(
        f"the models and part cards are missing beside {package}",
        "Install the package again, or work in a complete checkout",
    )


@lru_cache(maxsize=32)
def model_text(name: str) -> str:
    """Return the text of the sub-circuit library ``models/<name>.lib``.

    Raises MachineError when there is no such library.
    """
    folder = models_folder()
    path = folder / f"{name}.lib"
    if not _LIBRARY_NAME.fullmatch(name) or not path.is_file():
        known = sorted(entry.stem for entry in folder.glob("*.lib"))
        raise MachineError(
            f"there is no model library {name!r} in {folder}", "It has: " + ", ".join(known)
        )
    return path.read_text(encoding="utf-8")


def read_card_file(
    path: Path, families: Mapping[str, Mapping[str, FigureTable]]
) -> tuple[Card, ...]:
    """Read one card file: the part itself and its variants.

    `families` are the figures that parts inherit, by family. Raises CardFileError.
    """
    entry, text = _parse(path, CardFile)
    return build_cards(entry, families, path.name, hashlib.sha256(text.encode()).hexdigest())


@lru_cache(maxsize=1)
def family_figures() -> Mapping[str, Mapping[str, FigureTable]]:
    """Return {family: {figure name: table}}, the standards' limits of whole logic families."""
    found: dict[str, Mapping[str, FigureTable]] = {}
    for path in sorted((models_folder() / "families").glob("*.toml")):
        entry, _ = _parse(path, FamilyFile)
        found[entry.identifier] = build_family(entry, path.name)
    return found


@lru_cache(maxsize=1)
def all_cards() -> tuple[Card, ...]:
    """Return every part card, in order of kind file and variant."""
    families = family_figures()
    paths = sorted((models_folder() / "cards").glob("*.toml"))
    return tuple(card for path in paths for card in read_card_file(path, families))


@lru_cache(maxsize=1)
def _index() -> Mapping[str, Card]:
    index: dict[str, Card] = {}
    for card in all_cards():
        for name in (card.identifier, *card.aliases):
            other = index.setdefault(_folded(name), card)
            if other is not card:
                fault = f"the name {name} already belongs to {other.identifier}"
                raise CardFileError(card.file, (fault,))
    return index


def find_card(name: str) -> Card:
    """Return the card called `name`, by identifier or alias, in any case, hyphens optional.

    Raises UnknownPartError with the nearest names.
    """
    card = _index().get(_folded(name))
    if card is None:
        raise UnknownPartError(name, nearest_names(name))
    return card


def technology(name: str) -> Technology:
    """Return the resistor or capacitor technology called `name`; raises UnknownPartError."""
    card = _index().get(_folded(name))
    if card is None or card.technology is None:
        known = {_folded(name): name for name in technology_names()}
        close = difflib.get_close_matches(_folded(name), list(known), 5, 0.4)
        raise UnknownPartError(name, tuple(known[key] for key in close))
    return card.technology


def technology_names(kind: str | None = None) -> tuple[str, ...]:
    """Return the technologies' identifiers and aliases, of one kind or of both."""
    return tuple(
        name
        for card in all_cards()
        if card.technology is not None and kind in (None, card.kind)
        for name in (card.identifier, *card.aliases)
    )


def transformer_for(rating_va: float) -> Card:
    """Return the transformer card whose rating is nearest to `rating_va`, in ratio."""
    rated = [card for card in all_cards() if card.kind == "transformer"]
    return min(
        rated,
        key=lambda card: abs(math.log(card.columns[0].figure("rating").centre / rating_va)),
    )


def nearest_names(name: str) -> tuple[str, ...]:
    """Return up to five card identifiers whose names or aliases resemble `name`, best first.

    The name of a sheet that covers several parts (``302x``) gives its parts.
    """
    index = _index()
    sheet = [
        card.identifier for card in all_cards() if _folded(card.file) == f"{_folded(name)}.toml"
    ]
    if sheet:
        return tuple(sheet[:5])
    close = difflib.get_close_matches(_folded(name), list(index), 12, 0.6)
    return tuple(dict.fromkeys(index[key].identifier for key in close))[:5]


def _folded(name: str) -> str:
    return re.sub(r"[\s_-]+", "", name).casefold()


def _parse(path: Path, model: type[_Entry]) -> tuple[_Entry, str]:
    try:
        text = path.read_text(encoding="utf-8")
        return model.model_validate(tomllib.loads(text)), text
    except OSError as error:
        raise CardFileError(path.name, (str(error.strerror),)) from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CardFileError(path.name, (str(error),)) from error
    except ValidationError as error:
        faults = tuple(
            f"{'.'.join(str(step) for step in fault['loc'])}: {fault['msg']}"
            for fault in error.errors()
        )
        raise CardFileError(path.name, faults) from error
