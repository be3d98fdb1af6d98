"""A place within the words of a card, and the small reading steps all grammar rules share."""

from __future__ import annotations

import re
from typing import Final

from analog.subcircuits.limits import LONGEST_NAME
from analog.subcircuits.lines import Token
from analog.subcircuits.problems import FaultError, Place, shown

_NODE: Final = re.compile(r"[a-z0-9_]+")
_NAME: Final = re.compile(r"[a-z_][a-z0-9_]*")


class Cursor:
    """Reads the words of one card from left to right; every step may raise FaultError."""

    def __init__(self, tokens: tuple[Token, ...], start: Place) -> None:
        self._tokens = tokens
        self._next = 0
        self._start = start

    @property
    def place(self) -> Place:
        """Return where the next word stands, or the last one at the end."""
        if not self._tokens:
            return self._start
        return self._tokens[min(self._next, len(self._tokens) - 1)].place

    def peek(self, ahead: int = 0) -> Token | None:
        """Return the next word, or one further on, without taking it; None behind the end."""
        index = self._next + ahead
        return self._tokens[index] if index < len(self._tokens) else None

    def before_last(self) -> Token | None:
        """Return the word before the one taken last."""
        return self._tokens[self._next - 2] if self._next > 1 else None

    def advance(self, rule: str = "the card breaks off here", remedy: str = "Mend it") -> Token:
        """Take the next word."""
        token = self.peek()
        if token is None:
            raise FaultError(self.place, rule, remedy)
        self._next += 1
        return token

    def take(self, text: str) -> bool:
        """Take the next word if it is `text`, and tell whether it was."""
        token = self.peek()
        if token is None or token.text != text:
            return False
        self._next += 1
        return True

    def expect(self, text: str, rule: str) -> None:
        """Take the next word, which must be `text`; `rule` says what is wrong without it."""
        if not self.take(text):
            raise FaultError(self.place, rule, f"Write '{text}' here")

    def node(self, what: str = "a node's name") -> Token:
        """Take a name that may begin with a digit, as nodes and models do."""
        return self._word(_NODE, what)

    def name(self, what: str) -> Token:
        """Take a name that begins with a letter; `what` names it in messages."""
        return self._word(_NAME, what)

    def at_keyword(self) -> bool:
        """Tell whether the next words are ``name =``."""
        following = self.peek(1)
        return following is not None and following.text == "="

    def rest_count(self) -> int:
        """Return how many words are left before the first ``name =``."""
        left = self._tokens[self._next :]
        for index, token in enumerate(left):
            if token.text == "=":
                return max(index - 1, 0)
        return len(left)

    def finish(self) -> None:
        """Check that nothing is left."""
        token = self.peek()
        if token is not None:
            rule = f"'{shown(token.text)}' is one word too many"
            raise FaultError(token.place, rule, "Drop it; only what is listed is allowed here")

    def _word(self, pattern: re.Pattern[str], what: str) -> Token:
        token = self.advance(f"{what} is missing", "Add it")
        if not pattern.fullmatch(token.text) or len(token.text) > LONGEST_NAME:
            rule = f"'{shown(token.text)}' is not {what}"
            remedy = f"A name has letters, digits and '_' only, {LONGEST_NAME} at most"
            raise FaultError(token.place, rule, remedy)
        return token
