"""Who may import whom, beyond what the layers contract in pyproject.toml says.

The rooms are read from the package, so that a new module is under the rules from its first day.
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import grimp
import pytest

PACKAGE: Final = Path(__file__).parents[2] / "traceability"
EDGE: Final = {"web", "api", "cli"}
PURE: Final = ("identifiers", "domain")
WRITERS: Final = {"actions", "security", "storage"}
WRITING_CALLS: Final = {"add", "add_all", "begin", "commit", "delete", "insert", "merge", "update"}
"""Of a Session, an Engine or SQLAlchemy Core; asked for where their objects are used."""

WHOLE_STORE: Final = {"traceability.storage.migrate", "traceability.storage.upkeep"}
"""What commands may know: they answer with numbers and names, never with rows."""

GRAPH = grimp.build_graph("traceability", include_external_packages=True)


def _modules(room: str) -> Iterator[str]:
    name = f"traceability.{room}"
    return (each for each in GRAPH.modules if each == name or each.startswith(f"{name}."))


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


ROOMS: Final = sorted({_room(path) for path in PACKAGE.rglob("*.py")} - {"__init__", "__main__"})
INNER: Final = [room for room in ROOMS if room not in EDGE]


@pytest.mark.parametrize("foreign", ["sqlalchemy", "flask", "pydantic", "click"])
@pytest.mark.parametrize("room", PURE)
def test_pure_rooms_reach_no_framework_by_any_way(room: str, foreign: str) -> None:
    if foreign in GRAPH.modules:
        ways = [GRAPH.find_shortest_chain(module, foreign) for module in _modules(room)]
        assert [way for way in ways if way] == []


def test_identifiers_could_be_a_package_of_its_own() -> None:
    for module in _modules("identifiers"):
        used = GRAPH.find_modules_directly_imported_by(module)
        foreign = {name for name in used if not name.startswith("traceability.identifiers")}
        assert {name.split(".")[0] for name in foreign} <= sys.stdlib_module_names, module


@pytest.mark.parametrize("room", INNER)
def test_flask_stays_at_the_edge(room: str) -> None:
    outside = {"flask", "werkzeug", "waitress"}
    for module in _modules(room):
        assert not outside & GRAPH.find_modules_directly_imported_by(module), module


@pytest.mark.parametrize("room", sorted(EDGE | {"exchange", "printing", "imaging"}))
def test_only_inner_rooms_know_tables(room: str) -> None:
    for module in _modules(room):
        known = GRAPH.find_modules_directly_imported_by(module)
        tables = {name for name in known if name.startswith("traceability.storage")}
        assert tables <= (WHOLE_STORE if room == "cli" else set()), module


@pytest.mark.parametrize("room", [room for room in ROOMS if room not in WRITERS])
def test_only_actions_write(room: str) -> None:
    places = [path for path in PACKAGE.rglob("*.py") if _room(path) == room]
    assert [each for path in places for each in _writes(path)] == []


def _writes(path: Path) -> Iterator[str]:
    """Yield calls that could write to a database, as "file:line call"."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sqlalchemy"):
            for name in node.names:
                if name.name in {"insert", "update", "delete", "text"}:
                    yield f"{path.name}:{node.lineno} imports {name.name}"
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            of, called = ast.unparse(node.func.value), node.func.attr
            if called in WRITING_CALLS and _is_database(of):
                yield f"{path.name}:{node.lineno} {of}.{called}()"


def _is_database(expression: str) -> bool:
    last = expression.rsplit(".", 1)[-1].removesuffix("()")
    return last in {"session", "sessions", "writes", "writer", "connection", "engine"}


def test_the_search_for_writes_finds_them(tmp_path: Path) -> None:
    planted = tmp_path / "planted.py"
    planted.write_text(
        "from sqlalchemy import insert\n"
        "def f(services, session):\n"
        "    with services.writes.begin() as s: pass\n"
        "    session.add(1)\n"
        "    seen = set(); seen.add(2)\n"
    )
    assert len(list(_writes(planted))) == 3
