"""The starter design: a commented file that checks clean, for the user to change."""

from __future__ import annotations

from importlib.resources import files

from pydantic import TypeAdapter, ValidationError

from analog.design.findings import printable
from analog.design.kinds import DesignName
from analog.errors import InputError, Problem


def starter_text(name: str) -> str:
    """Return the text of a starter design called `name`.

    Raises InputError when `name` cannot name a design; the problem's key is ``NAME``.
    """
    try:
        TypeAdapter(DesignName).validate_python(name)
    except ValidationError as error:
        context = error.errors()[0]["ctx"]
        shown = printable(name)
        problem = Problem(shown, 1, 1, "NAME", shown, context["rule"], context["remedy"])
        raise InputError((problem,)) from None
    text = files("analog.design").joinpath("starter.toml").read_text(encoding="utf-8")
    return text.replace("@NAME@", name)
