"""Whether a design came out as its file says it should."""

from __future__ import annotations

from analog.results.records import Results


def expectation_met(results: Results) -> tuple[bool, str]:
    """Return whether verdict and failing measures are those of `expect`, and what differs.

    A design that expects nothing meets it. For an expected fail exactly the named measures fail.
    """
    expect = results.expect
    if expect is None:
        return True, "the design states no expectation"
    faults = []
    if results.verdict != expect.verdict:
        faults.append(f"the verdict is {results.verdict or 'none'}, not {expect.verdict}")
    failing = failing_measures(results)
    missing = [name for name in expect.fails if name not in failing]
    surplus = [name for name in failing if name not in expect.fails]
    if missing:
        faults.append(f"expected to fail and did not: {', '.join(missing)}")
    if surplus:
        faults.append(f"failed unexpectedly: {', '.join(surplus)}")
    if faults:
        return False, "; ".join(faults)
    named = f", failing on {', '.join(failing)}" if failing else ""
    return True, f"came out as expected: {expect.verdict}{named}"


def failing_measures(results: Results) -> tuple[str, ...]:
    """Return ``bench.measure`` of every failing row, once each, in the results' order."""
    names = (
        f"{bench.bench}.{row.measure}"
        for bench in results.benches
        for row in bench.measures
        if row.verdict == "fail"
    )
    return tuple(dict.fromkeys(names))
