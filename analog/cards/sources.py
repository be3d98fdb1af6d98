"""The short source notes of card files.

"ti: section 6.5"          place in the document that [sources] calls "ti"
"memory: high: remark"     from memory with high, medium or low confidence, remark optional
"practice: remark"         common practice, no source
"computed: method"         computed from other figures of the card
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast, get_args

from analog.cards.figures import Confidence, Source

_CONFIDENCES = tuple(word for word in get_args(Confidence) if word)


def parse_source(note: str, documents: Mapping[str, str]) -> Source:
    """Return the source that `note` stands for; ValueError with the rule when it breaks it."""
    head, _, rest = (piece.strip() for piece in note.partition(":"))
    if head == "memory":
        confidence, _, remark = (piece.strip() for piece in rest.partition(":"))
        if confidence not in _CONFIDENCES:
            raise ValueError(f"source {note!r}: memory needs high, medium or low")
        return Source("memory", remark, cast(Confidence, confidence))
    if head == "practice":
        return Source("practice", rest)
    if head == "computed":
        if not rest:
            raise ValueError(f"source {note!r}: computed needs the method")
        return Source("computed", rest)
    if head not in documents:
        raise ValueError(f"source {note!r}: {head!r} is not in [sources]")
    return Source("document", f"{documents[head]}, {rest}" if rest else documents[head])
