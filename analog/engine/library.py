"""Finding libngspice: which copies this machine has, which one is used, and why."""

from __future__ import annotations

import ctypes.util
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from analog.errors import MachineError

# Debian and Ubuntu ship only the versioned name with the run-time package.
_FILE_NAMES = ("libngspice.so.0", "libngspice.so", "libngspice.dylib")
_VARIABLES = ("EDGEPROOF_NGSPICE", "NGSPICE_LIBRARY_PATH")
_FOLDERS = ("/usr/lib", "/usr/lib64", "/usr/local/lib", "/usr/local/lib64", "/opt/ngspice/lib")

REMEDY = (
    "Install it: apt-get install libngspice0 (Debian, Ubuntu), "
    "or point EDGEPROOF_NGSPICE to the library file"
)


@dataclass(frozen=True, slots=True)
class Library:
    """One copy of libngspice: its real path and the reason it was found."""

    path: Path
    reason: str


def find_libraries() -> tuple[Library, ...]:
    """Return every libngspice found, the one to be used first; links to one file count once."""
    found: dict[Path, Library] = {}
    for library in _candidates():
        real = library.path.resolve()
        if real.is_file() and real not in found:
            found[real] = library
    return tuple(found.values())


def used_library() -> Library:
    """Return the library the engine loads.

    Raises MachineError when there is none, or when an environment variable names a file that
    does not exist: falling back silently would run another engine than the one asked for.
    """
    for variable in _VARIABLES:
        named = os.environ.get(variable)
        if named and not Path(named).is_file():
            raise MachineError(
                f"{variable} names {named}, which is no file",
                f"Correct or unset {variable}",
            )
    libraries = find_libraries()
    if not libraries:
        raise MachineError("No ngspice library (libngspice) on this machine", REMEDY)
    return libraries[0]


def _candidates() -> Iterator[Library]:
    for variable in _VARIABLES:
        if named := os.environ.get(variable):
            yield Library(Path(named), f"named by {variable}")
    yield from _below(Path(sys.prefix) / "lib", "unpacked inside the Python environment")
    if loaded := _from_loader():
        yield Library(loaded, "known to the system's loader")
    for folder in _FOLDERS:
        yield from _below(Path(folder), f"found below {folder}", depth=1)


def _below(folder: Path, reason: str, depth: int = 3) -> Iterator[Library]:
    """Yield libraries in `folder` and up to `depth` levels of sub-folders, in a fixed order."""
    for level in range(depth + 1):
        for name in _FILE_NAMES:
            for path in sorted(folder.glob("*/" * level + name)):
                yield Library(path, reason)


def _from_loader() -> Path | None:
    """Return the path behind the loader's file name; ctypes gives only the bare name."""
    name = ctypes.util.find_library("ngspice")
    if name is None:
        return None
    if os.sep in name:
        return Path(name)
    try:
        table = subprocess.run(
            ["/sbin/ldconfig", "-p"], capture_output=True, text=True, check=False, timeout=10
        ).stdout
    except OSError:
        return None
    for line in table.splitlines():
        if line.strip().startswith(name + " "):
            return Path(line.rpartition("=>")[2].strip())
    return None
