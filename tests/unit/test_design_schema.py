"""The shipped schema is current and an independent validator agrees with it on the files."""

from __future__ import annotations

import copy
import tomllib
from importlib.resources import files
from typing import Any

import jsonschema
import pytest

from analog.design import design_schema, parse_design, shipped_schema, starter_text
from analog.design.schema import schema_text

SCENARIOS = sorted(
    entry.name for entry in files("analog.scenarios").iterdir() if entry.name.endswith(".toml")
)


def scenario(name: str) -> str:
    return files("analog.scenarios").joinpath(name).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    jsonschema.Draft202012Validator.check_schema(shipped_schema())
    return jsonschema.Draft202012Validator(shipped_schema())


def test_shipped_schema_is_current() -> None:
    shipped = files("analog.design").joinpath("schema.json").read_text(encoding="utf-8")
    assert shipped == schema_text(), "write analog.design.schema.schema_text() to schema.json"
    assert shipped_schema() == design_schema()


def test_there_are_scenarios() -> None:
    assert {"propagator-mat.toml", "first-draft.toml"} <= set(SCENARIOS)


@pytest.mark.parametrize("name", SCENARIOS)
def test_scenarios_fit_schema_and_rules(
    name: str, validator: jsonschema.Draft202012Validator
) -> None:
    text = scenario(name)
    assert list(validator.iter_errors(tomllib.loads(text))) == []
    design = parse_design(text, name)
    assert f"{design.name}.toml" == name
    assert design.expect is not None


def test_starter_fits_schema(validator: jsonschema.Draft202012Validator) -> None:
    assert list(validator.iter_errors(tomllib.loads(starter_text("mine")))) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("design", "name"), "../../x"),
        (("supply", "rail"), 9),
        (("gate_drive", "driver"), "relay"),
        (("gate_drive", "opto"), ".control"),
        (("clocked", "count"), 0),
        (("reset", "button"), "yes"),
        (("reset", "capasitor"), "1u"),
        (("edgeproof",), 2),
        (("limits",), [{"measure": "reset.hold_time", "unit": "V", "reason": "mine"}]),
        (("expect", "verdict"), "maybe"),
    ],
)
def test_schema_refuses_bad_form(
    path: tuple[str, ...], value: object, validator: jsonschema.Draft202012Validator
) -> None:
    data: dict[str, Any] = copy.deepcopy(tomllib.loads(scenario("propagator-mat.toml")))
    table = data
    for step in path[:-1]:
        table = table[step]
    table[path[-1]] = value
    assert list(validator.iter_errors(data)) != []


def test_schema_needs_what_the_reader_needs(validator: jsonschema.Draft202012Validator) -> None:
    data = tomllib.loads(scenario("propagator-mat.toml"))
    for section, key in (("supply", "rail"), ("reset", "receiver"), ("mains", "frequency")):
        broken = copy.deepcopy(data)
        del broken[section][key]
        assert list(validator.iter_errors(broken)) != [], (section, key)
    assert list(validator.iter_errors({"edgeproof": 1})) != []
