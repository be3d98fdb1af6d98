"""Results as JUnit XML: one test case per measure and limit, grouped by bench.

A failed limit is a failure, an undecided one an error, a measure without a limit is not a test.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from analog.render.markup import legal
from analog.render.words import NO_BREAK, finding, quantity
from analog.results.records import BenchResult, MeasureRow, Results


def junit(several: Sequence[Results]) -> str:
    """Return the JUnit document of one or more designs."""
    root = ElementTree.Element("testsuites", name="edgeproof")
    for results in several:
        for bench in results.benches:
            root.append(_suite(results, bench))
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
    for key in ("tests", "failures", "errors", "skipped"):
        root.set(key, str(sum(int(suite.get(key, "0")) for suite in root)))
    root.set("time", "0")
