"""The grammar of the element cards that are allowed, letter by letter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from analog.subcircuits.cursor import Cursor
from analog.subcircuits.devices import INSTANCE_VALUES
from analog.subcircuits.expressions import Formula, read_formula, read_value
from analog.subcircuits.limits import MOST_POINTS, MOST_PORTS
from analog.subcircuits.lines import Card, Token
from analog.subcircuits.numbers import is_milli, is_number
from analog.subcircuits.problems import FaultError, Place, shown
from analog.subcircuits.statements import Formulas, Statement

WAVES: Final = {
    "sin": (3, 6, "SIN(offset amplitude frequency [0 0 [phase]])"),
    "pulse": (7, 7, "PULSE(low high delay rise fall width period)"),
    "pwl": (2, 2 * MOST_POINTS, "PWL(time level time level …)"),
}
_FORMS: Final = frozenset({"poly", "table", "laplace", "freq", "pwl", "vol", "cur"})
_NODES: Final = {"d": 2, "m": 4, "j": 3}
_REFUSED: Final = {
    "a": "code models (A) can read files and are not allowed",
    "n": "compiled devices (N) are not allowed",
    "s": "switches (S) are not allowed: ngspice snaps at them without a breakpoint",
    "w": "switches (W) are not allowed: ngspice snaps at them without a breakpoint",
    "t": "transmission lines (T) are not allowed",
}


def read_element(card: Card) -> Statement:
    """Return what an element's card says; raises FaultError for the first thing wrong in it."""
    letter = card.head[0]
    if letter not in _GRAMMAR:
        rule = _REFUSED.get(letter, f"no element begins with '{shown(letter)}'")
        raise FaultError(card.place, rule, "Allowed: R C L K D Q M J E F G H V I B X")
    cursor = Cursor(card.tokens(), card.place)
    name = cursor.name("an element's name").text
    statement = _GRAMMAR[letter](cursor, name)
    cursor.finish()
    return replace(statement, place=card.place)


def read_keywords(cursor: Cursor, allowed: frozenset[str] | None, where: str) -> Formulas:
    """Read ``name = value`` up to the end; None allows any name. `where` is for messages."""
    found: Formulas = {}
    while cursor.at_keyword():
        token = cursor.name("a name before '='")
        cursor.advance()
        if allowed is not None and token.text not in allowed:
            known = ", ".join(sorted(allowed)) or "nothing"
            rule = f"'{shown(token.text)}' is not allowed {where}"
            raise FaultError(token.place, rule, f"Drop it; taken: {known}")
        if token.text in found:
            raise FaultError(token.place, f"'{shown(token.text)}' is given twice", "Drop one")
        found[token.text] = (read_value(cursor, "a value"), token.place)
    return found


def _passive(cursor: Cursor, name: str) -> Statement:
    """R, C, L: ``R1 a b 10k [tc1=…]`` or ``R1 a b r=10k``."""
    kind, place = name[0], cursor.place
    nodes = (cursor.node(), cursor.node())
    value: Formula | None = None
    milli = ""
    if not cursor.at_keyword():
        token = cursor.peek()
        if kind == "r" and token is not None and is_milli(token.text):
            milli = token.text
        value = read_value(cursor, "a value")
    keywords = read_keywords(cursor, INSTANCE_VALUES[kind], f"at {kind.upper()}")
    written = keywords.pop(kind, None)
    if (value is None) == (written is None):
        rule = "there is no value" if value is None else "there are two values"
        raise FaultError(place, rule, f"Write it like {kind.upper()}1 a b 10k")
    number = value if value is not None else written[0] if written else None
    numbers = (number,) if number is not None else ()
    return Statement(kind, name, place, nodes, numbers=numbers, keywords=keywords, milli=milli)


def _coupling(cursor: Cursor, name: str) -> Statement:
    """``K1 L1 L2 0.95``."""
    place = cursor.place
    pair = (cursor.name("an inductor's name"), cursor.name("an inductor's name"))
    return Statement("k", name, place, controls=pair, numbers=(read_value(cursor, "a value"),))


def _device(cursor: Cursor, name: str) -> Statement:
    """D, M, J: their nodes, a model, values; ``D1 a k model [area]``."""
    kind, place = name[0], cursor.place
    nodes = tuple(cursor.node() for _ in range(_NODES[kind]))
    return _with_model(cursor, name, place, nodes)


def _bipolar(cursor: Cursor, name: str) -> Statement:
    """``Q1 c b e [substrate] model [area]``: the fourth word is a node when a name follows it."""
    place = cursor.place
    nodes = [cursor.node() for _ in range(3)]
    following = cursor.peek(1)
    if cursor.rest_count() > 1 and following and not _is_value(following.text):
        nodes.append(cursor.node())
    return _with_model(cursor, name, place, tuple(nodes))


def _with_model(cursor: Cursor, name: str, place: Place, nodes: tuple[Token, ...]) -> Statement:
    kind = name[0]
    model = cursor.node("a model's name")
    area: Formulas = {}
    following = cursor.peek()
    if kind != "m" and following is not None and _is_value(following.text):
        area["area"] = (read_value(cursor, "an area"), following.place)
    keywords = read_keywords(cursor, INSTANCE_VALUES[kind], f"at {kind.upper()}")
    if area and "area" in keywords:
        raise FaultError(keywords["area"][1], "the area is given twice", "Drop one")
    return Statement(kind, name, place, nodes, model=model, keywords={**area, **keywords})


def _is_value(text: str) -> bool:
    return is_number(text) or text in ("{", "+", "-")


def _controlled(cursor: Cursor, name: str) -> Statement:
    """``E1 a b c d 10``, ``E1 a b value={…}``, and the same for G."""
    kind, place = name[0], cursor.place
    nodes = (cursor.node(), cursor.node())
    if cursor.at_keyword():
        token = cursor.advance()
        if token.text != "value":
            rule = f"'{shown(token.text)}' is not allowed at {kind.upper()}"
            raise FaultError(token.place, rule, "Write value={expression} or four nodes and a gain")
        cursor.advance()
        quantity = "v" if kind == "e" else "i"
        return Statement("b", name, place, nodes, quantity=quantity, formula=read_formula(cursor))
    form = cursor.peek()
    if form is not None and form.text in _FORMS:
        rule = f"'{form.text.upper()}' sources are not allowed"
        raise FaultError(form.place, rule, "Write value={expression} or four nodes and a gain")
    controls = (cursor.node(), cursor.node())
    gain = read_value(cursor, "a gain")
    return Statement(kind, name, place, nodes, controls, numbers=(gain,))


def _mirrored(cursor: Cursor, name: str) -> Statement:
    """``F1 a b V1 10``, and the same for H."""
    place = cursor.place
    nodes = (cursor.node(), cursor.node())
    source = cursor.name("a voltage source's name")
    gain = read_value(cursor, "a gain")
    return Statement(name[0], name, place, nodes, (source,), numbers=(gain,))


def _behaviour(cursor: Cursor, name: str) -> Statement:
    """``B1 a b v=…`` or ``i=…``."""
    place = cursor.place
    nodes = (cursor.node(), cursor.node())
    token = cursor.advance("what the source sets is missing", "Write v=expression or i=expression")
    if token.text not in ("v", "i"):
        rule = f"'{shown(token.text)}' is not what a B source sets"
        raise FaultError(token.place, rule, "Write v=expression or i=expression")
    cursor.expect("=", f"'{token.text}' is not followed by '='")
    formula = read_formula(cursor)
    return Statement("b", name, place, nodes, quantity=token.text, formula=formula)


def _source(cursor: Cursor, name: str) -> Statement:
    """``V1 a b [DC] 5`` or a wave; never both, the wave has a level of its own at time zero."""
    place = cursor.place
    nodes = (cursor.node(), cursor.node())
    token = cursor.peek()
    if token is not None and token.text in WAVES:
        cursor.advance()
        shape, numbers = token.text, _wave(cursor, token.text)
    else:
        _refuse_source_word(cursor)
        cursor.take("dc")
        shape, numbers = "dc", (read_value(cursor, "a level"),)
    _refuse_source_word(cursor)
    return Statement(name[0], name, place, nodes, shape=shape, numbers=numbers)


def _refuse_source_word(cursor: Cursor) -> None:
    token = cursor.peek()
    if token is None:
        return
    if token.text in ("external", "ac", "distof1", "distof2", "exp", "sffm", "am", "trnoise"):
        rule = f"'{token.text}' sources are not allowed"
    elif token.text in WAVES:
        rule = "a level and a wave are given"
    else:
        return
    raise FaultError(token.place, rule, "Write DC, PULSE, SIN or PWL, one of them")


def _wave(cursor: Cursor, shape: str) -> tuple[Formula, ...]:
    bracket = cursor.take("(")
    numbers: list[Formula] = []
    while (token := cursor.peek()) is not None and token.text != ")":
        if numbers and cursor.take(","):
            continue
        numbers.append(read_value(cursor, f"a number of {shape.upper()}"))
    place = cursor.place
    if bracket:
        cursor.expect(")", "'(' is not closed")
    fewest, most, form = WAVES[shape]
    if not fewest <= len(numbers) <= most or (shape == "pwl" and len(numbers) % 2):
        rule = f"{shape.upper()} has {len(numbers)} numbers"
        raise FaultError(place, rule, f"Write {form}, {most} numbers at most")
    return tuple(numbers)


def _call(cursor: Cursor, name: str) -> Statement:
    """``X1 a b … name [params:] [r=…]``."""
    place = cursor.place
    words = []
    while cursor.peek() is not None and not cursor.at_keyword():
        if _take_params(cursor):
            break
        words.append(cursor.node())
        if len(words) > MOST_PORTS + 1:
            raise FaultError(place, f"X has over {MOST_PORTS} nodes", "Use fewer ports")
    if len(words) < 2:
        raise FaultError(place, "X needs nodes and a sub-circuit's name", "Write X1 a b name")
    keywords = read_keywords(cursor, None, "")
    *nodes, model = words
    return Statement("x", name, place, tuple(nodes), model=model, keywords=keywords)


def _take_params(cursor: Cursor) -> bool:
    """Take the word ``params:``, which may stand before the values."""
    token, following = cursor.peek(), cursor.peek(1)
    if token is None or following is None or (token.text, following.text) != ("params", ":"):
        return False
    cursor.advance()
    cursor.advance()
    return True


_GRAMMAR: Final[dict[str, Callable[[Cursor, str], Statement]]] = {
    "r": _passive,
    "c": _passive,
    "l": _passive,
    "k": _coupling,
    "d": _device,
    "m": _device,
    "j": _device,
    "q": _bipolar,
    "e": _controlled,
    "g": _controlled,
    "f": _mirrored,
    "h": _mirrored,
    "b": _behaviour,
    "v": _source,
    "i": _source,
    "x": _call,
}
