"""Each card figure that a model claims, measured on the model, over all cards.

By default every card gets one of its claims, drawn from its own file's hash so that a changed
card is measured anew elsewhere, and every claim is measured on one card at least. With --full:
every claim of every maker's column at every tabulated supply.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest
from conformance_claims import CLAIMS, NO_MODEL, NOT_CLAIMED, NOT_CLAIMED_BY_KIND, Claim
from conformance_parts import Part, parts_of

from analog.cards import all_cards
from analog.engine import Engine, open_engine

Case = tuple[Part, Claim]


def every_case() -> list[Case]:
    return [
        (part, claim)
        for card in all_cards()
        for part in parts_of(card)
        for claim in CLAIMS.get(card.kind, ())
        if part.has(claim.figure)
    ]


def sampled(cases: list[Case]) -> list[Case]:
    """Return one case per column and at least one per claim."""
    by_column: dict[tuple[str, str], list[Case]] = {}
    for part, claim in cases:
        key = (part.card.identifier, part.column.maker)
        by_column.setdefault(key, []).append((part, claim))
    chosen = [
        random.Random("-".join((*key, group[0][0].card.sha256))).choice(group)
        for key, group in by_column.items()
    ]
    missing = dict.fromkeys(claim for _, claim in cases)
    for _, claim in chosen:
        missing.pop(claim, None)
    return chosen + [next(case for case in cases if case[1] is claim) for claim in missing]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "claim" not in metafunc.fixturenames:
        return
    cases = every_case()
    if not metafunc.config.getoption("--full"):
        cases = sampled(cases)
    names = [f"{part.label}-{claim.figure}" for part, claim in cases]
    metafunc.parametrize(("part", "claim"), cases, ids=names)


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def test_model_meets_the_card(
    engine: Engine, figure: Callable[[str], None], part: Part, claim: Claim
) -> None:
    measured = claim.measure(engine, part)
    low, high = claim.bounds(part)
    figure(f"{measured:.6g} in {low:.6g} to {high:.6g}")
    assert not claim.fault(measured, part)


def test_every_kind_of_card_is_modelled_or_said_not_to_be() -> None:
    kinds = {card.kind for card in all_cards()}
    assert kinds == CLAIMS.keys() | NO_MODEL.keys()
    assert not CLAIMS.keys() & NO_MODEL.keys()


def test_every_card_of_a_modelled_kind_is_measured() -> None:
    measured = {(part.card.identifier, part.column.maker) for part, _ in every_case()}
    wanted = {
        (card.identifier, column.maker)
        for card in all_cards()
        if card.kind in CLAIMS
        for column in card.columns
    }
    assert measured == wanted


def test_every_claim_is_measured_on_some_card() -> None:
    chosen = {id(claim) for _, claim in sampled(every_case())}
    unused = {
        f"{kind}: {claim.figure}"
        for kind, claims in CLAIMS.items()
        for claim in claims
        if id(claim) not in chosen
    }
    assert not unused


def test_every_figure_of_a_modelled_kind_is_claimed_or_said_why_not() -> None:
    undecided = set()
    for card in all_cards():
        claimed = {claim.figure for claim in CLAIMS.get(card.kind, ())}
        for column in card.columns if card.kind in CLAIMS else ():
            for name in (*column.tables, *column.curves):
                reasons = NOT_CLAIMED.get(name) or NOT_CLAIMED_BY_KIND.get((card.kind, name))
                if name not in claimed and not reasons:
                    undecided.add(f"{card.kind}: {name}")
    assert not undecided


def test_a_missed_figure_is_told() -> None:
    """The comparison itself can fail: a wrong value, no value, a value outside the limits."""
    part, claim = next(case for case in every_case() if case[1].figure == "V_O")
    wanted = part.centre("V_O")
    assert not claim.fault(wanted, part)
    assert "V_O" in claim.fault(1.011 * wanted, part)
    assert claim.fault(float("nan"), part)
    limited = next(case for case in every_case() if case[1].figure == "V_CE_sat")
    assert not limited[1].fault(0.1, limited[0])
    assert limited[1].fault(2.0, limited[0])
