"""User text made safe for XML, SVG and HTML."""

from __future__ import annotations

import re
from html import escape

# Characters that XML 1.0 cannot hold at all, not even escaped (section 2.2, production Char).
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

# What a parser of HTML reports as an error: controls except white space, and non-characters.
_NOT_IN_HTML = re.compile("[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


def legal_page(html: str) -> str:
    """Return a page with characters that HTML does not allow replaced by a visible mark."""
    # A carriage return that a picture's writer has put as a reference; a user's own is escaped.
    return _NOT_IN_HTML.sub("\N{REPLACEMENT CHARACTER}", html).replace("&#13;", " ")


def legal(text: str) -> str:
    """Return the text with characters that XML cannot hold replaced by a visible mark."""
    return _FORBIDDEN.sub("\N{REPLACEMENT CHARACTER}", text)


def markup(text: str) -> str:
    """Return the text escaped for element content and quoted attributes."""
    return escape(legal(text))
