"""Suggestions and trades as a person reads them at the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analog.cli.display import Column, say, show_table

if TYPE_CHECKING:
    from analog.workflows.suggest import Searched, Suggested, Suggestion
    from analog.workflows.sweep import Swept
    from analog.workflows.trade import Trade


def show_suggested(
    found: Suggested, sweeps: Sequence[Swept], asked: Path | None, written: Path | None
) -> None:
    """Print what is short, what mends it, smallest change first, and what it took."""
    from analog.render.words import share

    name, required = found.base.design.name, share(found.wish.required)
    say(f"{name}: {_verdict(found)}")
    if found.searched:
        _show_short(f"Short of a margin of {required}, as the design is", found.base, found)
    for number, one in enumerate(found.suggestions, 1):
        _show_suggestion(number, one, found)
        if sweeps:
            _show_sweep(sweeps[number - 1])
        say()
    if found.closest is not None:
        _show_closest(found.closest, found)
    if found.aside:
        say("Kept, but by no stock part that was tried with the margin asked for, and set aside:")
        say(f"     {', '.join(found.aside)}")
    for searched in found.searched:
        _show_searched(searched)
    say(
        f"Simulations: check {found.check_runs}, screening {found.screened}, verification "
        f"{found.verified}; in all {found.multiple:.1f} times one check."
    )
    if asked is not None and written is None:
        say(f"{asked} was not written: there is nothing to write.")
    if written is not None:
        say(f"Written: {written}")
        say(f"Next: edgeproof check {written}")


def _show_searched(one: Searched) -> None:
    ended = "" if one.found.whole or one.found.works else " The budget ended the search."
    say(
        f"{', '.join(one.benches)}: {one.found.tried} sets of changes in {len(one.knobs)} places "
        f"were screened, {one.found.verified} checked in full.{ended}"
    )


def _verdict(found: Suggested) -> str:
    from analog.render.words import share

    count = len(found.suggestions)
    return {
        "none needed": f"every limit is kept with {share(found.wish.required)} or more; "
        "no change is needed.",
        "found": f"{count} verified {'change' if count == 1 else 'sets of changes'}, "
        "the smallest first.",
        "none": "no change to stock parts that was in the search makes every limit pass.",
        "undecided": "nothing found before the budget ended; a larger --budget may.",
    }[found.status]


def _show_suggestion(number: int, one: Suggestion, found: Suggested) -> None:
    from analog.advice.changes import size
    from analog.render.words import share

    parts = "1 part" if len(one.changes) == 1 else f"{len(one.changes)} parts"
    say(f"{number}. {parts}, {size(one.changes):.3g} steps of E24:")
    for choice in one.changes:
        say(f"     {choice.words}")
    least = one.score.least + found.wish.required
    aside = " of those not set aside" if found.aside else ""
    say(f"   Checked whole: {one.results.verdict}; the thinnest margin{aside} is {share(least)}.")


def _show_sweep(swept: Swept) -> None:
    from analog.cli.yields import claim_words

    say(f"   Swept: {claim_words(swept)}")


def _show_closest(one: Suggestion, found: Suggested) -> None:
    if not one.changes:
        say("Nothing that was tried comes closer than the design as it is.")
        return
    say("What comes closest:")
    for choice in one.changes:
        say(f"     {choice.words}")
    _show_short("Still short with it", one, found)


def _show_short(title: str, one: Suggestion, found: Suggested) -> None:
    from analog.render.words import limit_words, quantity, share
    from analog.workflows.suggest_record import short_rows

    columns = (
        Column("measure"),
        Column("worst", right=True),
        Column("limit"),
        Column("margin", right=True),
        Column("share", right=True),
    )
    rows = [
        [
            f"{bench.bench}.{row.measure}",
            quantity(row.worst, row.unit) if row.worst is not None else "never",
            limit_words(row.limit, row.unit),
            quantity(row.margin, row.unit) if row.margin is not None else "",
            share(row.margin_share),
        ]
        for bench, row in short_rows(one, found.wish.required)
    ]
    if rows:
        show_table(title, columns, rows)


def show_trade(laid: Trade, figure: Path | None) -> None:
    """Print where two values work: a table of stock values, letters for what fails."""
    from analog.advice.stock import value_text
    from analog.render.words import share

    first, second = laid.keys
    letters = {name: _letter(index) for index, name in enumerate(laid.limits)}
    columns = [
        Column(f"{first} ↓  {second} →"),
        *(Column(value_text(v, laid.units[1])) for v in laid.values[1]),
    ]
    rows = []
    for value in laid.values[0]:
        cells = [laid.cell(value, other) for other in laid.values[1]]
        marks = ["".join(letters[name] for name in short) or "·" for short in cells]
        rows.append([value_text(value, laid.units[0]), *marks])
    show_table(f"{laid.design.name}: what fails where", columns, rows)
    say("· keeps every limit with " + share(laid.required) + "; a letter is a limit that is short:")
    for name, letter in letters.items():
        say(f"  {letter}  {name}")
    say(
        "A cell with letters fails for certain. One without was run at the nominal and at every "
        "worst case known of these limits, not searched in full."
    )
    for values, works in laid.verified:
        texts = [value_text(v, unit) for v, unit in zip(values, laid.units, strict=True)]
        say(f"Checked in full: {texts[0]}, {texts[1]}: {'works' if works else 'fails'}.")
    own = [value_text(v, unit) for v, unit in zip(laid.present, laid.units, strict=True)]
    say(f"The design has {own[0]}, {own[1]}. Simulations: {laid.screened} short ones.")
    if figure is not None:
        say(f"Drawn: {figure}")


def _letter(index: int) -> str:
    return chr(ord("a") + index) if index < 26 else f"({index})"
