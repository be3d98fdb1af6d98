"""What can go wrong with a part name or a part card.

EdgeproofError
├── UnknownPartError     no card of that name; carries the nearest names
├── UnknownMakerError    the card has no column of that maker; carries the makers
├── MissingFigureError   the card does not give that figure (also a KeyError)
└── CardFileError        a card file breaks the card format; carries every fault found
"""

from __future__ import annotations

from analog.errors import EdgeproofError


class UnknownPartError(EdgeproofError):
    """No part card is called `name`; `nearest` holds up to five names that resemble it."""

    exit_code = 2

    def __init__(self, name: str, nearest: tuple[str, ...]) -> None:
        super().__init__(name, nearest)
        self.name = name
        self.nearest = nearest

    @property
    def remedy(self) -> str:
        """Return what the reader can do about it, as a sentence."""
        if not self.nearest:
            return "'edgeproof parts' lists all part cards"
        return "Nearest: " + ", ".join(self.nearest)

    def __str__(self) -> str:
        return f"no part card is called {self.name!r}. {self.remedy}"


class UnknownMakerError(EdgeproofError):
    """The card of `part` has no column of `maker`; `makers` are those it has."""

    exit_code = 2

    def __init__(self, part: str, maker: str, makers: tuple[str, ...]) -> None:
        super().__init__(part, maker, makers)
        self.part = part
        self.maker = maker
        self.makers = makers

    @property
    def remedy(self) -> str:
        """Return what the reader can do about it, as a sentence."""
        return "It has: " + ", ".join(self.makers)

    def __str__(self) -> str:
        return f"the card of {self.part} has no column of {self.maker!r}. {self.remedy}"


class MissingFigureError(EdgeproofError, KeyError):
    """The card of `part`, column `maker`, does not give `figure`."""

    def __init__(self, part: str, maker: str, figure: str) -> None:
        super().__init__(part, maker, figure)
        self.part = part
        self.maker = maker
        self.figure = figure

    def __str__(self) -> str:
        return f"the card of {self.part} ({self.maker}) does not give {self.figure}"


class CardFileError(EdgeproofError):
    """The card file `file` breaks the format; `faults` are sentences, one per fault."""

    def __init__(self, file: str, faults: tuple[str, ...]) -> None:
        super().__init__(file, faults)
        self.file = file
        self.faults = faults

    def __str__(self) -> str:
        return "\n".join(f"{self.file}: {fault}" for fault in self.faults)
