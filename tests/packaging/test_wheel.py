"""The wheel: built from the sdist, installed away from the checkout, it is all that is needed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tarfile
import urllib.request
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOT_IMPORTABLE = ("pipeline", "dashboard", "schemas", "demo_logs", "tests")


def built(source: Path, target: str, to: Path) -> Path:
    command = [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", to]
    subprocess.run(command, cwd=source, check=True, capture_output=True)
    (made,) = to.iterdir()
    return made


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(ROOT, "sdist", tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def wheel(sdist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    source = tmp_path_factory.mktemp("source")
    with tarfile.open(sdist) as archive:
        archive.extractall(source, filter="data")
    (unpacked,) = source.iterdir()
    return built(unpacked, "wheel", tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def elsewhere(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that the wheel alone was installed to."""
    folder = tmp_path_factory.mktemp("elsewhere")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"]
    subprocess.run(
        [*pip, "--no-compile", "--target", folder / "site", wheel], check=True, capture_output=True
    )
    return folder


@pytest.fixture(scope="module")
def python(elsewhere: Path) -> list[str | Path]:
    """A Python that sees what was installed, and of the checkout nothing.

    The libraries are those that the tests run with, found by path, so that the editable install
    beside them, which a .pth file announces, is not.
    """
    libraries = next(path for path in sys.path if path.endswith("site-packages"))
    start = f"import sys; sys.path += [{str(elsewhere / 'site')!r}, {libraries!r}]; "
    return [sys.executable, "-I", "-S", "-c", start]


def say(python: list[str | Path], code: str, folder: Path, *words: str | Path) -> str:
    command = [*python[:-1], f"{python[-1]}{code}", *words]
    done = subprocess.run(
        command, cwd=folder, env=clean(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def clean() -> dict[str, str]:
    return {name: text for name, text in os.environ.items() if not name.startswith("PYTHON")}


def test_it_holds_all_that_runs_and_nothing_that_only_makes_it(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    tops = {name.split("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {
        "babbitt",
        "babbitt_dashboard",
    }
    for package, source in (("babbitt", "pipeline"), ("babbitt_dashboard", "dashboard")):
        here = ROOT / source
        wanted = {
            path.relative_to(here).as_posix()
            for path in (here / package).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert {f"{package}/py.typed"} <= wanted <= names
    made_by = {*ROOT.glob("demo_logs/*.py"), *ROOT.glob("*/__pycache__/*")}
    for data in (*ROOT.glob("schemas/**/*"), *ROOT.glob("demo_logs/**/*")):
        if data.is_file() and data not in made_by:
            assert f"babbitt/{data.relative_to(ROOT).as_posix()}" in names
    assert any(re.fullmatch(r"babbitt-[^/]*\.dist-info/licenses/LICENSE", name) for name in names)
    assert not [name for name in names if re.search(r"demo_logs/.*\.py|(^|/)tests?(/|_)", name)]


def test_the_sdist_has_the_sources_and_no_leftovers(sdist: Path) -> None:
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"LICENSE", "README.md", "pyproject.toml", "pipeline/babbitt/__init__.py"} <= names
    assert not [name for name in names if "__pycache__" in name or name.startswith(".venv")]


def test_nothing_else_of_ours_can_be_imported(python: list[str | Path], elsewhere: Path) -> None:
    code = (
        "import babbitt, importlib.util as u; print(babbitt.__file__); "
        f"print([n for n in {NOT_IMPORTABLE!r} if u.find_spec(n)])"
    )
    file, found = say(python, code, elsewhere).splitlines()
    assert Path(file).is_relative_to(elsewhere)
    assert found == "[]"


def test_the_demo_runs_and_its_pages_are_served(
    python: list[str | Path], elsewhere: Path, tmp_path: Path
) -> None:
    script = elsewhere / "site" / "bin" / "babbitt"
    command = f"import runpy; runpy.run_path({str(script)!r}, run_name='__main__')"
    say(python, command, tmp_path, "demo", "book")
    code = "import babbitt as bb; print(len(bb.open_logbook('book').events()))"
    assert int(say(python, code, tmp_path)) > 10
    serve = [*python[:-1], f"{python[-1]}{command}", "--logbook", "book", "serve", "--port", "0"]
    with subprocess.Popen(
        serve, cwd=tmp_path, env=clean(), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as serving:
        try:
            assert serving.stdout is not None
            found = re.search(r"http://127\.0\.0\.1:\d+", serving.stdout.readline().decode())
            assert found
            with urllib.request.urlopen(found[0], timeout=30) as answer:
                page = answer.read().decode()
            styles = re.findall(r'/assets/[^"?]+\.css', page)
            assert styles
            with urllib.request.urlopen(found[0] + styles[0], timeout=30) as answer:
                assert answer.status == 200
            serving.send_signal(signal.SIGINT)
            serving.communicate(timeout=30)
        finally:
            serving.kill()
    assert serving.returncode == 0
