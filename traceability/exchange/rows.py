"""Rows of a table -> what they say of the scope, every one of them."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from traceability.domain.notice_scope import ProductRef, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning, NotRead
from traceability.exchange.codes import product_code
from traceability.exchange.headings import Column, heading_of
from traceability.exchange.lines import named_entries
from traceability.exchange.lot_words import Named, is_label, named_in, range_of
from traceability.exchange.tables import Cell, Row, Table

__all__ = ["entries_of"]

PRODUCT_COLUMNS: Final = (Column.CODE, Column.ITEM, Column.MAKER)
SAID_BESIDE: Final = (Column.NAME, Column.EXPIRES, Column.MADE, Column.QUANTITY)


def entries_of(
    table: Table,
    columns: Sequence[Column | None],
    *,
    after: int,
    guessed: bool,
    today: date,
    maker: str = "",
) -> Iterator[Entry]:
    """Yield what the rows of a table say.

    Args:
        table: all its rows, headings too.
        columns: what each column means.
        after: index of the first row below the heading.
        guessed: the columns' meaning was guessed, so that every row needs a person's word.
        today: for the dates in codes.
        maker: of items whose row names none.
    """
    for row in table.rows[: max(after - 1, 0)]:
        given = _joined(row)
        if given:
            yield Entry(place=table.place(row.number), given=given, why=NotRead.BEFORE_HEADING)
    if after:
        heading = table.rows[after - 1]
        yield Entry(place=table.place(heading.number), given=_joined(heading), heading=True)
    reader = _Rows(table, columns, guessed=guessed, today=today, maker=maker)
    for row in table.rows[after:]:
        yield from reader.entries(row)


def _joined(row: Row) -> str:
    return "  ".join(cell.text for cell in row.cells if cell.text)[:300]


class _Rows:
    """Reads row after row; remembers the product that stands above."""

    def __init__(
        self,
        table: Table,
        columns: Sequence[Column | None],
        *,
        guessed: bool,
        today: date,
        maker: str,
    ) -> None:
        self._table, self._today, self._maker = table, today, maker
        self._at: dict[Column, int] = {}
        for index, column in enumerate(columns):
            if column is not None:
                self._at.setdefault(column, index)
        self._guessed = (Doubt(Doubtful.COLUMN),) if guessed else ()
        self._above: dict[Column, Cell] = {}
        self._codes: dict[str, tuple[tuple[ProductRef, ...], tuple[Doubt, ...], bool]] = {}
        self._names_products = any(column in self._at for column in PRODUCT_COLUMNS)

    def _cell(self, row: Row, column: Column) -> Cell | None:
        index = self._at.get(column)
        return row.cells[index] if index is not None and index < len(row.cells) else None

    def _place(self, row: Row, column: Column) -> str:
        return self._table.place(row.number, self._at[column] + 1)

    def entries(self, row: Row) -> Iterator[Entry]:
        """Yield what one row says."""
        given = _joined(row)
        if not given and not any(cell.why for cell in row.cells):
            return
        if self._repeats_heading(row):
            yield Entry(place=self._table.place(row.number), given=given, heading=True)
            return
        products, doubts, why = self._product(row)
        if why is not None:
            yield Entry(place=self._table.place(row.number), given=given, why=why)
            return
        # A row may span lines of a saved table; its doubts hold for all it says.
        doubts = (*self._guessed, *row.doubts, *doubts)
        beside = self._beside(row)
        named = list(self._units(row, products, doubts, beside))
        yield from named
        if named:
            return
        place = self._table.place(row.number)
        if not self._speaks_of_units() and any(products):
            every = (*doubts, Doubt(Doubtful.EVERY))
            meanings = tuple(Meaning(product=each) for each in products)
            yield Entry(place=place, given=given, meanings=meanings, doubts=every, beside=beside)
        else:
            yield Entry(place=place, given=given, why=NotRead.NO_LOT)

    def _units(
        self,
        row: Row,
        products: Sequence[ProductRef | None],
        doubts: tuple[Doubt, ...],
        beside: str,
    ) -> Iterator[Entry]:
        found = False
        for column in (Column.SERIAL, Column.LOT):
            cell = self._cell(row, column)
            if cell is None or not (cell.text or cell.why) or (found and column is Column.LOT):
                continue
            found = True
            if column is Column.SERIAL and (lot := self._cell(row, Column.LOT)) and lot.text:
                beside = f"lot {lot.text}" + (f", {beside}" if beside else "")
            yield from self._said(row, column, cell, products, doubts, beside)
        for first, last in (
            (Column.LOT_FROM, Column.LOT_TO),
            (Column.SERIAL_FROM, Column.SERIAL_TO),
        ):
            ends = [self._cell(row, each) for each in (first, last)]
            if any(cell is not None and cell.text for cell in ends):
                yield self._range(row, first, last, products, doubts, beside)

    def _speaks_of_units(self) -> bool:
        units = {Column.LOT, Column.SERIAL, Column.LOT_FROM, Column.LOT_TO, Column.SERIAL_FROM}
        return bool(units & self._at.keys())

    def _repeats_heading(self, row: Row) -> bool:
        said = [
            (column, heading_of(row.cells[at].text))
            for column, at in self._at.items()
            if at < len(row.cells)
        ]
        return any(had is column for column, had in said) and all(
            had is column or not self._cell_text(row, column) for column, had in said
        )

    def _cell_text(self, row: Row, column: Column) -> str:
        cell = self._cell(row, column)
        return cell.text if cell else ""

    def _said(
        self,
        row: Row,
        column: Column,
        cell: Cell,
        products: Sequence[ProductRef | None],
        doubts: tuple[Doubt, ...],
        beside: str,
    ) -> Iterator[Entry]:
        place, serials = self._place(row, column), column is Column.SERIAL
        if cell.why is not None:
            yield Entry(place=place, given=cell.text, why=cell.why)
            return
        named = named_in(cell.text, serials=serials)
        if cell.doubts:
            # What is not a text as it stands is one lot, whatever it looks like.
            named = iter([_of_cell(cell, serials=serials)])
        yield from named_entries(
            place,
            cell.text,
            named,
            products=products,
            doubts=doubts,
            beside=beside,
            many=not cell.doubts,
        )

    def _range(
        self,
        row: Row,
        first: Column,
        last: Column,
        products: Sequence[ProductRef | None],
        doubts: tuple[Doubt, ...],
        beside: str,
    ) -> Entry:
        ends = [self._cell(row, first), self._cell(row, last)]
        texts = [cell.text or None if cell else None for cell in ends]
        given = " to ".join(text or "…" for text in texts)
        serials = first is Column.SERIAL_FROM
        named = range_of(given, texts[0], texts[1], serials=serials)
        more = tuple(doubt for cell in ends if cell for doubt in cell.doubts)
        place = self._place(row, first if first in self._at else last)
        return next(
            named_entries(
                place,
                given,
                iter([named]),
                products=products,
                doubts=(*doubts, *more),
                beside=beside,
            )
        )

    def _product(
        self, row: Row
    ) -> tuple[Sequence[ProductRef | None], tuple[Doubt, ...], NotRead | None]:
        """Return the row's product as it may be read; (None,) for the one the whole list is of."""
        if not self._names_products:
            return (None,), (), None
        cells = {each: self._cell(row, each) for each in PRODUCT_COLUMNS}
        filled: tuple[Doubt, ...] = ()
        if not any(cell and cell.text for cell in cells.values()):
            cells.update(self._above)
            filled = (Doubt(Doubtful.FILLED_DOWN),) if self._above else ()
        else:
            self._above = {each: cell for each, cell in cells.items() if cell is not None}
        item, maker = (
            cell.text if (cell := cells.get(each)) else "" for each in (Column.ITEM, Column.MAKER)
        )
        maker = maker or self._maker
        doubts = tuple(d for cell in cells.values() if cell and cell.text for d in cell.doubts)
        code = cells.get(Column.CODE)
        name = self._cell_text(row, Column.NAME)[:200]
        if code and code.text:
            refs, more, private = self._code(code.text)
            if private:
                return (None,), (), NotRead.PRIVATE
            if refs:
                # A GTIN proves itself by its check digit, whatever the cell did to its zeros.
                kept = (
                    tuple(d for d in doubts if d.code is not Doubtful.NUMBER)
                    if not item
                    else doubts
                )
                named = [replace(ref, maker=maker, item_number=item, name=name) for ref in refs]
                return named, (*filled, *kept, *more), None
            if not (item and maker):
                return (None,), (), NotRead.CODE
        if item and maker:
            return [ProductRef(maker=maker, item_number=item, name=name)], (*filled, *doubts), None
        return (None,), (*filled, *doubts), NotRead.NO_MAKER if item else None

    def _code(self, text: str) -> tuple[tuple[ProductRef, ...], tuple[Doubt, ...], bool]:
        if text not in self._codes:
            read = product_code(text, today=self._today)
            self._codes[text] = (read.products, read.doubts, read.private)
        return self._codes[text]

    def _beside(self, row: Row) -> str:
        said = ((str(each), self._cell_text(row, each)) for each in SAID_BESIDE if each in self._at)
        return ", ".join(f"{word} {text}" for word, text in said if text)[:200]


def _of_cell(cell: Cell, *, serials: bool) -> Named:
    (first, *_) = named_in(cell.text, serials=serials) if not is_label(cell.text) else (None,)
    if first is None or not first.tests or first.tests[0] is None:
        return Named(given=cell.text, why=NotRead.WORDS)
    kind = first.tests[0].kind
    tests = (first.tests[0], *(ScopeTest(kind=kind, texts=(text,)) for text in cell.may_be))
    return Named(given=cell.text, tests=tuple(dict.fromkeys(tests)), doubts=cell.doubts)
