"""The colours of reports, light and dark, by what they stand for.

Figures and schematics name roles (``var(--limit)``), so that one picture serves the light page,
the dark page and the printer. No meaning rests on colour alone: every role also has its own line
style, symbol or word.
"""

from __future__ import annotations

# role: (light, dark)
ROLES: dict[str, tuple[str, str]] = {
    "paper": ("#fbfaf7", "#16191c"),
    "card": ("#ffffff", "#1e2226"),
    "ink": ("#1f2529", "#e7e5e0"),
    "muted": ("#5c666d", "#a3abb1"),
    "rule": ("#d9d6cf", "#3a4147"),
    "accent": ("#0b5563", "#7cc4d1"),
    "curve-1": ("#0b5f8a", "#6db8e0"),
    "curve-2": ("#a1480b", "#eba36b"),
    "curve-3": ("#4d6b12", "#a8c46a"),
    "curve-4": ("#7a3b8f", "#cf9be0"),
    "limit": ("#b0203a", "#f28b9b"),
    "threshold": ("#6a5b2f", "#d0bf8a"),
    "pass": ("#1f6b3a", "#7fcf9a"),
    "fail": ("#a8182f", "#ff9aa8"),
    "undecided": ("#8a5a00", "#e8bd62"),
    "pass-tint": ("#e8f3ea", "#1d3125"),
    "fail-tint": ("#fbe9eb", "#3d2026"),
    "undecided-tint": ("#fbf1da", "#382c14"),
}

CURVES = ("curve-1", "curve-2", "curve-3", "curve-4")


def css_variables(dark: bool) -> str:
    """Return the roles as CSS custom properties, one line each."""
    return "\n".join(f"  --{role}: {shades[dark]};" for role, shades in ROLES.items())


def marker(role: str) -> str:
    """Return a stand-in colour for a drawing library that cannot write ``var(--role)``."""
    return f"#fe{list(ROLES).index(role):02x}fe"


def resolve_markers(svg: str) -> str:
    """Replace the stand-in colours by the roles, each with its light colour as the fallback."""
    for role, (light, _) in ROLES.items():
        svg = svg.replace(marker(role), f"var(--{role},{light})")
    return svg
