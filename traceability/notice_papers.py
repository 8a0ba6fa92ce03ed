"""What goes out about a notice, as sheets and tables: replies, pick lists, letters, exceptions."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.events import Plain
from traceability.domain.known_rows import KnownRow
from traceability.domain.table_sheets import SheetTable, TableSheet
from traceability.exchange.safe_csv import csv_text
from traceability.notice_messages import (
    SHELVES,
    answer_words,
    coverage_words,
    moment,
    times_words,
)
from traceability.reads.lists import SiteFacts
from traceability.reads.notice_answers import AskingFacts, ReplyFacts
from traceability.reads.notice_tasks import TaskFacts
from traceability.reads.notices import NoticeFacts
from traceability.reads.row_names import RowName

CAUTION: Final = "This record supports the decision. It does not make it."
NOT_COUNTED: Final = "not counted"
NUMBERS: Final = (
    "received",
    "used",
    "discarded",
    "returned",
    "lent",
    "left",
    "on_hold",
    "not_found",
)
REPLY_COLUMNS: Final = (
    "notice",
    "references",
    "as_known_on",
    "entry_number",
    "digest",
    "replied_at",
    "replied_by",
    "product",
    "maker",
    "item_number",
    "lot",
    "known_here",
    *NUMBERS,
    "circuits_looked_at",
    "complete",
    "with_gap",
    "contents_not_recorded",
)


def reply_csv(notice: NoticeFacts, reply: ReplyFacts, asking: AskingFacts) -> str:
    """Return the reply as CSV: one line a lot; without any lot one line that says so."""
    head: dict[str, object] = {
        "notice": notice.number,
        "references": "; ".join(notice.references),
        "as_known_on": _iso(asking.cut_at),
        "entry_number": reply.cut_no,
        "digest": asking.digest,
        "replied_at": _iso(reply.at),
        "replied_by": reply.by,
        "circuits_looked_at": asking.coverage.get("circuits"),
        "complete": asking.coverage.get("complete"),
        "with_gap": asking.coverage.get("with_gap"),
        "contents_not_recorded": asking.coverage.get("unknown"),
    }
    lines = [
        head
        | {name: line.get(name) for name in ("product", "maker", "item_number", "lot")}
        | {"known_here": "yes" if line.get("known") else "no"}
        | {name: NOT_COUNTED if line.get(name) is None else line[name] for name in NUMBERS}
        for line in reply.lines
    ]
    return csv_text(REPLY_COLUMNS, lines or [head | {"product": "nothing of it was ever here"}])


def reply_sheet(
    notice: NoticeFacts,
    reply: ReplyFacts,
    asking: AskingFacts,
    sentences: Sequence[str],
    *,
    site: SiteFacts,
    zone: ZoneInfo,
) -> TableSheet:
    """Return the reply ready for paper; it names no patient."""
    products: dict[str, list[Mapping[str, Plain]]] = {}
    for line in reply.lines:
        products.setdefault(_product(line), []).append(line)
    never = [str(line.get("lot")) for line in reply.lines if not line.get("known")]
    references = f" Your reference: {', '.join(notice.references)}." if notice.references else ""
    return TableSheet(
        unit=f"{site.name}, {site.unit}",
        subject=f"Reply to notice {notice.number}",
        title=notice.title,
        as_known=_known(asking, zone),
        lines=(
            f"Reply of {moment(reply.at, zone)}, by {reply.by.rstrip('.')}.{references}",
            "Asked: " + " Or: ".join(sentences),
            answer_words(asking),
            *coverage_words(asking, zone),
            "A dash: ward stock, which is not counted here. What went into circuits is known.",
            f"Never recorded here: lot {', lot '.join(never)}." if never else "",
        ),
        tables=[_of_product(name, lines) for name, lines in sorted(products.items())]
        or [
            SheetTable(
                name="",
                heads=(),
                widths=(),
                rows=(),
                empty="Nothing that the notice names was ever recorded here.",
            )
        ],
        blanks=("Date", "Name", "Signature"),
        caution=CAUTION,
        foot=f"Answer digest {asking.digest}, reply entry {reply.number}",
        practice=site.practice,
    )


def _product(line: Mapping[str, Plain]) -> str:
    called = " ".join(str(line.get(name) or "") for name in ("product", "item_number")).strip()
    return ", ".join(word for word in (called, str(line.get("maker") or "")) if word)


def _of_product(name: str, lines: Sequence[Mapping[str, Plain]]) -> SheetTable:
    """Return the lots of one product; the column of lots takes 20 letters, as GS1 lots may have."""
    return SheetTable(
        name=name,
        heads=(
            "Lot",
            "Received",
            "Used",
            "Discarded",
            "Returned",
            "Lent",
            "Left",
            "On hold",
            "Not found",
        ),
        widths=(42, 19, 12, 21, 19, 12, 12, 15, 18),
        rows=[
            [
                str(line.get("lot") or "no lot"),
                *("–" if line.get(each) is None else str(line[each]) for each in NUMBERS),
            ]
            for line in lines
        ],
        lots=(0,),
    )


def pick_lines(
    rows: Iterable[KnownRow], names: Mapping[str, RowName]
) -> list[tuple[str, str, str, int, str, bool]]:
    """Return what to fetch: place, product, lot, pieces, shelf, whether on hold; place by place."""
    found = [
        (
            names[row.key].place,
            names[row.key].detail,
            names[row.key].lot,
            row.quantity or 0,
            SHELVES[row.shelf],
            names[row.key].on_hold,
        )
        for row in rows
    ]
    return sorted(found)


def pick_sheet(
    notice: NoticeFacts,
    asking: AskingFacts,
    lines: Sequence[tuple[str, str, str, int, str, bool]],
    *,
    site: SiteFacts,
    zone: ZoneInfo,
) -> TableSheet:
    """Return the pick list by place, with room to write what was found."""
    places = sorted({line[0] for line in lines})
    return TableSheet(
        unit=f"{site.name}, {site.unit}",
        subject=f"Pick list, notice {notice.number}",
        title=f"Fetch and set aside: {notice.title}",
        as_known=_known(asking, zone),
        lines=("Put what you fetch into the quarantine bin. Write down what is there.",),
        tables=[
            SheetTable(
                name=place,
                heads=("Product", "Lot", "By the book", "On this shelf", "On hold", "Found"),
                widths=(46, 42, 20, 30, 14, 18),
                rows=[
                    (product, lot or "no lot", str(pieces), shelf, "yes" if held else "no", "")
                    for where, product, lot, pieces, shelf, held in lines
                    if where == place
                ],
                lots=(1,),
            )
            for place in places
        ]
        or [SheetTable(name="", heads=(), widths=(), rows=(), empty="The book has none in stock.")],
        blanks=("Fetched by", "Date and time", "Second person"),
        caution=CAUTION,
        foot=f"Answer digest {asking.digest}",
        practice=site.practice,
    )


MERGE_COLUMNS: Final = (
    "notice",
    "title",
    "as_known_on",
    "entry_number",
    "runs",
    "circuits",
    "shelf",
    "times",
    "told",
    "patient",
)


def merge_csv(
    notice: NoticeFacts,
    asking: AskingFacts,
    rows: Iterable[KnownRow],
    names: Mapping[str, RowName],
    patients: Mapping[str, str],
    told: Mapping[str, str],
    zone: ZoneInfo,
) -> str:
    """Return one line a patient for letters; `patients` by key, empty for who may not see them."""
    return csv_text(
        MERGE_COLUMNS,
        (
            {
                "notice": notice.number,
                "title": notice.title,
                "as_known_on": _iso(asking.cut_at),
                "entry_number": asking.cut_no,
                "runs": " ".join(names[row.key].runs),
                "circuits": " ".join(names[row.key].circuits),
                "shelf": SHELVES[row.shelf],
                "times": times_words(row, zone),
                "told": told.get(row.key, ""),
                "patient": patients.get(row.key, ""),
            }
            for row in rows
        ),
    )


def told_words(tasks: Iterable[TaskFacts], endings: Mapping[str, str]) -> dict[str, str]:
    """Return how each patient's *inform* ended, by row."""
    return {
        each.key: endings.get(each.ending, "").split(":")[0]
        for each in tasks
        if each.done and each.kind == "inform"
    }


def _known(asking: AskingFacts, zone: ZoneInfo) -> str:
    at = f"{moment(asking.cut_at, zone)}, " if asking.cut_at else ""
    return f"{at}entry {asking.cut_no}"


def _iso(at: datetime | date | None) -> str:
    if isinstance(at, datetime):
        return at.isoformat(timespec="seconds").replace("+00:00", "Z")
    return at.isoformat() if at else ""
