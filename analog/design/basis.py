"""What all sections of a design have in common: frozen, strict, values in the trade's notation."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, model_validator

from analog.design.fields import Notation, Written


class Record(BaseModel):
    """Base of all sections: frozen, strict, unknown keys refused."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", validate_default=True)

    #: The section's name in the design file.
    section: ClassVar[str] = ""
    #: Fields that a design file must not hold: they are worked out.
    hidden: ClassVar[tuple[str, ...]] = ()

    @model_validator(mode="before")
    @classmethod
    def _add_keys(cls, data: Any) -> Any:
        """Give every notation text the dotted key it stands under."""
        if not isinstance(data, dict):
            return data
        return {name: cls.written(name, value) for name, value in data.items()}

    @classmethod
    def written(cls, name: str, value: Any) -> Any:
        """Return `value`, with its dotted key attached when the field reads notation."""
        field = cls.model_fields.get(name)
        if field is None or not isinstance(value, str) or isinstance(value, Written):
            return value
        if any(isinstance(mark, Notation) for mark in notation_marks(field)):
            return Written(value, f"{cls.section}.{name}")
        return value


def notation_marks(field: Any) -> tuple[Any, ...]:
    """Return the annotations of a record's field, those inside ``X | None`` included."""
    inner = getattr(field.annotation, "__args__", ())
    nested = (mark for part in inner for mark in getattr(part, "__metadata__", ()))
    return (*field.metadata, *nested)
