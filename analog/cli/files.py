"""Writing a file wholly or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from analog.cli.problems import bad_file
from analog.errors import MachineError


def write_new(path: Path, text: str) -> None:
    """Write a file that must not exist yet; FileExistsError, OSError, never half a file."""
    with _beside(path, text) as temporary:
        os.link(temporary, path)


def write_whole(path: Path, content: str | bytes) -> None:
    """Write or replace a file; MachineError when that cannot be done, nothing half-written.

    What exists and is no plain file (a pipe, ``/dev/stdout``) is written to, never replaced.
    """
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(_encoded(content))
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        with _beside(path, content) as temporary:
            temporary.replace(path)
    except OSError as error:
        raise MachineError(
            f"{path} cannot be written ({error.strerror})", "Name a place you may write to"
        ) from error


def require_writable(folder: Path, named: Path | None = None) -> None:
    """Raise an InputError unless `folder` can be written, or made, by this user; makes nothing.

    `named` is the path to speak of (default: the folder); it must not be a folder itself.
    """
    if named is not None and named.is_dir():
        raise bad_file(str(named), "this is a folder, not a file", "Name a file")
    if named is not None and named.exists() and not named.is_file() and os.access(named, os.W_OK):
        return  # a pipe or a device is written to in place
    ancestor = folder.absolute()
    while not ancestor.exists() and ancestor != ancestor.parent:
        ancestor = ancestor.parent
    speak = str(named or folder)
    if not ancestor.is_dir():
        raise bad_file(speak, f"{ancestor} is no folder", "Name another place")
    if not os.access(ancestor, os.W_OK | os.X_OK):
        raise bad_file(speak, f"{ancestor} cannot be written", "Name a place you may write to")


@contextlib.contextmanager
def _beside(path: Path, content: str | bytes) -> Iterator[Path]:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_encoded(content))
        temporary.chmod(0o666 & ~_umask())
        yield temporary
    finally:
        temporary.unlink(missing_ok=True)


def _encoded(content: str | bytes) -> bytes:
    return content if isinstance(content, bytes) else content.encode()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
