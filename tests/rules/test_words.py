"""What people read: short, plain, imperative; one word a thing; never blaming, never joking.

Source: the project's own rules for words, settled with people of the trade; common practice.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

PACKAGE: Final = Path(__file__).parents[2] / "traceability"
WORDING: Final = (
    "messages.py",
    "reading_messages.py",
    "recall_messages.py",
    "correction_messages.py",
    "stock_messages.py",
    "run_messages.py",
    "shelf_messages.py",
    "moves_messages.py",
    "scanner_messages.py",
    "tag_messages.py",
    "scope_messages.py",
    "scope_row_messages.py",
    "trace_messages.py",
    "drill_messages.py",
    "notice_messages.py",
    "camera_messages.py",
    "step_messages.py",
)
NEVER: Final = {
    r"please|sorry|oops": "says nothing to do",
    r"errors?|invalid|successful(ly)?|failed|failure": "say what is so, and what to do",
    r"click|tap here|press enter": "there is a scanner, a finger, a keyboard or a mouse",
    r"saline|NaCl|ringer'?s": "a fluid is named in full: look-alike bags kill",
    r"expiry date|expiration date": "a part *expires*, a circuit has a *use by*",
    r"batch(es)?": "lot",
    r"no results|none found|nothing found": "say what it means and the first act",
    r"users?|log ?in|log ?out|password": "a person, sign in, sign out, PIN",
}


def _sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and text of all strings with a blank in them that are not docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and id(node) not in said else None
        if isinstance(text, str) and " " in text.strip():
            yield getattr(node, "lineno", 0), text


def _shown(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and text of what a page shows or a reader speaks."""
    text = path.read_text(encoding="utf-8")
    blank = lambda found: re.sub(r"[^\n]", " ", found[0])  # noqa: E731 - lines keep their numbers
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<!--.*?-->", blank, text, flags=re.S)
    spoken = r"""(?:title|alt|aria-label|placeholder|value)="([^"]*)\""""
    for number, line in enumerate(text.splitlines(), start=1):
        yield number, " ".join([re.sub(r"<[^>]*>?|^[^<]*>", " ", line), *re.findall(spoken, line)])


TEXTS: Final = [
    *((PACKAGE / name, _sentences) for name in WORDING),
    *((path, _shown) for path in sorted(PACKAGE.glob("web/templates/**/*.html"))),
]


@pytest.mark.parametrize(("words", "instead"), NEVER.items())
def test_words_that_are_never_said(words: str, instead: str) -> None:
    never = re.compile(rf"\b({words})\b", re.IGNORECASE)
    found = [
        f"{path.name}:{line}: {text.strip()}"
        for path, read in TEXTS
        for line, text in read(path)
        if never.search(text)
    ]
    assert found == [], instead


def test_nobody_is_shouted_at() -> None:
    found = [
        f"{path.name}:{line}: {text.strip()}"
        for path, read in TEXTS
        for line, text in read(path)
        if re.search(r"\w!(\s|$)", text)
    ]
    assert found == []


def test_the_search_sees_what_people_see(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text(
        '<p class="error">Scan {{ user }}\n the tag</p>\n<input name="user" aria-label="Log in">'
    )
    shown = " ".join(text for _, text in _shown(page))
    assert "the tag" in shown
    assert "Log in" in shown
    assert "user" not in shown
    assert "error" not in shown
