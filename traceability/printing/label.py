"""Labels as data: a folder a label, with one readable file, checked when it is loaded.

A hospital adds or changes a label without touching Python. What is wrong is said with the file
and the line, before anything is printed.
"""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final, TypeGuard

from traceability.printing.fonts import FILES

SYMBOLS: Final = ("datamatrix", "qr")
HAIR: Final = 0.001
ALIGNS: Final = ("left", "center", "right")


class WrongLabel(ValueError):
    """A label's file cannot be used; the message names file, line and what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in millimetres from the label's upper left corner."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: "Box") -> bool:
        """Tell whether two boxes share more than a thousandth of a millimetre."""
        return (
            self.x < other.x + other.width - HAIR
            and other.x < self.x + self.width - HAIR
            and self.y < other.y + other.height - HAIR
            and other.y < self.y + self.height - HAIR
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class TextField:
    """Where a text stands, how large, and how small it may become."""

    name: str
    box: Box
    font: str
    size: float
    """Points."""
    least: float
    """Points; a text that does not fit at this size makes the whole tag a plain one."""
    align: str
    lines: int
    """How many lines the text may be broken into."""
    underline_letters: bool
    """A line under letters and none under digits, for what is read character by character."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolField:
    """Where a symbol stands and how large its modules are at least."""

    name: str
    kind: str
    box: Box
    module: float
    """Millimetres; rounded up to whole printer dots, so never smaller than this."""
    quiet: int
    """Modules left free around it."""
    frame: float
    """Millimetres of the frame's line; 0: none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A straight line."""

    box: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label: its size and what stands where."""

    name: str
    width: float
    height: float
    fields: tuple[TextField, ...]
    symbols: tuple[SymbolField, ...]
    rules: tuple[Rule, ...]


def labels_folder() -> Path:
    """Return where labels are: at the top of the project, or inside the installed package."""
    top = Path(__file__).resolve().parents[2] / "labels"
    if top.is_dir():
        return top
    spec = find_spec("traceability")
    if spec is None or not spec.submodule_search_locations:
        raise LookupError("the package is not installed")
    return Path(spec.submodule_search_locations[0]) / "labels"


def load_label(name: str, folder: Path | None = None) -> Label:
    """Return the label of that name.

    Raises:
        WrongLabel: no such label, or its file is not sound.
    """
    path = (folder or labels_folder()) / name / "label.toml"
    try:
        text = path.read_text("utf-8")
        data = tomllib.loads(text)
    except OSError:
        raise WrongLabel(f"{path}: no such label") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise WrongLabel(f"{path}, line {line}: not UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        raise WrongLabel(f"{path}: {error}") from None
    return _Reader(path, text.splitlines()).label(name, data)


KEYS: Final[Mapping[str, frozenset[str]]] = {
    "": frozenset({"width_mm", "height_mm", "field", "symbol", "rule"}),
    "field": frozenset({"name", "box", "font", "size", "least", "align", "lines"})
    | {"underline_letters"},
    "symbol": frozenset({"name", "box", "kind", "module_mm", "quiet_modules", "frame_mm"}),
    "rule": frozenset({"box"}),
}
"""What may be written; a misspelt key would otherwise change nothing without a word."""


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the file: `[[field]]` number 3, or the file's own top (kind "")."""

    kind: str
    index: int
    row: Mapping[str, object]

    @property
    def called(self) -> str:
        name = self.row.get("name")
        return name if isinstance(name, str) and name else self.kind


@dataclass(frozen=True, slots=True)
class _Reader:
    path: Path
    lines: Sequence[str]

    def wrong(self, table: _Table, key: str, what: str) -> WrongLabel:
        """Return the refusal with the line of that key, or of the table's head."""
        heads = [n for n, line in enumerate(self.lines) if re.match(r"\s*\[", line)]
        own = [n for n in heads if re.match(rf"\s*\[\[\s*{table.kind}\s*\]\]", self.lines[n])]
        first = own[table.index] if table.index < len(own) else 0  # inline tables have no head
        last = next((n for n in heads if n > first and table.kind), len(self.lines))
        written = re.compile(rf"\s*(\[+\s*{re.escape(key)}\s*\]|{re.escape(key)}\s*=)")
        at = next((n for n in range(first, last) if written.match(self.lines[n])), first)
        return WrongLabel(f"{self.path}, line {at + 1}: {what}")

    def label(self, name: str, data: Mapping[str, object]) -> Label:
        top = _Table("", 0, data)
        self.require_known(top)
        fields, symbols, rules = (self.tables(top, kind) for kind in ("field", "symbol", "rule"))
        label = Label(
            name=name,
            width=self.number(top, "width_mm", None, least=5, most=1000),
            height=self.number(top, "height_mm", None, least=5, most=1000),
            fields=tuple(self.field(table) for table in fields),
            symbols=tuple(self.symbol(table) for table in symbols),
            rules=tuple(Rule(box=self.box(table)) for table in rules),
        )
        self.require_sound(label, [*fields, *symbols, *rules])
        return label

    def tables(self, top: _Table, kind: str) -> list[_Table]:
        rows = top.row.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.wrong(top, kind, f"write [[{kind}]] above each {kind}")
        found = [_Table(kind, index, row) for index, row in enumerate(rows)]
        for table in found:
            self.require_known(table)
        return found

    def require_known(self, table: _Table) -> None:
        allowed = KEYS[table.kind]
        for key in table.row:
            if key not in allowed:
                known = ", ".join(sorted(allowed))
                raise self.wrong(table, key, f"{key!r} is not known here; known are {known}")

    def named(self, table: _Table) -> str:
        name = table.row.get("name")
        if not isinstance(name, str) or not name:
            raise self.wrong(table, "name", f"a {table.kind} without a name")
        return name

    def box(self, table: _Table) -> Box:
        value = table.row.get("box")
        if not isinstance(value, list) or len(value) != 4 or not all(map(_is_number, value)):  # noqa: PLR2004
            what = "box must be [left, top, width, height] in millimetres"
            raise self.wrong(table, "box", f"{table.called}: {what}")
        x, y, width, height = (float(each) for each in value)
        return Box(x=x, y=y, width=width, height=height)

    def number(
        self,
        table: _Table,
        key: str,
        default: float | None,
        *,
        least: float = 0,
        most: float = 1000,
    ) -> float:
        value = table.row.get(key, default)
        if not _is_number(value) or not least <= value <= most:
            named = f"{table.called}: {key}" if table.kind else key
            raise self.wrong(table, key, f"{named} must be a number, {least:g} to {most:g}")
        return float(value)

    def one_of(self, table: _Table, key: str, allowed: tuple[str, ...], default: str) -> str:
        value = table.row.get(key, default)
        if value not in allowed:
            what = f"{table.called}: {key} must be one of {', '.join(allowed)}"
            raise self.wrong(table, key, what)
        return str(value)

    def field(self, table: _Table) -> TextField:
        size = self.number(table, "size", 10, least=1, most=400)
        underline = table.row.get("underline_letters", False)
        if not isinstance(underline, bool):
            what = f"{table.called}: underline_letters must be true or false"
            raise self.wrong(table, "underline_letters", what)
        return TextField(
            name=self.named(table),
            box=self.box(table),
            font=self.one_of(table, "font", tuple(FILES), "sans"),
            size=size,
            least=self.number(table, "least", size, least=1, most=size),
            align=self.one_of(table, "align", ALIGNS, "left"),
            lines=int(self.number(table, "lines", 1, least=1, most=20)),
            underline_letters=underline,
        )

    def symbol(self, table: _Table) -> SymbolField:
        return SymbolField(
            name=self.named(table),
            kind=self.one_of(table, "kind", SYMBOLS, "datamatrix"),
            box=self.box(table),
            module=self.number(table, "module_mm", 0.5, least=0.1),
            quiet=int(self.number(table, "quiet_modules", 1, least=1, most=20)),
            frame=self.number(table, "frame_mm", 0, most=5),
        )

    def require_sound(self, label: Label, tables: Sequence[_Table]) -> None:
        """Nothing over the edge, nothing over another, no name twice."""
        boxes = [each.box for each in label.fields]
        boxes += [each.box for each in label.symbols]
        boxes += [each.box for each in label.rules]
        for index, (table, box) in enumerate(zip(tables, boxes, strict=True)):
            right, bottom = box.x + box.width, box.y + box.height
            if right > label.width + HAIR or bottom > label.height + HAIR:
                raise self.wrong(table, "box", f"{table.called}: its box goes over the edge")
            for other, earlier in zip(tables[:index], boxes[:index], strict=True):
                if other.kind == table.kind != "rule" and other.called == table.called:
                    raise self.wrong(table, "name", f"{table.called}: this name is taken")
                if box.overlaps(earlier):
                    what = f"{table.called}: its box runs into {other.called}"
                    raise self.wrong(table, "box", what)


def _is_number(value: object) -> TypeGuard[int | float]:
    """Tell whether it is a number of 0 or more; TOML's true, nan and inf are none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    return math.isfinite(value) and value >= 0
