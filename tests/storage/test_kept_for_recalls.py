"""Counters, lists and free units that answers read instead of counting: as good as counting.

Stories of real acts, with what people set right afterwards, on both databases; and the step that
brings them to a store that was filled before.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any, Final
from uuid import UUID

import pytest
from sqlalchemy import create_engine, select
from sqlalchemy.orm import Session

from tests.corrections.mended import Mended
from tests.make import TAP, Ward, code, opened_ward
from tests.recall.asking import key
from tests.recall.story import LOTS, OTHER_TAP, fill_ward
from tests.stock_acts import Shelves
from traceability.domain.free_units import Free
from traceability.errors import Refused
from traceability.recall import coverage
from traceability.recall.coverage import counted_parts, parts_on_record
from traceability.recall.cut import cut_at
from traceability.storage.circuits import Part
from traceability.storage.ledger import LedgerHead
from traceability.storage.metadata import metadata
from traceability.storage.migrate import downgrade, upgrade
from traceability.storage.part_counts import UnitSeen
from traceability.storage.projections import counting
from traceability.storage.rebuild import rebuild
from traceability.storage.run_extras import RunPart
from traceability.storage.stock import LotBook
from traceability.storage.stock_free import free_of, kept_free, reckoned

STEPS: Final = 60
LOOKS: Final = 4
BLOCK: Final = 16
"""Ledger numbers of a block in these tests: a story fills many."""

GTINS: Final = (TAP, OTHER_TAP)

TABLES: Final[tuple[Any, ...]] = (Part, RunPart)

Known = dict[tuple[UUID, UUID], Free]


@dataclass
class Stocked:
    """A story in which people also keep the shelves of two taps."""

    ward: Ward
    seed: int

    def __post_init__(self) -> None:
        """Prepare; the shelves are full when it begins."""
        fill_ward(self.ward)
        self.dice = Random(self.seed)  # noqa: S311 - the same story for the same seed
        self.story = Mended(self.ward, self.seed)
        self.shelves = Shelves(self.ward)
        self.done: Counter[str] = Counter()
        for gtin in GTINS:
            for lot in LOTS[:3]:
                self.shelves.receive(code(gtin, lot), packs=6)
        self.ward.now += timedelta(minutes=5)

    def go(self) -> None:
        """Let one thing happen; more often at the trolley than at the shelves."""
        if self.dice.random() < 0.7:
            self.story.live(self.dice, 3)
            return
        act = self.dice.choice(("receive", "receive_late", "count", "move", "out"))
        gtin, lot = self.dice.choice(GTINS), self.dice.choice(LOTS)
        self.ward.now += timedelta(minutes=self.dice.choice([0, 1, 60]))
        try:
            match act:
                case "receive":
                    self.shelves.receive(code(gtin, lot), packs=self.dice.randrange(1, 5))
                case "receive_late":
                    then = self.ward.now - timedelta(hours=self.dice.randrange(1, 30))
                    self.shelves.receive(code(gtin, lot), packs=2, at=then)
                case "count":
                    self.shelves.count(gtin, (lot, "trolley 1", self.dice.randrange(5)))
                case "move":
                    self.shelves.move(gtin, lot, 1, "trolley 1", "box 3")
                case _:
                    self.shelves.out(gtin, lot, 1, "trolley 1")
        except Refused:
            return
        self.done[act] += 1


@pytest.mark.parametrize("seed", range(2))
def test_what_is_kept_is_what_counting_says_now_and_as_of_any_entry(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    for module in (counting, coverage):
        monkeypatch.setattr(module, "BLOCK", BLOCK)
    with opened_ward(url, tmp_path) as ward:
        story = Stocked(ward, seed)
        then: list[tuple[int, Known]] = []
        for step in range(STEPS):
            story.go()
            if step % (STEPS // LOOKS) == STEPS // LOOKS - 1:
                with ward.reads() as session:
                    _free_is_kept(session, ward)
                    then.append((_newest(session), _free(session, ward, None)))
        with ward.reads() as session:
            newest = _newest(session)
            numbers = {1, newest, *story.dice.sample(range(1, newest), 12)}
            for number in sorted(numbers | {BLOCK, BLOCK - 1, newest // BLOCK * BLOCK}):
                _counts_agree(session, number)
            _every_piece_is_seen(session)
            assert newest > 4 * BLOCK
            for number, known in then:
                assert _free(session, ward, number) == known, number
            assert any(known != then[0][1] for _, known in then)
        with ward.services.writes() as session:
            assert rebuild(session, ward.site.id).changed == ()
            session.rollback()
        assert {"receive", "receive_late", "count", "out"} <= story.done.keys()
        happened = story.story.happened.keys()
        assert happened & {"mend_part", "void"}
        assert happened & {"undo", "drop", "swap"}


def _newest(session: Session) -> int:
    return session.scalars(select(LedgerHead.number)).one()


def _counts_agree(session: Session, number: int) -> None:
    """Count every row that was believed at a number, one by one."""
    rows: list[Any] = [
        row
        for table in TABLES
        for row in session.scalars(select(table))
        if row.recorded_no <= number
        and (row.superseded_no is None or row.superseded_no > number)
        and row.state != "not-fitted"
    ]
    cut = cut_at(session, number)
    assert cut.number == number

    def counted(some: list[Any]) -> tuple[int, int, int]:
        lots = sum(row.lot_id is not None for row in some)
        return len(some), lots, sum(row.serial is not None for row in some)

    assert counted_parts(session, cut) == counted(rows)
    for kinds in ({"tap"}, {"tap", "fluid"}, {"oxygenator"}, {"cannula"}):
        of_kinds = counted([row for row in rows if row.kind in kinds])
        assert parts_on_record(session, kinds, cut) == of_kinds[:2]
    for product in {row.product_id for row in rows if row.product_id}:
        of_product = counted([row for row in rows if row.product_id == product])
        assert counted_parts(session, cut, product_id=product) == of_product


def _every_piece_is_seen(session: Session) -> None:
    rows = {
        tuple(row)
        for table in TABLES
        for row in session.execute(select(table.unit_id, table.product_id, table.serial))
        if row.unit_id is not None
    }
    seen = select(UnitSeen.unit_id, UnitSeen.product_id, UnitSeen.serial)
    assert rows
    assert {tuple(row) for row in session.execute(seen)} == rows


def _free_is_kept(session: Session, ward: Ward) -> None:
    books = session.scalars(select(LotBook)).all()
    assert books
    for row in books:
        assert free_of(row) == reckoned(session, ward.site.id, [row.lot_id])
        assert row.is_open == (bool(free_of(row).batches) or row.short)


def _free(session: Session, ward: Ward, number: int | None) -> Known:
    return kept_free(session, ward.site.id, [key(gtin) for gtin in GTINS], number)


KEPT: Final = ("part_count", "unit_seen", "lot_book")


def test_the_step_brings_to_a_filled_store_what_would_have_been_kept_from_the_start(
    empty_url: str, tmp_path: Path
) -> None:
    upgrade(empty_url)
    with opened_ward(empty_url, tmp_path) as ward:
        story = Stocked(ward, 5)
        for _ in range(STEPS):
            story.go()
    kept = _rows(empty_url)
    assert all(kept.values())
    downgrade(empty_url, "0008")
    upgrade(empty_url)
    assert _rows(empty_url) == kept


def _rows(url: str) -> dict[str, list[tuple[Any, ...]]]:
    engine = create_engine(url)
    try:
        with engine.connect() as connection:
            return {
                name: [
                    tuple(row)
                    for row in connection.execute(
                        select(metadata.tables[name]).order_by(
                            *metadata.tables[name].primary_key.columns
                        )
                    )
                ]
                for name in KEPT
            }
    finally:
        engine.dispose()
