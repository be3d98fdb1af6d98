"""The JSON Schema of the design file, made from the records that read it.

`schema.json` beside this module is its shipped text, for editors that check while one types.
It knows form only; the rules about meaning are in this package.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from analog.design.record import (
    Clocked,
    Conditioner,
    Environment,
    GateDrive,
    Header,
    LineSense,
    Load,
    Mains,
    Reset,
    Supply,
)
from analog.design.wishes import Expect, LimitOverride, SpreadRule

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


class DesignFile(BaseModel):
    """One design of a mains-powered logic board, as Edgeproof reads it."""

    model_config = ConfigDict(extra="forbid")

    edgeproof: Literal[1]
    design: Header
    mains: Mains | None = None
    environment: Environment
    supply: Supply
    line_sense: LineSense | None = None
    conditioner: Conditioner | None = None
    clocked: Clocked | None = None
    reset: Reset | None = None
    gate_drive: GateDrive | None = None
    load: Load | None = None
    limits: tuple[LimitOverride, ...] = ()
    spread: tuple[SpreadRule, ...] = ()
    expect: Expect | None = None


def design_schema() -> dict[str, Any]:
    """Build the schema of the design file from the records."""
    schema = _without_null(DesignFile.model_json_schema(mode="validation"))
    return {"$schema": _DIALECT, "title": "Edgeproof design file", **schema}


def schema_text() -> str:
    """Return the schema as it is shipped in `schema.json`."""
    return json.dumps(design_schema(), indent=2, ensure_ascii=False) + "\n"


def shipped_schema() -> dict[str, Any]:
    """Return the schema that was shipped with the package."""
    text = files("analog.design").joinpath("schema.json").read_text(encoding="utf-8")
    shipped: dict[str, Any] = json.loads(text)
    return shipped


def _without_null(node: Any) -> Any:
    """Drop what TOML cannot say (null) and what repeats a key's own name (generated titles)."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _without_null(value)
        for key, value in node.items()
        if not (key == "title" and isinstance(value, str))
        and not (key == "default" and not isinstance(value, str | bool | int | float))
    }
    choices = [choice for choice in kept.get("anyOf", ()) if choice != {"type": "null"}]
    if len(choices) == 1 and isinstance(choices[0], dict):
        del kept["anyOf"]
        return {**choices[0], **kept}
    return kept
