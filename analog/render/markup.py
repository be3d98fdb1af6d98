"""User text made safe for XML, SVG and HTML."""

from __future__ import annotations

import re
from html import escape

# Characters that XML 1.0 cannot hold at all, not even escaped (section 2.2, production Char).
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def legal(text: str) -> str:
    """Return the text with characters that XML cannot hold replaced by a visible mark."""
    return _FORBIDDEN.sub("\N{REPLACEMENT CHARACTER}", text)


def markup(text: str) -> str:
    """Return the text escaped for element content and quoted attributes."""
    return escape(legal(text))
