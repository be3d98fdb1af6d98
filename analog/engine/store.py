"""Results on disk: what was simulated once, with the same code and engine, is not run again.

One SQLite file in write-ahead mode. A sample's key is a hash of everything its values depend on:
the experiment (circuit, settings, saves, outputs), the texts of the libraries it uses, the
measuring code, the engine's version and the row of parameters. Only numbers and short texts are
kept, and nothing in the file is ever executed or unpickled. Two programs may share one file.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analog.engine.outcome import FAILURE_KINDS, Failure, Floats
from analog.errors import MachineError

_MAGIC = b"SQLite format 3\0"
_APPLICATION = 0x45504652
_BUSY_S = 30.0
_KEYS_AT_ONCE = 500

# Schema changes in order; the file's user_version counts those it has had.
_MIGRATIONS = (
    """
    CREATE TABLE sample (
        key BLOB PRIMARY KEY,
        numbers BLOB NOT NULL,
        way TEXT NOT NULL,
        kind TEXT NOT NULL,
        reason TEXT NOT NULL,
        attempts INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)


@dataclass(frozen=True, slots=True)
class Sample:
    """A finished sample: its values, the way it was run by ("" the first), or its failure."""

    values: Floats
    way: str = ""
    failure: Failure | None = None


def default_store_path() -> Path:
    """Return the store's usual place: EDGEPROOF_STORE, or the user's cache folder."""
    if named := os.environ.get("EDGEPROOF_STORE"):
        return Path(named)
    cache = os.environ.get("XDG_CACHE_HOME")
    return (Path(cache) if cache else Path.home() / ".cache") / "edgeproof" / "results.sqlite"


class Store:
    """An open store; made by `open_store`."""

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self._path = path
        self._connection = connection

    def find(self, keys: Sequence[bytes], width: int) -> dict[bytes, Sample]:
        """Return the stored samples among `keys`, each with `width` values."""
        found: dict[bytes, Sample] = {}
        with _told(self._path):
            for start in range(0, len(keys), _KEYS_AT_ONCE):
                part = keys[start : start + _KEYS_AT_ONCE]
                marks = ",".join("?" * len(part))
                rows = self._connection.execute(
                    "SELECT key, numbers, way, kind, reason, attempts FROM sample "
                    f"WHERE key IN ({marks})",
                    part,
                )
                found |= {row[0]: _sample(row, width, self._path) for row in rows}
        return found

    def keep(self, samples: Iterable[tuple[bytes, Sample]]) -> None:
        """Write finished samples in one transaction; a key already there is left as it is."""
        rows = [(key, *_columns(sample)) for key, sample in samples]
        if not rows:
            return
        with _told(self._path), _transaction(self._connection):
            self._connection.executemany(
                "INSERT OR IGNORE INTO sample VALUES (?, ?, ?, ?, ?, ?)", rows
            )

    def count(self) -> int:
        """Return how many samples the store holds."""
        with _told(self._path):
            return int(self._connection.execute("SELECT count(*) FROM sample").fetchone()[0])


@contextmanager
def open_store(path: Path) -> Iterator[Store]:
    """Open a store, making it if need be.

    Raises MachineError for a file that is none of ours, is cut short, comes from a newer version,
    or cannot be written.
    """
    _check_file(path)
    with _told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)
    try:
        with _told(path):
            _prepare(path, connection)
        yield Store(path, connection)
    finally:
        connection.close()


def row_keys(context: bytes, names: tuple[str, ...], rows: Floats) -> list[bytes]:
    """Return one key per row, whatever the order of `names`; `context` is `context_hash`'s."""
    order = sorted(range(len(names)), key=names.__getitem__)
    head = hashlib.sha256(context + "\n".join(sorted(names)).encode())
    keys = []
    for row in np.ascontiguousarray(rows[:, order], dtype="<f8"):
        one = head.copy()
        one.update(row.tobytes())
        keys.append(one.digest())
    return keys


def context_hash(*parts: str) -> bytes:
    """Return a hash of texts, their borders included."""
    digest = hashlib.sha256()
    for part in parts:
        text = part.encode()
        digest.update(f"{len(text)}:".encode() + text)
    return digest.digest()


def _check_file(path: Path) -> None:
    """Refuse a file SQLite would take for empty, or for a database until it meets the cut."""
    try:
        with path.open("rb") as stream:
            head = stream.read(100)
        size = path.stat().st_size
    except FileNotFoundError:
        return
    except OSError as problem:
        raise _error(path, problem.strerror or str(problem)) from problem
    if size == 0:
        return
    if not head.startswith(_MAGIC) or len(head) < 100:
        raise _foreign(path)
    page = int.from_bytes(head[16:18], "big")
    pages = int.from_bytes(head[28:32], "big")
    if size < pages * (65536 if page == 1 else page):
        raise MachineError(
            f"The results store {path.name} is cut short",
            "Delete it (its results are simulated again) or restore it from a copy",
        )


def _prepare(path: Path, connection: sqlite3.Connection) -> None:
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if application != _APPLICATION and (application or version or tables):
        raise _foreign(path)
    if version > len(_MIGRATIONS):
        raise MachineError(
            f"The results store {path.name} was made by a newer version",
            "Upgrade Edgeproof, or name another file with --store",
        )
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = NORMAL")
    if version < len(_MIGRATIONS):
        _migrate(connection)


def _migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables up to date; the version is read again once other programs are locked out."""
    with _transaction(connection):
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        for script in _MIGRATIONS[version:]:
            connection.execute(script)
        connection.execute(f"PRAGMA application_id = {_APPLICATION}")
        connection.execute(f"PRAGMA user_version = {len(_MIGRATIONS)}")


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Commit what the block did, or none of it."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        connection.rollback()
        raise
    connection.execute("COMMIT")


def _columns(sample: Sample) -> tuple[bytes, str, str, str, int]:
    numbers = np.ascontiguousarray(sample.values, dtype="<f8").tobytes()
    failure = sample.failure
    if failure is None:
        return numbers, sample.way, "", "", 1
    return numbers, sample.way, failure.kind, failure.reason, failure.attempts


def _sample(row: tuple[bytes, bytes, str, str, str, int], width: int, path: Path) -> Sample:
    _, numbers, way, kind, reason, attempts = row
    known = next((named for named in FAILURE_KINDS if named == kind), None)
    if len(numbers) != 8 * width or (kind and known is None):
        raise _foreign(path)
    values: NDArray[np.float64] = np.frombuffer(numbers, dtype="<f8").astype(np.float64)
    if known is None:
        return Sample(values, way)
    return Sample(values, way, Failure(known, reason, "", attempts, stored=True))


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn SQLite's and the system's complaints into an error with a remedy."""
    try:
        yield
    except (sqlite3.Error, OSError) as problem:
        told = problem.strerror if isinstance(problem, OSError) else str(problem)
        raise _error(path, told or type(problem).__name__) from problem


def _error(path: Path, what: str) -> MachineError:
    return MachineError(
        f"The results store {path.name} cannot be used: {what}",
        "Free some space or make its folder writable, delete the file if it is damaged, "
        "or name another with --store",
    )


def _foreign(path: Path) -> MachineError:
    return MachineError(
        f"{path.name} is no results store of Edgeproof",
        "Name another file with --store; this one is left as it is",
    )
