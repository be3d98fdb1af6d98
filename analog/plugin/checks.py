"""The simulations behind the tests: one engine for all, one check per bench of a design.

With samples asked for, a sweep of that many boards takes the place of the check.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

import analog
from analog.design import Design
from analog.engine import Engine, default_store_path, open_engine
from analog.plugin import CHECKS
from analog.results import Results, read_results, write_results
from analog.studies.stopping import Claim
from analog.workflows import check
from analog.workflows.sweep import Order, sweep

_FOLDER = pytest.StashKey[Path]()


@dataclass(slots=True)
class Checks:
    """Checks benches when they are first asked for and remembers the results.

    In a parallel run `folder` is where the processes leave results for each other, so that the
    limits of one bench, spread over them, cost one check.
    """

    store: Path
    seed: int
    order: Order | None
    folder: Path | None
    parallel: bool
    _known: dict[tuple[str, str], Results] = field(default_factory=dict)
    _engine: Engine | None = None
    _closing: ExitStack = field(default_factory=ExitStack)

    def results(self, design: Design, bench: str, file: str) -> Results:
        """Return the results of one bench of a design; EdgeproofError as `check` has it."""
        key = (design.sha256, bench)
        if key not in self._known:
            self._known[key] = self._shared(design, bench, file)
        return self._known[key]

    def close(self) -> None:
        """End the engine and its workers."""
        self._closing.close()
        self._engine = None

    def own_until_closed(self, folder: Path) -> None:
        """Remove a folder when the run is over."""
        self._closing.callback(shutil.rmtree, folder, ignore_errors=True)

    def _shared(self, design: Design, bench: str, file: str) -> Results:
        if self.folder is None:
            return self._checked(design, bench, file)
        words = (design.sha256, bench, str(self.seed), repr(self.order), analog.__version__)
        name = hashlib.sha256("\0".join(words).encode()).hexdigest()
        kept = self.folder / f"{name}.json"
        with _only_one(self.folder / f"{name}.lock"):
            if not kept.exists():
                write_results(self._checked(design, bench, file), kept)
            return read_results(kept)

    def _checked(self, design: Design, bench: str, file: str) -> Results:
        if self._engine is None:
            jobs = 1 if self.parallel else None
            self._engine = self._closing.enter_context(open_engine(jobs=jobs, store=self.store))
        benches = [bench]
        if self.order is None:
            done = check(design, self._engine, benches=benches, seed=self.seed, filename=file)
            return done.results
        return sweep(
            design,
            self._engine,
            benches=benches,
            order=self.order,
            seed=self.seed,
            filename=file,
        ).results


def checks_of(config: pytest.Config) -> Checks:
    """Return the checks of this run, made when first asked for."""
    if CHECKS not in config.stash:
        worker = getattr(config, "workerinput", None)
        folder = Path(worker["edgeproof_folder"]) if worker else None
        config.stash[CHECKS] = Checks(
            _store(config), seed_of(config), order_of(config), folder, worker is not None
        )
    return config.stash[CHECKS]


def shared_folder(config: pytest.Config) -> Path:
    """Return the folder that the processes of a parallel run share; the first call makes it."""
    if _FOLDER not in config.stash:
        config.stash[_FOLDER] = Path(tempfile.mkdtemp(prefix="edgeproof-tests-"))
        checks_of(config).own_until_closed(config.stash[_FOLDER])
    return config.stash[_FOLDER]


def seed_of(config: pytest.Config) -> int:
    """Return the start of the random choices; UsageError for what is none."""
    given = config.getoption("edgeproof_seed")
    text = config.getini("edgeproof_seed") if given is None else given
    try:
        seed = int(text)
    except ValueError:
        seed = -1
    if seed < 0:
        raise pytest.UsageError(f"edgeproof_seed is {text!r}: write a whole number of at least 0")
    return seed


def order_of(config: pytest.Config) -> Order | None:
    """Return what a sweep is asked, None for the guaranteed extremes; UsageError for nonsense."""
    samples, claim = _given(config, "edgeproof_samples"), _given(config, "edgeproof_claim")
    try:
        share = float(claim.removesuffix("%")) / (100 if claim.endswith("%") else 1)
    except ValueError:
        share = -1.0
    if not 0 < share < 1:
        raise pytest.UsageError(f"edgeproof_claim is {claim!r}: write a share like 99%")
    if not samples:
        return None
    if not samples.isdecimal() or not int(samples):
        raise pytest.UsageError(f"edgeproof_samples is {samples!r}: write a whole number above 0")
    return Order(Claim(share), int(samples))


def _given(config: pytest.Config, name: str) -> str:
    """Return the text of an option, else of the ini file."""
    return str(config.getoption(name) or config.getini(name)).strip()


def benches_of(config: pytest.Config) -> tuple[str, ...]:
    """Return the benches to judge, none for all."""
    return tuple(config.getoption("edgeproof_bench") or config.getini("edgeproof_benches"))


def _store(config: pytest.Config) -> Path:
    named = config.getoption("edgeproof_store")
    return Path(named) if named else default_store_path()


@contextmanager
def _only_one(lock: Path) -> Iterator[None]:
    """Let one process at a time in; a process that dies lets the next one in."""
    import fcntl

    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
