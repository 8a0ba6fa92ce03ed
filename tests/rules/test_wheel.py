"""The package as others install it: all it needs comes along, and it works away from here."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Final

import pytest

TOP: Final = Path(__file__).parents[2]
NOT_CODE: Final = {".csv", ".html", ".css", ".js", ".svg", ".toml", ".mako"}


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which an installed wheel lies."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=TOP, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    return folder / "site"


def test_all_files_of_the_package_come_along(installed: Path) -> None:
    listed = subprocess.check_output(
        ["git", "ls-files", "traceability", "labels"], cwd=TOP, text=True
    )
    wanted = [
        name if name.startswith("traceability/") else f"traceability/{name}"
        for name in listed.splitlines()
        if (TOP / name).suffix in {".py", *NOT_CODE}
    ]
    assert [name for name in wanted if not (installed / name).exists()] == []


def test_it_makes_a_store_away_from_the_project(installed: Path, tmp_path: Path) -> None:
    environment = {"PATH": os.environ["PATH"], "PYTHONPATH": str(installed)}

    def _run(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "traceability", *arguments]
        return subprocess.run(
            command, cwd=tmp_path, env=environment, check=False, capture_output=True, text=True
        )

    assert _run("migrate").returncode == 0
    assert (
        _run("site", "new", "Norrvik Sound Hospital", "--unit", "ICU", "--ring", "1").returncode
        == 0
    )
    assert "is whole" in _run("verify").stdout


def test_it_carries_its_licence_and_its_version(installed: Path) -> None:
    (facts,) = installed.glob("*.dist-info")
    assert (facts / "licenses" / "LICENSE").exists()
    said = subprocess.check_output(
        [sys.executable, "-m", "traceability", "--version"],
        env={"PYTHONPATH": str(installed)},
        cwd="/",
        text=True,
    )
    assert said.split()[-1] in facts.name
