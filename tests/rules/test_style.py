"""Habits of this project that no linter knows; each names the file and line that breaks it."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Final

TOP: Final = Path(__file__).parents[2]
TEXT: Final = {
    ".py",
    ".md",
    ".toml",
    ".html",
    ".css",
    ".js",
    ".csv",
    ".json",
    ".mako",
    ".txt",
    ".sh",
    "",
}


def _project_files() -> list[Path]:
    """Return what belongs to the project: what git knows, or would with the next `git add`."""
    listed = subprocess.check_output(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=TOP
    )
    names = filter(None, listed.decode().split("\0"))
    return [TOP / name for name in names if (TOP / name).is_file()]


def _lines(pattern: str, files: Iterator[Path] | list[Path]) -> list[str]:
    """Return "file:line: text" for each line of `files` that matches."""
    searched = re.compile(pattern)
    return [
        f"{path.relative_to(TOP)}:{number}: {line.strip()}"
        for path in files
        if path.suffix in TEXT
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if searched.search(line)
    ]


FILES: Final = _project_files()
CODE: Final = [path for path in FILES if path.is_relative_to(TOP / "traceability")]
PYTHON: Final = [path for path in CODE if path.suffix == ".py"]


def test_only_the_clock_asks_the_machine_for_the_time() -> None:
    asks = r"\bdate(time)?\.(now|utcnow|today)\(|\btime\.(time|localtime|gmtime|strftime)\("
    others = [path for path in PYTHON if path.name != "clock.py"]
    assert _lines(asks, others) == []


def test_only_settings_read_the_environment() -> None:
    others = [path for path in PYTHON if path.name != "settings.py"]
    assert _lines(r"os\.(environ|getenv)", others) == []


def test_nothing_waits_for_randomness_of_its_own() -> None:
    """Ids and secrets come from `secrets` or a `new_id` that is passed in, never from `random`."""
    assert _lines(r"^\s*(import random|from random import)", PYTHON) == []


def test_no_file_speaks_of_the_machine_it_was_written_on() -> None:
    here = Path(__file__)
    folders = r"(?<![\w.])/(work|home/\w+|root|Users|opt/pypi)/"
    assert _lines(folders, [path for path in FILES if path != here]) == []


def test_lock_files_name_no_registry() -> None:
    locks = [path for path in FILES if path.name.startswith("requirements")]
    assert len(locks) == 2
    assert _lines(r"://|--(extra-)?index-url|--find-links|--trusted-host", locks) == []


def test_every_locked_package_carries_its_hashes() -> None:
    for path in (path for path in FILES if path.name.startswith("requirements")):
        entries = re.split(r"\n(?=[a-z0-9])", path.read_text(encoding="utf-8"))[1:]
        assert len(entries) > 20
        assert [each.split()[0] for each in entries if "--hash=sha256:" not in each] == []


def test_pages_and_scripts_load_nothing_from_elsewhere() -> None:
    pages = [path for path in CODE if path.suffix in {".html", ".css", ".js"}]
    outside = r"""(src|href|action)=["']?(https?:)?//|url\(["']?(https?:)?//|import .*https?://"""
    assert _lines(outside, pages) == []


def test_pages_hold_no_script_or_style_of_their_own() -> None:
    """The content security policy refuses both, so such a page would half work."""
    pages = [path for path in CODE if path.suffix == ".html"]
    assert _lines(r"<style|\sstyle=|\son[a-z]+=|<script(?![^>]*\ssrc=)", pages) == []


def test_a_module_is_one_subject_and_says_which() -> None:
    texts = {path: path.read_text(encoding="utf-8") for path in PYTHON}
    too_long = [
        str(path)
        for path, text in texts.items()
        if len(text.splitlines()) > 300
        and not path.name.endswith("messages.py")  # tables of sentences
    ]
    assert too_long == [], "split by noun"
    nameless = [str(path) for path, text in texts.items() if not text.startswith('"""')]
    assert nameless == [], "the first line says what a module is for"
