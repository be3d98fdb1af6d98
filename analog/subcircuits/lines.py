"""From the text of a sub-circuit file to cards: comments cut off, continuation lines joined.

A line that begins with ``*`` is a comment; so is the rest of a line from ``;``, ``//``, or a ``$``
behind a blank. A line that begins with ``+`` carries on the card before it. There is no title
line. Comments may hold any printable text, all else is ASCII, and case does not matter.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from analog.subcircuits.limits import LONGEST_CARD, LONGEST_LINE, MOST_LINES, MOST_TOKENS
from analog.subcircuits.problems import START, FaultError, Faults, Place, shown

_COMMENT = re.compile(r";|//|(?<=[ \t])\$")
_HEAD = re.compile(r"[^ \t]+")
_TOKEN = re.compile(
    r"(?:\d+\.?\d*|\.\d+)e[+-]\d+[a-z]*"  # a number with a signed exponent
    r"|[a-z0-9_.]+"  # a name, or any other number
    r"|&&|\|\||==|!=|<=|>=|\*\*|[-+*/^(){},=<>?:!]"
)
_BLANK = re.compile(r"[ \t]*")

_FORBIDDEN = {
    "'": ("quotes are not allowed", "Write expressions in {braces}"),
    '"': ("quotes are not allowed", "Write expressions in {braces}; files cannot be named"),
    "`": ("quotes are not allowed", "Drop it"),
    "$": ("'$' begins a comment only behind a blank", "Put a blank before it, or drop it"),
    "\\": ("a backslash is not allowed", "Carry a card on with '+' at the start of the next line"),
    "#": ("'#' is not allowed", "Begin a comment with '*', or behind a card with ';'"),
    "[": ("brackets belong to code models, which are not allowed", "Use the listed elements"),
    "]": ("brackets belong to code models, which are not allowed", "Use the listed elements"),
}


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of a card in lower case; `glued` when no blank stands before it."""

    text: str
    place: Place
    glued: bool


@dataclass(frozen=True, slots=True)
class Card:
    """One card: the parts of its lines without comments, each with where it begins."""

    pieces: tuple[tuple[Place, str], ...]

    @property
    def place(self) -> Place:
        """Return where the card begins."""
        return self.pieces[0][0]

    @property
    def head(self) -> str:
        """Return the first word, whatever it is made of."""
        match = _HEAD.match(self.pieces[0][1])
        return match.group() if match else ""

    def tokens(self) -> tuple[Token, ...]:
        """Return the card in pieces; raises FaultError at the first sign that may not be there."""
        found = [token for piece in self.pieces for token in _piece_tokens(*piece)]
        if len(found) > MOST_TOKENS:
            raise FaultError(self.place, f"the card has over {MOST_TOKENS} words", "Shorten it")
        return tuple(found)


def cards(text: str, faults: Faults) -> list[Card]:
    """Return the cards of a file; lines that are none are noted in `faults`."""
    lines = text.replace("\r\n", "\n").split("\n")
    if len(lines) > MOST_LINES:
        faults.add(START, f"the file has over {MOST_LINES} lines", "Keep to one sub-circuit")
        return []
    gathered: list[list[tuple[Place, str]]] = []
    for number, line in enumerate(lines, start=1):
        with faults.gathered():
            _take_line(number, line, gathered)
    joined = [Card(tuple(pieces)) for pieces in gathered]
    for card in joined:
        if sum(len(piece) for _, piece in card.pieces) > LONGEST_CARD:
            faults.add(card.place, f"the card is over {LONGEST_CARD} characters", "Shorten it")
    return [card for card in joined if sum(len(p) for _, p in card.pieces) <= LONGEST_CARD]


def _take_line(number: int, line: str, gathered: list[list[tuple[Place, str]]]) -> None:
    """Add a line's code to the card it belongs to."""
    if len(line) > LONGEST_LINE:
        rule = f"the line is over {LONGEST_LINE} characters"
        raise FaultError(Place(number, 1), rule, "Break it; '+' carries a card on")
    _check_signs(number, line)
    code = _without_comment(line)
    start = len(code) - len(code.lstrip(" \t"))
    code = code[start:].rstrip(" \t")
    if not code:
        return
    place = Place(number, start + 1)
    _check_ascii(place, code)
    if not code.startswith("+"):
        gathered.append([(place, code.lower())])
    elif not gathered:
        raise FaultError(place, "'+' carries on a card, but there is none yet", "Drop it")
    else:
        gathered[-1].append((Place(number, place.column + 1), code[1:].lower()))


def _without_comment(line: str) -> str:
    if line.lstrip(" \t").startswith("*"):
        return ""
    match = _COMMENT.search(line)
    return line[: match.start()] if match else line


def _check_signs(number: int, line: str) -> None:
    """Refuse, in comments too, what another program could take for a line's end."""
    for index, sign in enumerate(line):
        if sign != "\t" and not sign.isprintable():
            rule = f"the sign U+{ord(sign):04X} is not printable"
            raise FaultError(Place(number, index + 1), rule, "Delete it; lines end with a newline")


def _check_ascii(place: Place, code: str) -> None:
    for index, sign in enumerate(code):
        if not sign.isascii():
            column = place.column + index
            rule = f"'{sign}' (U+{ord(sign):04X}) is no ASCII sign"
            remedy = "Only comments may hold others; write u for micro and ohm for Ω"
            raise FaultError(Place(place.line, column), rule, remedy)


def _piece_tokens(place: Place, piece: str) -> Iterator[Token]:
    position, glued = 0, False
    while True:
        blank = _BLANK.match(piece, position)
        if blank is not None and blank.end() > position:
            position, glued = blank.end(), False
        if position == len(piece):
            return
        here = Place(place.line, place.column + position)
        match = _TOKEN.match(piece, position)
        if match is None:
            sign = piece[position]
            usual = (f"'{shown(sign)}' is not allowed", "Drop it")
            raise FaultError(here, *_FORBIDDEN.get(sign, usual))
        yield Token(match.group(), here, glued)
        position, glued = match.end(), True
