"""Reading a label's file: every finding names the file and the line it stands on."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeGuard

from traceability.printing.barcodes import TYPES
from traceability.printing.fonts import FILES
from traceability.printing.label import (
    HAIR,
    OFFERS,
    Box,
    Label,
    Rule,
    SymbolField,
    TextField,
    WrongLabel,
    labels_folder,
)
from traceability.printing.words import LINE, placeholders

KINDS: Final = tuple(TYPES)
CORRECTIONS: Final = ("L", "M", "Q", "H")
ALIGNS: Final = ("left", "center", "right")
LEAST_POINTS: Final = 5.0
"""No label may let a text shrink below this; common practice, no source."""
POINTS_PER_MM: Final = 72 / 25.4
LONGEST_SIDE_MM: Final = 1000
KEYS: Final = {
    "": {"of", "width_mm", "height_mm", "field", "symbol", "rule"},
    "field": {
        "name", "text", "box", "font", "size", "least", "lines", "align", "underline_letters",
    },
    "symbol": {
        "name", "kind", "box", "module_mm", "quiet_modules", "frame_mm",
        "correction", "most_mm",
    },
    "rule": {"box"},
}  # fmt: skip


def load_label(name: str, folder: Path | None = None) -> Label:
    """Return the label of that name.

    Raises:
        WrongLabel: no such label, or its file is not sound.
    """
    path = (folder or labels_folder()) / name / "label.toml"
    try:
        read = path.read_bytes()
    except OSError:
        raise WrongLabel(f"{path}: no such label") from None
    try:
        text = read.decode("utf-8")
        data = tomllib.loads(text)
    except UnicodeDecodeError as wrong:
        line = read[: wrong.start].count(b"\n") + 1
        raise WrongLabel(f"{path}, line {line}: not a text in UTF-8") from None
    except tomllib.TOMLDecodeError as wrong:
        raise WrongLabel(f"{path}: {wrong}") from None
    return _File(path, text, data).label(name)


@dataclass(frozen=True, slots=True)
class _Table:
    """One table of the file, which one of its kind it is, and the file it stands in."""

    file: "_File"
    kind: str
    index: int
    data: Mapping[str, object]

    def wrong(self, key: str, what: str) -> WrongLabel:
        line = self.file.line(self.kind, self.index, key)
        return WrongLabel(f"{self.file.path}, line {line}: {what}")

    def require_known_keys(self) -> None:
        allowed = KEYS[self.kind]
        for key in self.data:
            if key not in allowed:
                known = ", ".join(sorted(allowed))
                raise self.wrong(key, f"{key} is not known here; known are {known}")

    def text(self, key: str, default: str | None = None) -> str:
        value = self.data.get(key, default)
        if not isinstance(value, str) or not value:
            raise self.wrong(key, f"{key} must be a text between quotes")
        return value

    def one_of(self, key: str, allowed: tuple[str, ...], default: str) -> str:
        value = self.text(key, default)
        if value not in allowed:
            raise self.wrong(key, f"{key} must be one of {', '.join(allowed)}")
        return value

    def number(self, key: str, default: float | None, low: float, high: float) -> float:
        value = self.data.get(key, default)
        if not _is_number(value) or not low <= value <= high:
            raise self.wrong(key, f"{key} must be a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, default: int, low: int, high: int) -> int:
        value = self.number(key, default, low, high)
        if value != int(value):
            raise self.wrong(key, f"{key} must be a whole number from {low} to {high}")
        return int(value)

    def flag(self, key: str) -> bool:
        value = self.data.get(key, False)
        if not isinstance(value, bool):
            raise self.wrong(key, f"{key} must be true or false")
        return value

    def box(self, wide: float, tall: float) -> Box:
        value = self.data.get("box")
        sides = value if isinstance(value, list) else []
        if len(sides) != 4 or not all(_is_number(each) and each >= 0 for each in sides):  # noqa: PLR2004
            raise self.wrong("box", "box must be [left, top, width, height] in millimetres")
        box = Box(x=sides[0], y=sides[1], width=sides[2], height=sides[3])
        if not (box.width > 0 and box.height > 0):
            raise self.wrong("box", "a box without width or height")
        if box.x + box.width > wide + HAIR or box.y + box.height > tall + HAIR:
            raise self.wrong("box", f"the box goes over the edge of {wide:g} x {tall:g} mm")
        return box


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


@dataclass(frozen=True, slots=True)
class _File:
    path: Path
    content: str
    data: Mapping[str, object]

    def line(self, kind: str, index: int, key: str) -> int:
        """Return the line of a key in the `index`th table of a kind, else the table's own."""
        now, seen, at = "", {"": 0}, 1
        for number, line in enumerate(self.content.splitlines(), start=1):
            if header := re.match(r"\s*\[+\s*([\w-]+)\s*\]+", line):
                now = header[1]
                if kind == "" and now == key:
                    return number
                seen[now] = seen.get(now, -1) + 1
                at = number if (now, seen[now]) == (kind, index) else at
            elif (now, seen[now]) == (kind, index) and re.match(rf"\s*\"?{key}\"?\s*=", line):
                return number
        return at

    def tables(self, kind: str) -> list[_Table]:
        rows = self.data.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise _Table(self, "", 0, self.data).wrong(kind, f"write [[{kind}]] above each {kind}")
        found = [_Table(self, kind, index, row) for index, row in enumerate(rows)]
        for table in found:
            table.require_known_keys()
        return found

    def label(self, name: str) -> Label:
        top = _Table(self, "", 0, self.data)
        top.require_known_keys()
        wide = top.number("width_mm", None, 5, LONGEST_SIDE_MM)
        tall = top.number("height_mm", None, 5, LONGEST_SIDE_MM)
        of = top.one_of("of", tuple(OFFERS), "")
        fields, symbols = self.tables("field"), self.tables("symbol")
        label = Label(
            name=name,
            of=of,
            width=wide,
            height=tall,
            fields=tuple(_field(each, of, wide, tall) for each in fields),
            symbols=tuple(_symbol(each, of, wide, tall) for each in symbols),
            rules=tuple(Rule(box=each.box(wide, tall)) for each in self.tables("rule")),
        )
        self.require_nothing_overlaps(label)
        said = {name for field in label.fields for name in placeholders(field.text)}
        if missing := OFFERS[of].needed - said:
            raise top.wrong("of", f"a label of a {of} must say {', '.join(sorted(missing))}")
        return label

    def require_nothing_overlaps(self, label: Label) -> None:
        placed: list[tuple[str, Box]] = []
        things = [
            *(("field", index, each.name, each.box) for index, each in enumerate(label.fields)),
            *(("symbol", index, each.name, each.box) for index, each in enumerate(label.symbols)),
            *(("rule", index, "the line", each.box) for index, each in enumerate(label.rules)),
        ]
        for kind, index, name, box in things:
            for other, other_box in placed:
                if box.overlaps(other_box):
                    table = _Table(self, kind, index, {})
                    raise table.wrong("box", f"{name} runs into {other}")
            placed.append((name, box))


def _field(table: _Table, of: str, wide: float, tall: float) -> TextField:
    name, offered = table.text("name"), OFFERS[of].facts
    text, key = table.text("text", f"{{{name}}}"), "text" if "text" in table.data else "name"
    for fact in placeholders(text):
        if fact not in offered:
            said = ", ".join(sorted(offered))
            raise table.wrong(key, f"{fact} is nothing that a {of} says; it says {said}")
    box = table.box(wide, tall)
    size = table.number("size", 10, LEAST_POINTS, 200)
    least = table.number("least", size, LEAST_POINTS, size)
    if least * LINE > box.height * POINTS_PER_MM + HAIR:
        needs = least * LINE / POINTS_PER_MM
        raise table.wrong("box", f"the box must be {needs:.2f} mm high for a line of {least:g} pt")
    return TextField(
        name=name,
        text=text,
        box=box,
        font=table.one_of("font", tuple(FILES), "sans"),
        size=size,
        least=least,
        lines=table.whole("lines", 1, 1, 100),
        align=table.one_of("align", ALIGNS, "left"),
        underline_letters=table.flag("underline_letters"),
    )


def _symbol(table: _Table, of: str, wide: float, tall: float) -> SymbolField:
    kind = table.one_of("kind", KINDS, "datamatrix")
    type_ = TYPES[kind]
    return SymbolField(
        name=table.one_of("name", tuple(sorted(OFFERS[of].symbols)), ""),
        kind=kind,
        box=table.box(wide, tall),
        module=table.number("module_mm", None, type_.least_mm, 20),
        quiet=table.whole("quiet_modules", type_.quiet, type_.quiet, 50),
        frame=table.number("frame_mm", 0, 0, 5),
        correction=table.one_of("correction", CORRECTIONS, "M"),
        most=table.number("most_mm", 0, 0, 20),
    )
