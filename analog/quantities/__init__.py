"""Values as the trade writes them: read exactly, written for reports, snapped to stock values."""

from analog.quantities.component import Component, Range, read_component, read_range
from analog.quantities.formatting import format_quantity, format_share
from analog.quantities.notation import QuantityError, read_quantity
from analog.quantities.series import (
    SERIES,
    SeriesName,
    decade,
    nearest,
    neighbours,
    stock_values,
)
from analog.quantities.tolerance import Tolerance

__all__ = [
    "SERIES",
    "Component",
    "QuantityError",
    "Range",
    "SeriesName",
    "Tolerance",
    "decade",
    "format_quantity",
    "format_share",
    "nearest",
    "neighbours",
    "read_component",
    "read_quantity",
    "read_range",
    "stock_values",
]
