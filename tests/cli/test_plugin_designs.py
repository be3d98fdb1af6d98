"""The pytest plugin, by pytest's own tester: what is collected, what passes, what is said."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from cli_cases import FAILING, PASSING, process_environment
from junitparser import JUnitXml

# Loaded here, since numpy cannot be loaded again by every run inside this process.
from analog.plugin import checks, items  # noqa: F401

pytest_plugins = ["pytester"]

EXPECTING = '\n[expect]\nverdict = "fail"\nfails = ["{}"]\n'
LIMITS = {
    "input_at_valid_supply[guaranteed_low]",
    "hold_time[reset_pulse]",
    "release_level_margin[threshold]",
    "discharge_current[absolute_maximum]",
    "pin_discharge_current[absolute_maximum]",
    "pin_discharge_current[working]",
    "release_edges[clean_edge]",
}


def design(pytester: pytest.Pytester, name: str, text: str) -> str:
    path = pytester.path / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return name


def run(pytester: pytest.Pytester, *arguments: str) -> pytest.RunResult:
    return pytester.runpytest("-p", "no:cacheprovider", *arguments)


def test_a_named_design_gives_a_test_per_limit(pytester: pytest.Pytester) -> None:
    name = design(pytester, "holds.toml", PASSING)
    listed = run(pytester, "--collect-only", "-q", name).outlines
    found = {line.partition("::")[2] for line in listed if line.startswith(f"{name}::")}
    assert found == {f"reset.{limit}" for limit in LIMITS}
    run(pytester, name).assert_outcomes(passed=len(LIMITS))


def test_designs_are_collected_by_the_patterns_of_the_ini_file(pytester: pytest.Pytester) -> None:
    design(pytester, "boards/holds.toml", PASSING)
    design(pytester, "other/holds.toml", PASSING)
    design(pytester, "boards/note.txt", PASSING)
    assert run(pytester).ret == pytest.ExitCode.NO_TESTS_COLLECTED
    pytester.makeini("[pytest]\nedgeproof_designs = boards/*.toml\n")
    run(pytester).assert_outcomes(passed=len(LIMITS))


def test_a_named_file_that_is_no_design_is_left_to_others(pytester: pytest.Pytester) -> None:
    pytester.makepyprojecttoml("[project]\nname = 'x'\n")
    assert run(pytester, "pyproject.toml").ret != pytest.ExitCode.OK
    pytester.makepyfile("def test_it(): pass")
    run(pytester).assert_outcomes(passed=1)


def test_a_failure_says_measured_limit_margin_and_worst_case_within_a_terminal(
    pytester: pytest.Pytester,
) -> None:
    name = design(pytester, "leaks.toml", FAILING)
    result = run(pytester, name)
    result.assert_outcomes(passed=len(LIMITS) - 1, failed=1)
    line = FAILING.splitlines().index('receiver = "40106"') + 1
    result.stdout.re_match_lines_random(
        [
            rf"leaks\.toml:{line}: reset\.release_level_margin \[threshold\]: fail",
            r"  measured −\d",
            r"  limit    at least 0 V",
            r"  margin   −\d.* V \(−\d+ %\)",
            r"  source   .*40106",
            r"  worst at environment\.ambient 45 °C, .*",
        ]
    )
    _, _, after = result.stdout.str().partition("FAILURES")
    message, _, _ = after.partition("short test summary")
    assert max(map(len, message.splitlines())) <= 80
    assert "Traceback" not in result.stdout.str()


def test_k_selects_and_only_the_benches_asked_for_are_simulated(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    real = checks.check
    monkeypatch.setattr(
        checks, "check", lambda *a, **k: asked.append(k["benches"]) or real(*a, **k)
    )
    name = design(pytester, "holds.toml", PASSING)
    run(pytester, name, "-k", "hold_time").assert_outcomes(passed=1, deselected=6)
    run(pytester, name, "-k", "nothing").assert_outcomes(deselected=7)
    run(pytester, name).assert_outcomes(passed=7)
    assert asked == [["reset"], ["reset"]]


def test_an_expected_fail_is_strict(pytester: pytest.Pytester) -> None:
    met = FAILING + EXPECTING.format("reset.release_level_margin")
    run(pytester, design(pytester, "met.toml", met)).assert_outcomes(passed=6, xfailed=1)
    surplus = PASSING + EXPECTING.format("reset.hold_time")
    result = run(pytester, design(pytester, "holds.toml", surplus))
    result.assert_outcomes(passed=6, failed=1)
    result.stdout.fnmatch_lines(["expected: fail, and it did not come out so"])
    other = FAILING + EXPECTING.format("reset.hold_time")
    run(pytester, design(pytester, "other.toml", other)).assert_outcomes(passed=5, failed=2)


def test_one_of_two_limits_of_a_measure_may_hold_where_the_measure_should_fail(
    pytester: pytest.Pytester,
) -> None:
    tight = (
        '\n[[limits]]\nmeasure = "reset.pin_discharge_current"\nmaximum = "1 nA"\n'
        'reason = "to see it fail"\n'
    )
    text = PASSING + tight + EXPECTING.format("reset.pin_discharge_current")
    result = run(pytester, design(pytester, "holds.toml", text))
    result.assert_outcomes(passed=7, xfailed=1)


def test_an_expectation_that_no_test_would_judge_is_an_error(pytester: pytest.Pytester) -> None:
    text = FAILING + EXPECTING.format("reset.release_time")
    result = run(pytester, design(pytester, "leaks.toml", text))
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*expects reset.release_time to fail, which has no limit*"])


def test_undecided_is_no_pass(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    judged = checks.check

    def undecided(*arguments: Any, **more: Any) -> Any:
        outcome = judged(*arguments, **more)
        (bench,) = outcome.results.benches
        rows = tuple(replace(r, verdict="undecided", reason="no data") for r in bench.measures)
        benches = (replace(bench, measures=rows),)
        return replace(outcome, results=replace(outcome.results, benches=benches))

    monkeypatch.setattr(checks, "check", undecided)
    name = design(pytester, "holds.toml", PASSING)
    result = run(pytester, name)
    result.assert_outcomes(failed=7)
    result.stdout.fnmatch_lines(["*: undecided", "  because  no data"])
    wanted = design(pytester, "open.toml", PASSING + '\n[expect]\nverdict = "undecided"\n')
    run(pytester, wanted).assert_outcomes(xfailed=7)


def test_no_engine_fails_and_names_the_remedy(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(pytester.path / "none.so"))
    result = run(pytester, design(pytester, "holds.toml", PASSING))
    result.assert_outcomes(failed=7)
    assert "none.so" in result.stdout.str()
    assert "Traceback" not in result.stdout.str()


def test_a_broken_design_is_an_error_with_line_and_column(pytester: pytest.Pytester) -> None:
    text = PASSING.replace("470k 5%", "470x 5%").replace("1u 10%", "1u 10")
    result = run(pytester, design(pytester, "bad.toml", text))
    result.assert_outcomes(errors=1)
    result.stdout.re_match_lines(
        [r"bad\.toml:\d+:\d+: reset\.resistor", r"bad\.toml:\d+:\d+: reset"]
    )


def test_benches_and_seed_come_from_options_or_ini(pytester: pytest.Pytester) -> None:
    name = design(pytester, "holds.toml", PASSING)
    result = run(pytester, name, "--edgeproof-bench", "gate_drive")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*no bench 'gate_drive' with a limit; it has reset*"])
    run(pytester, name, "--edgeproof-bench", "reset").assert_outcomes(passed=7)
    pytester.makeini("[pytest]\nedgeproof_benches = gate_drive\nedgeproof_seed = x\n")
    run(pytester, name).assert_outcomes(errors=1)
    more = ("--edgeproof-bench", "reset", "--edgeproof-seed", "3")
    run(pytester, name, *more).assert_outcomes(passed=7)
    wrong = run(pytester, name, "--edgeproof-bench", "reset")
    assert "edgeproof_seed is 'x'" in wrong.stdout.str() + wrong.stderr.str()
    assert wrong.ret != pytest.ExitCode.OK


def test_samples_judge_boards_instead_of_extremes(pytester: pytest.Pytester) -> None:
    name = design(pytester, "leaks.toml", FAILING)
    more = ("-k", "release_level or discharge_current", "--edgeproof-claim", "90%")
    result = run(pytester, name, *more, "--edgeproof-samples", "60")
    result.assert_outcomes(passed=3, failed=1, deselected=3)
    result.stdout.re_match_lines([r"  boards   .* of 60 boards work; of all boards, .*"])


@pytest.mark.parametrize(
    ("samples", "claim", "words"),
    [("60", "99%", "60 boards cannot prove 99 %"), ("0", "99%", "whole number above 0"),
     ("x", "99%", "whole number above 0"), ("60", "most", "a share like 99%")],
)  # fmt: skip
def test_samples_that_can_show_nothing_are_refused(
    pytester: pytest.Pytester, samples: str, claim: str, words: str
) -> None:
    pytester.makeini(f"[pytest]\nedgeproof_samples = {samples}\nedgeproof_claim = {claim}\n")
    result = run(pytester, design(pytester, "holds.toml", PASSING), "-k", "hold_time")
    assert result.ret != pytest.ExitCode.OK
    assert words in result.stdout.str() + result.stderr.str()


def test_junit_xml_has_the_file_line_and_the_measured_values(pytester: pytest.Pytester) -> None:
    name = design(pytester, "leaks.toml", FAILING)
    run(pytester, name, "--junitxml=out.xml", "-o", "junit_family=xunit1")
    suites = JUnitXml.fromfile(str(pytester.path / "out.xml"))
    assert (suites.tests, suites.failures) == (7, 1)
    cases = {case.get("name"): case for case in ElementTree.parse("out.xml").iter("testcase")}
    failed = cases["reset.release_level_margin[threshold]"]
    assert failed.get("file") == name
    properties = {p.get("name"): p.get("value") or "" for p in failed.iter("property")}
    assert properties["worst"].startswith("-")
    assert properties["worst"].endswith(" V")


def test_a_parallel_run_checks_each_bench_once(pytester: pytest.Pytester) -> None:
    name = design(pytester, "leaks.toml", FAILING)
    pytester.makeconftest(
        """
        import os, pathlib
        from analog.plugin import checks
        real = checks.check
        def counted(*a, **k):
            pathlib.Path("checked").open("a").write(f"{os.getpid()}\\n")
            return real(*a, **k)
        checks.check = counted
        """
    )
    result = pytester.runpytest_subprocess("-p", "no:cacheprovider", "-n", "2", name)
    result.assert_outcomes(passed=6, failed=1)
    assert len((pytester.path / "checked").read_text("utf-8").splitlines()) == 1
    assert "release_level_margin" in result.stdout.str()


def test_a_parallel_run_leaves_nothing(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = pytester.mkdir("temporary")
    monkeypatch.setenv("TMPDIR", str(place))
    name = design(pytester, "holds.toml", PASSING)
    pytester.runpytest_subprocess("-p", "no:cacheprovider", "-n", "2", name)
    assert [path.name for path in place.glob("edgeproof*")] == []


def test_importing_the_plugin_costs_nothing_but_pytest(tmp_path: Path) -> None:
    statement = (
        "import pytest, sys; before = set(sys.modules); import analog.plugin; "
        "print(*sorted(set(sys.modules) - before))"
    )
    done = subprocess.run(
        [sys.executable, "-c", statement],
        cwd=tmp_path,
        env=process_environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert set(done.stdout.split()) <= {"analog", "analog.plugin"}


def test_a_run_without_designs_loads_nothing_of_ours_but_the_plugin(
    pytester: pytest.Pytester,
) -> None:
    pytester.makepyfile(
        """
        import sys
        def test_it():
            ours = {name for name in sys.modules if name.startswith("analog.")}
            assert ours == {"analog.plugin"}
        """
    )
    pytester.runpytest_subprocess("-p", "no:cacheprovider").assert_outcomes(passed=1)
