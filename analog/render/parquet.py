"""The table of `samples.csv` as Parquet, for notebooks; needs the extra of that name."""

from __future__ import annotations

import io

import numpy as np

from analog.errors import MachineError
from analog.render.samples import columns, statuses
from analog.workflows.sweep import Swept


def samples_parquet(swept: Swept) -> bytes:
    """Return the table as Parquet: null is a simulation without data, NaN a thing that never
    happened. MachineError when pyarrow is not installed."""
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as problem:
        raise MachineError(
            "pyarrow is not installed", "Install the extra: pip install 'edgeproof[parquet]'"
        ) from problem
    table = {"board": pa.array(range(swept.runs.count)), "status": pa.array(statuses(swept))}
    for column in columns(swept):
        missing = None if column.missing is None else np.asarray(column.missing)
        table[column.heading] = pa.array(np.asarray(column.values), mask=missing)
    target = io.BytesIO()
    parquet.write_table(pa.table(table), target)
    return target.getvalue()
