"""Values as the trade writes them: read exactly, written for reports, snapped to stock values."""

from analog.quantities.component import Component, Range, read_component, read_range
from analog.quantities.notation import QuantityError, read_quantity
from analog.quantities.tolerance import Tolerance

__all__ = [
    "Component",
    "QuantityError",
    "Range",
    "Tolerance",
    "read_component",
    "read_quantity",
    "read_range",
]
