"""The template engine: everything escaped, every name must be known, one style for all pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from analog import __version__
from analog.render.markup import legal_page
from analog.render.palette import css_variables
from analog.render.words import (
    SYMBOLS,
    VERDICT_WORDS,
    is_exact,
    limit_words,
    measure_words,
    quantity,
    share,
)

TEMPLATES = Path(__file__).parent / "templates"


def render(name: str, **values: Any) -> str:
    """Fill the template `name`; raises when it uses a name that is not given."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters |= {
        "quantity": quantity,
        "share": share,
        "limit": limit_words,
        "words": measure_words,
        "bar": bar_position,
        "exact": is_exact,
    }
    environment.globals |= {"symbols": SYMBOLS, "verdict_words": VERDICT_WORDS}
    page = environment.get_template(name).render(
        values,
        package=__version__,
        # Trusted: our own script, style sheet and pictures whose every text was escaped when drawn.
        script=Markup((TEMPLATES / "report.js").read_text(encoding="utf-8")),
        style=Markup((TEMPLATES / "report.css").read_text(encoding="utf-8")),
        light=Markup(css_variables(dark=False)),
        dark=Markup(css_variables(dark=True)),
        picture=Markup,
    )
    return legal_page(page)


def bar_position(margin_share: float | None) -> int:
    """Return where a margin bar ends, in per cent of its half width: -100 to 100."""
    if margin_share is None:
        return -100
    return round(100 * max(-1.0, min(1.0, margin_share)))
