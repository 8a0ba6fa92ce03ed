"""Labels as data: a folder a label, with one readable file, checked when it is loaded.

A hospital adds or changes a label without touching Python. What is wrong is said with the file
and the line, before anything is printed.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

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
    except tomllib.TOMLDecodeError as error:
        raise WrongLabel(f"{path}: {error}") from None
    return _Reader(path, text).label(name, data)


@dataclass(frozen=True, slots=True)
class _Reader:
    path: Path
    text: str

    def wrong(self, near: str, what: str) -> WrongLabel:
        """Return the refusal with the line on which `near` stands."""
        lines = self.text.splitlines()
        line = next((n for n, each in enumerate(lines, start=1) if near in each), 1)
        return WrongLabel(f"{self.path}, line {line}: {what}")

    def label(self, name: str, data: Mapping[str, object]) -> Label:
        width, height = self.size(data, "width_mm"), self.size(data, "height_mm")
        label = Label(
            name=name,
            width=width,
            height=height,
            fields=tuple(self.field(row) for row in self.tables(data, "field")),
            symbols=tuple(self.symbol(row) for row in self.tables(data, "symbol")),
            rules=tuple(Rule(box=self.box(row, "rule")) for row in self.tables(data, "rule")),
        )
        self.require_sound(label)
        return label

    def size(self, data: Mapping[str, object], key: str) -> float:
        value = data.get(key)
        if not isinstance(value, (int, float)) or not 5 <= value <= 1000:  # noqa: PLR2004
            raise self.wrong(key, f"{key} must be a number of millimetres, 5 to 1000")
        return float(value)

    def tables(self, data: Mapping[str, object], key: str) -> list[Mapping[str, object]]:
        rows = data.get(key, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.wrong(key, f"write [[{key}]] above each {key}")
        return rows

    def named(self, row: Mapping[str, object], what: str) -> str:
        name = row.get("name")
        if not isinstance(name, str) or not name:
            raise self.wrong(f"[[{what}]]", f"a {what} without a name")
        return name

    def box(self, row: Mapping[str, object], near: str) -> Box:
        value = row.get("box")
        if (
            not isinstance(value, list)
            or len(value) != 4  # noqa: PLR2004
            or not all(isinstance(each, (int, float)) and each >= 0 for each in value)
        ):
            raise self.wrong(near, f"{near}: box must be [left, top, width, height] in millimetres")
        x, y, width, height = (float(each) for each in value)
        return Box(x=x, y=y, width=width, height=height)

    def number(self, row: Mapping[str, object], key: str, near: str, default: float) -> float:
        value = row.get(key, default)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value < 0:
            raise self.wrong(near, f"{near}: {key} must be a number")
        return float(value)

    def one_of(
        self, row: Mapping[str, object], key: str, near: str, allowed: tuple[str, ...], default: str
    ) -> str:
        value = row.get(key, default)
        if value not in allowed:
            raise self.wrong(near, f"{near}: {key} must be one of {', '.join(allowed)}")
        return str(value)

    def field(self, row: Mapping[str, object]) -> TextField:
        name = self.named(row, "field")
        size = self.number(row, "size", name, 10)
        least = self.number(row, "least", name, size)
        if not 0 < least <= size:
            raise self.wrong(name, f"{name}: least must be above 0 and no more than size")
        return TextField(
            name=name,
            box=self.box(row, name),
            font=self.one_of(row, "font", name, tuple(FILES), "sans"),
            size=size,
            least=least,
            align=self.one_of(row, "align", name, ALIGNS, "left"),
            underline_letters=row.get("underline_letters") is True,
        )

    def symbol(self, row: Mapping[str, object]) -> SymbolField:
        name = self.named(row, "symbol")
        return SymbolField(
            name=name,
            kind=self.one_of(row, "kind", name, SYMBOLS, "datamatrix"),
            box=self.box(row, name),
            module=self.number(row, "module_mm", name, 0.5),
            quiet=int(self.number(row, "quiet_modules", name, 1)),
            frame=self.number(row, "frame_mm", name, 0),
        )

    def require_sound(self, label: Label) -> None:
        page = Box(x=0, y=0, width=label.width, height=label.height)
        boxes = [(field.name, field.box) for field in label.fields]
        boxes += [(symbol.name, symbol.box) for symbol in label.symbols]
        for index, (name, box) in enumerate(boxes):
            inside = (
                box.x + box.width <= page.width + HAIR and box.y + box.height <= page.height + HAIR
            )
            if not inside:
                raise self.wrong(f'"{name}"', f"{name}: its box goes over the edge")
            for other_name, other in boxes[:index]:
                if box.overlaps(other):
                    raise self.wrong(f'"{name}"', f"{name}: its box runs into {other_name}")
