"""What pytest collects of a design file: one test per limit, and what it says when it fails."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from analog.benches.base import Plan
from analog.design import Design, read_design
from analog.errors import EdgeproofError
from analog.plugin.checks import benches_of, checks_of
from analog.plugin.message import fitted, row_message
from analog.render.words import finding
from analog.results import MeasureRow, Results
from analog.workflows.check import make_plans
from analog.workflows.places import limit_place
from analog.workflows.planned import planned_rows


class LimitBroken(Exception):  # noqa: N818 (a finding, no error of the program)
    """A limit that does not hold, could not be judged, or holds against expectation."""


class DesignFile(pytest.File):
    """A design file; its tests are known without any simulation."""

    def collect(self) -> Iterator[pytest.Item]:
        design = read_design(self.path)
        # Every bench, so that a limit for a bench that is not wanted is still known.
        plans = make_plans(design, None, self.name_to_show)
        rows = [(plan, row) for plan in plans for row in planned_rows(plan, design)]
        self._refuse_unknown([(plan.bench, row.measure) for plan, row in rows], design)
        wanted = benches_of(self.config)
        for plan, row in rows:
            if not wanted or plan.bench in wanted:
                yield LimitItem.of(self, design, plan, row)

    def _refuse_unknown(self, measures: Sequence[tuple[str, str]], design: Design) -> None:
        """Raise a CollectError for benches and expectations that no test would ever judge."""
        benches = tuple(dict.fromkeys(bench for bench, _ in measures))
        for bench in benches_of(self.config):
            if bench not in benches:
                has = ", ".join(benches) or "none"
                text = f"{self.name_to_show}:1:1: no bench {bench!r} with a limit; it has {has}"
                raise self.CollectError(text)
        expected = design.expect.fails if design.expect else ()
        judged = {f"{bench}.{measure}" for bench, measure in measures}
        for name in expected:
            if name not in judged:
                text = f"{self.name_to_show}:1:1: expects {name} to fail, which has no limit"
                raise self.CollectError(text)

    @property
    def name_to_show(self) -> str:
        """The path as problems name it, from the root folder."""
        root = self.config.rootpath
        return str(self.path.relative_to(root) if self.path.is_relative_to(root) else self.path)

    def repr_failure(
        self,
        excinfo: pytest.ExceptionInfo[BaseException],
        style: Any = None,  # noqa: ARG002 (pytest's signature)
    ) -> Any:
        """Show what is wrong with a design without this program's own lines."""
        if isinstance(excinfo.value, EdgeproofError | self.CollectError):
            return fitted(str(excinfo.value).replace(str(self.path), self.name_to_show))
        return super().repr_failure(excinfo)


class LimitItem(pytest.Item):
    """One limit of one measure."""

    def __init__(self, *, design: Design, plan: Plan, row: MeasureRow, **more: Any) -> None:
        super().__init__(**more)
        self.design = design
        self.bench = plan.bench
        self.row = row
        axes = (axis for scene in plan.scenes for axis in scene.space.axes)
        self.units = {axis.key: axis.unit for axis in axes}

    @classmethod
    def of(cls, parent: DesignFile, design: Design, plan: Plan, row: MeasureRow) -> LimitItem:
        limit = row.limit.id if row.limit else ""
        name = f"{plan.bench}.{row.measure}[{limit}]"
        made: LimitItem = cls.from_parent(parent, name=name, design=design, plan=plan, row=row)
        return made

    def runtest(self) -> None:
        results = checks_of(self.config).results(self.design, self.bench, str(self.path))
        row = self._found(results)
        self.user_properties += [
            (name, "" if value is None else f"{value:.6g} {row.unit}")
            for name, value in (("worst", row.worst), ("margin", row.margin))
        ]
        verdict = self._expected(results)
        if verdict == row.verdict == "pass":
            return
        if row.verdict == verdict:
            pytest.xfail(fitted(f"as the design expects: {finding(row)}", 1000))
        text = row_message(self._place(), self.bench, row, self.units, self._width())
        if verdict == "pass":
            raise LimitBroken(text)
        raise LimitBroken(f"expected: {verdict}, and it did not come out so\n{text}")

    def _expected(self, results: Results) -> str:
        """Return the verdict that the design's `expect` leaves for this limit.

        A measure that should fail needs one limit of its own that fails; its other limits may
        hold. Where none fails, all are at fault.
        """
        expect, own = self.design.expect, f"{self.bench}.{self.row.measure}"
        if expect is None or own not in expect.fails:
            return "undecided" if expect and expect.verdict == "undecided" else "pass"
        rows = [row for row in _rows(results) if row.measure == self.row.measure]
        if any(row.verdict == "fail" for row in rows) and self._found(results).verdict == "pass":
            return "pass"
        return "fail"

    def _found(self, results: Results) -> MeasureRow:
        wanted = (self.row.measure, self.row.limit and self.row.limit.id)
        for row in _rows(results):
            if (row.measure, row.limit and row.limit.id) == wanted:
                return row
        raise KeyError(self.name)

    def _place(self) -> str:
        file = self.parent.name_to_show if isinstance(self.parent, DesignFile) else ""
        return f"{file}:{limit_place(self.design, self.bench, self.row)[0]}"

    def _width(self) -> int:
        reporter = self.config.get_terminal_writer()
        return min(max(reporter.fullwidth, 60), 100)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Show the finding, or what kept it from being judged, without this program's lines."""
        if isinstance(excinfo.value, LimitBroken | EdgeproofError):
            return fitted(str(excinfo.value), self._width())
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Point at the line of the design that sets the limit."""
        line, _ = limit_place(self.design, self.bench, self.row)
        return self.path, line - 1, self.name


def _rows(results: Results) -> Iterator[MeasureRow]:
    return (row for bench in results.benches for row in bench.measures)
