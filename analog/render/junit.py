"""Results as JUnit XML: one test case per measure and limit, grouped by bench.

A failed limit is a failure, an undecided one an error, a measure without a limit is not a test.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from analog.render.markup import legal
from analog.render.sweepwords import yield_words
from analog.render.words import NO_BREAK, finding, quantity
from analog.results.records import BenchResult, MeasureRow, Results


def junit(several: Sequence[Results]) -> str:
    """Return the JUnit document of one or more designs."""
    root = ElementTree.Element("testsuites", name="edgeproof")
    for results in several:
        for bench in results.benches:
            root.append(_suite(results, bench))
        if results.yield_ is not None:
            root.append(_yield_suite(results))
    _add_totals(root)
    ElementTree.indent(root)
    text = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def clean(text: str) -> str:
    """Return text that XML can hold, its spaces plain."""
    return legal(text).replace(NO_BREAK, " ")


def _suite(results: Results, bench: BenchResult) -> ElementTree.Element:
    name = clean(f"{results.design.name}.{bench.bench}")
    suite = ElementTree.Element("testsuite", name=name)
    cases = [_case(name, bench, row) for row in bench.measures if row.limit is not None]
    return _counted(suite, cases)


def _yield_suite(results: Results) -> ElementTree.Element:
    """Return the joint yields of a sweep as tests: that of the design may be open or refuted
    where every limit by itself is proved."""
    name = clean(f"{results.design.name}.yield")
    suite = ElementTree.Element("testsuite", name=name)
    parts = [("whole design", results.verdict, results.yield_)]
    parts += [(bench.bench, bench.verdict, bench.yield_) for bench in results.benches]
    cases = []
    for title, verdict, found in parts:
        if found is None:
            continue
        case = ElementTree.Element("testcase", classname=name, name=clean(title), time="0")
        if verdict in ("fail", "undecided"):
            tag = "failure" if verdict == "fail" else "error"
            said = clean(yield_words(found))
            ElementTree.SubElement(case, tag, message=said, type=verdict).text = said
        cases.append(case)
    return _counted(suite, cases)


def _counted(suite: ElementTree.Element, cases: list[ElementTree.Element]) -> ElementTree.Element:
    counted = {
        "tests": len(cases),
        "failures": sum(case.find("failure") is not None for case in cases),
        "errors": sum(case.find("error") is not None for case in cases),
        "skipped": 0,
    }
    suite.attrib.update({key: str(number) for key, number in counted.items()})
    suite.set("time", "0")
    suite.extend(cases)
    return suite


def _case(suite: str, bench: BenchResult, row: MeasureRow) -> ElementTree.Element:
    limit = row.limit.id if row.limit else ""
    case = ElementTree.Element(
        "testcase", classname=suite, name=clean(f"{row.measure}[{limit}]"), time="0"
    )
    if row.verdict in ("fail", "undecided"):
        tag = "failure" if row.verdict == "fail" else "error"
        outcome = ElementTree.SubElement(case, tag, message=clean(finding(row)), type=row.verdict)
        outcome.text = clean(_details(bench, row))
    return case


def _details(bench: BenchResult, row: MeasureRow) -> str:
    lines = [finding(row)]
    if row.limit:
        lines.append(f"limit from: {row.limit.source}")
    lines += [f"  {key} = {value:.6g}" for key, value in row.worst_at.items()]
    lines.append(f"nominal {quantity(row.nominal, row.unit)}; bench {bench.bench}")
    return "\n".join(lines)


def _add_totals(root: ElementTree.Element) -> None:
    for key in ("tests", "failures", "errors"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in root)))
    root.set("time", "0")
