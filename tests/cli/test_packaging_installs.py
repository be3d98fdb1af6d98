"""The wheel, the wheel made from the sdist and the editable install all carry their data.

Each is installed into an environment of its own and asked, from several folders, for things
that live in data files: a part card, a model, a scenario.
"""

from __future__ import annotations

import subprocess
import sys
import sysconfig
import venv
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

ASK = """
import json, importlib.resources, analog
from analog.cards import find_card, model_text
scenarios = sorted(
    entry.name for entry in (importlib.resources.files("analog") / "scenarios").iterdir()
    if entry.name.endswith(".toml"))
print(json.dumps([find_card("40106").identifier, len(model_text("schmitt")) > 100, scenarios,
                  analog.__version__, analog.__file__]))
"""


def build(kind: str, source: Path, out: Path) -> Path:
    command = [sys.executable, "-m", "build", "--no-isolation", f"--{kind}", "-o", str(out)]
    subprocess.run([*command, str(source)], check=True, capture_output=True, timeout=300)
    (built,) = out.glob("*.whl" if kind == "wheel" else "*.tar.gz")
    return built


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Path]:
    """Return a function that installs a target into a fresh environment; gives its Python.

    Dependencies come from this environment through a path file, so that nothing is fetched;
    path files are not read recursively, so this environment's own Edgeproof stays unseen.
    """

    def make(name: str, *target: str) -> Path:
        folder = tmp_path_factory.mktemp(name) / "venv"
        venv.create(folder, with_pip=False)
        python = folder / "bin" / "python"
        (site,) = folder.glob("lib/python*/site-packages")
        (site / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")
        subprocess.run(
            [
                sys.executable,
                "-m",
                "pip",
                "--python",
                str(python),
                "install",
                "-q",
                "--no-deps",
                "--no-build-isolation",
                "--no-index",
                "--ignore-installed",
                *target,
            ],
            check=True,
            capture_output=True,
            timeout=300,
        )
        return python

    return make


def answers(python: Path, folder: Path) -> list[object]:
    import json

    command = [str(python), "-W", "ignore", "-P", "-c", ASK]
    done = subprocess.run(
        command, cwd=folder, capture_output=True, text=True, timeout=120, check=True
    )
    answer = json.loads(done.stdout)
    assert isinstance(answer, list)
    return answer


def check_everywhere(python: Path, elsewhere: Path) -> None:
    from analog import __version__

    for folder in (elsewhere, ROOT, ROOT / "models", Path("/")):
        card, model, scenarios, version, _ = answers(python, folder)
        assert (card, model, version) == ("40106", True, __version__)
        assert isinstance(scenarios, list)
        assert {"propagator-mat.toml", "first-draft.toml"} <= set(scenarios)
        console = python.parent / "edgeproof"
        shown = subprocess.run(
            [console, "--version"], cwd=folder, capture_output=True, text=True, timeout=120
        )
        assert shown.returncode == 0
        assert __version__ in shown.stdout


def test_wheel_works_from_any_folder(environment: Callable[..., Path], tmp_path: Path) -> None:
    python = environment("wheel", str(build("wheel", ROOT, tmp_path / "dist")))
    check_everywhere(python, tmp_path)
    assert str(answers(python, ROOT)[4]).startswith(str(python.parent.parent))


def test_wheel_made_from_the_sdist_works(environment: Callable[..., Path], tmp_path: Path) -> None:
    sdist = build("sdist", ROOT, tmp_path / "sdist")
    subprocess.run(["tar", "-xzf", str(sdist), "-C", str(tmp_path)], check=True)
    unpacked = tmp_path / sdist.name.removesuffix(".tar.gz")
    python = environment("sdist", str(build("wheel", unpacked, tmp_path / "dist")))
    check_everywhere(python, tmp_path)


def test_editable_install_works(environment: Callable[..., Path], tmp_path: Path) -> None:
    python = environment("editable", "-e", str(ROOT))
    check_everywhere(python, tmp_path)
    assert Path(str(answers(python, tmp_path)[4])).parent == ROOT / "analog"
