"""An XLSX file, cell by cell: what is a text, and what a spreadsheet may have made of one.

Only cells that hold a text are safe for lots, serials and codes. A number may have lost its leading
zeros, or its last digits beyond fifteen; a date may have been a lot such as JAN12; a power of ten
may have been 1E10. What each looked like is told by the cell's own number format.
"""

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, TypeAlias

import openpyxl

from traceability.domain.scope_draft import Doubt, Doubtful, NotRead
from traceability.exchange.spreadsheet_guard import Outline, Unusable, check_archive, outline
from traceability.exchange.tables import MOST_COLUMNS, Cell, Row, Table
from traceability.exchange.texts import may_be_from_day

__all__ = ["Sheet", "Workbook", "read_workbook"]

MOST_WHOLE: Final = Decimal(10) ** 40
"""From which a number is shown as the power that it is."""
Theirs: TypeAlias = Any
"""Objects of the library: its kinds for reading alone share no type with the others."""
MOST_ROWS: Final = 100_000
MOST_SHEETS: Final = 40
LAST_ROW: Final = 1_048_576
"""Rows of a sheet (2 to the power of 20; from memory)."""
EXACT_DIGITS: Final = 15
"""Digits that a spreadsheet's number keeps (IEEE 754 binary64; 15 always, 17 at most)."""
_FORMAT: Final = re.compile(r'"([^"]*)"|\\(.)|([-/ .()_A-Za-z]|[0#])')
"""Parts of a number's format: quoted text, one escaped sign, or a sign that shows as itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sheet and what is special about it."""

    table: Table
    hidden: bool
    filtered: bool
    cut: bool
    """There are more rows or columns than are read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Workbook:
    """All sheets that hold anything."""

    sheets: tuple[Sheet, ...]


def read_workbook(data: bytes) -> Workbook:
    """Return the sheets of an XLSX file.

    Raises:
        Unusable: the file is broken, locked, too large, or no XLSX.
    """
    archive = check_archive(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of parts that are not read here, such as pictures
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
            return Workbook(sheets=tuple(_sheets(book, archive, data)))
    except Unusable:
        raise
    except Exception:
        raise Unusable("broken") from None


def _sheets(book: Theirs, archive: zipfile.ZipFile, data: bytes) -> Iterator[Sheet]:
    cells = 0
    if len(book.worksheets) > MOST_SHEETS:
        raise Unusable("too-many-sheets", most=MOST_SHEETS)
    values = _Values(data)
    for sheet in book.worksheets:
        with archive.open(sheet._worksheet_path) as stream:
            lines = outline(stream)
        cells += lines.cells
        if cells > 400_000:  # noqa: PLR2004 - as one sheet may hold
            raise Unusable("too-many-cells", most=400_000)
        if not lines.cells:
            continue
        if lines.last_row > LAST_ROW:
            raise Unusable("broken")
        hidden = sheet.sheet_state != "visible"
        rows = list(_rows(sheet, lines, hidden=hidden, values=values))
        if rows:
            table = Table(name=sheet.title, rows=rows, is_sheet=True, merged=tuple(lines.merged))
            cut = len(rows) >= MOST_ROWS or lines.last_column > MOST_COLUMNS
            yield Sheet(table=table, hidden=hidden, filtered=lines.is_filtered, cut=cut)


class _Values:
    """The values that formulas had when the file was saved; opened only if there is a formula."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._book: Any = None
        self._sheet: tuple[str, dict[tuple[int, int], object]] | None = None

    def at(self, sheet: str, row: int, column: int) -> object:
        """Return the saved value of a formula's cell, None if it was not saved."""
        if self._book is None:
            self._book = openpyxl.load_workbook(
                io.BytesIO(self._data), read_only=True, data_only=True, keep_links=False
            )
        if self._sheet is None or self._sheet[0] != sheet:
            found = {}
            self._book[sheet].reset_dimensions()
            for cells in self._book[sheet].iter_rows(max_col=MOST_COLUMNS):
                for cell in cells:
                    if cell.value is not None:
                        found[cell.row, cell.column] = cell.value
            self._sheet = (sheet, found)
        return self._sheet[1].get((row, column))


def _rows(sheet: Theirs, lines: Outline, *, hidden: bool, values: _Values) -> Iterator[Row]:
    covers = _covers(lines)
    hidden_at = {at for at in range(1, MOST_COLUMNS + 1) if lines.hides_column(at)}
    above: dict[tuple[int, int], Cell] = {}
    taken = 0
    sheet.reset_dimensions()  # what a file says of its own size may be less than it holds
    width = min(MOST_COLUMNS, max(lines.last_column, 1))
    for number, cells in enumerate(sheet.iter_rows(max_col=width), start=1):
        if not any(cell.value is not None for cell in cells) and number not in covers:
            continue
        made = [
            _EMPTY if cell.value is None else _cell(cell, sheet.title, number, at, values)
            for at, cell in enumerate(cells, start=1)
        ]
        _spread(made, number, covers.get(number, ()), above)
        for at in hidden_at:
            if at <= len(made) and made[at - 1].text:
                made[at - 1] = _doubted(made[at - 1], Doubt(Doubtful.HIDDEN, "column"))
        while made and made[-1] is _EMPTY:
            made.pop()
        if not made:
            continue
        what = "sheet" if hidden else "row" if number in lines.hidden_rows else ""
        yield Row(number, tuple(made), (Doubt(Doubtful.HIDDEN, what),) if what else ())
        taken += 1
        if taken >= MOST_ROWS:
            return


_EMPTY: Final = Cell("")


def _covers(lines: Outline) -> dict[int, list[tuple[int, int, int, int]]]:
    """Return merged boxes by the rows they cover, cut where they stretch on and on."""
    found: dict[int, list[tuple[int, int, int, int]]] = {}
    left = MOST_ROWS
    for box in lines.merged:
        first, last = box[0], box[1]
        for row in range(first, min(last, first + left) + 1):
            found.setdefault(row, []).append(box)
            left -= 1
        if left <= 0:
            break
    return found


def _spread(
    made: list[Cell],
    number: int,
    boxes: list[tuple[int, int, int, int]] | tuple[()],
    above: dict[tuple[int, int], Cell],
) -> None:
    """Let a merged cell's value stand in every row that it covers, each marked."""
    for box in boxes:
        first, _, column, _ = box
        if column > MOST_COLUMNS:
            continue
        if number == first and column <= len(made):
            above[first, column] = made[column - 1]
        elif (cell := above.get((first, column))) is not None and cell.text:
            made += [_EMPTY] * (column - len(made))
            if not made[column - 1].text:
                made[column - 1] = _doubted(cell, Doubt(Doubtful.MERGED, str(first)))


def _doubted(cell: Cell, doubt: Doubt) -> Cell:
    return Cell(cell.text, (*cell.doubts, doubt), cell.may_be, cell.why, cell.number)


def _cell(cell: Theirs, sheet: str, row: int, column: int, values: _Values) -> Cell:
    value: object = cell.value
    kind = cell.data_type
    if kind == "f":
        formula = str(getattr(value, "text", value))[:60]
        saved = values.at(sheet, row, column)
        if saved is None:
            return Cell(formula, why=NotRead.NO_VALUE)
        return _doubted(_plain(saved, "General"), Doubt(Doubtful.FORMULA, formula))
    if kind == "e":
        return Cell(str(value), why=NotRead.BROKEN_CELL)
    return _plain(value, str(cell.number_format or "General"))


def _plain(value: object, shown_as: str) -> Cell:
    match value:
        case bool():
            return Cell(str(value).upper(), (Doubt(Doubtful.TRUTH),))
        case str():
            return Cell(value.strip(" \t\r\n")[:1000])
        case int() | float() | Decimal():
            return _number(value, shown_as)
        case datetime() | date():
            day = value.date() if isinstance(value, datetime) else value
            whole = not isinstance(value, datetime) or value.time() == time()
            text = day.isoformat() if whole else str(value)
            doubt = Doubt(Doubtful.DATE, shown_as)
            return Cell(text, (doubt,), tuple(may_be_from_day(day)))
        case time() | timedelta():
            return Cell(str(value), (Doubt(Doubtful.DATE, shown_as),))
        case _:
            return Cell(str(value)[:1000], (Doubt(Doubtful.NUMBER),))


def _number(value: int | float | Decimal, shown_as: str) -> Cell:
    exact = Decimal(value)
    whole = exact.is_finite() and exact == exact.to_integral_value() and abs(exact) < MOST_WHOLE
    text = str(int(value)) if whole else repr(value)
    doubts = [Doubt(Doubtful.NUMBER, shown_as if shown_as != "General" else "")]
    may_be: list[str] = []
    digits = text.lstrip("-")
    if whole and len(digits) > EXACT_DIGITS:
        doubts.append(Doubt(Doubtful.PRECISION, str(len(digits))))
    if whole and (shown := _shown(digits, shown_as)):
        may_be.append(shown)
    if whole and len(digits) > 4 and len(bare := digits.rstrip("0")) <= 4:  # noqa: PLR2004 - 1E+10
        power = len(digits) - len(bare)
        doubts.append(Doubt(Doubtful.SCIENTIFIC))
        may_be += [f"{bare}E{power}", f"{bare}E{power:02}"]
    return Cell(text, tuple(doubts), tuple(each for each in may_be if each != text), number=True)


def _shown(digits: str, shown_as: str) -> str:
    """Return how a format such as 00000, 000-0000 or "TA-"0000 shows a number; "" for others."""
    first, at, parts = shown_as.partition(";")[0], 0, []
    while at < len(first):
        found = _FORMAT.match(first, at)
        if found is None:
            return ""
        parts.append(found)
        at = found.end()
    if [part[3] for part in parts].count("0") < 2:  # noqa: PLR2004 - "0" alone is any number
        return ""
    if any(part[3] == "." or (part[3] and part[3].isalpha()) for part in parts):
        return ""  # decimals, powers of ten, dates
    left, out = list(digits), []
    for part in reversed(parts):
        if part[3] in {"0", "#"}:
            out.append(left.pop() if left else "0" if part[3] == "0" else "")
        else:
            out.append(next(each for each in part.groups() if each is not None))
    return "" if left else "".join(reversed(out))
