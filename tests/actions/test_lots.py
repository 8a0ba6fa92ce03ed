"""What makers tell about packs and what people rule about lot texts: acts on both databases.

Source: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select

from tests.make import OXYGENATOR, PACK, TAP, Ward
from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.lots.carton import TellCarton, tell_carton
from traceability.actions.lots.rule import RuleOnLots, rule_on_lots
from traceability.domain.keys import product_key
from traceability.domain.shelves.facts import CartonNotice as CartonTold
from traceability.domain.shelves.facts import Ruling
from traceability.errors import BadValue, NotAllowed, UnknownCode
from traceability.recall.told import told_facts
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.notices import CartonNotice, CartonNoticeLot, LotRuling
from traceability.storage.rebuild import rebuild


def product(ward: Ward, gtin: str) -> UUID:
    return product_key("gs1", gtin, site_id=ward.site.id)


def ruling(ward: Ward) -> RuleOnLots:
    return RuleOnLots(
        sent=ward.sent(),
        product_id=product(ward, TAP),
        captured="T77-0B1",
        notice="T77 0B1",
        same=True,
        basis="Wrapper compared with the letter by Ada L.",
        at=ward.now,
    )


def notice(ward: Ward) -> TellCarton:
    return TellCarton(
        sent=ward.sent(),
        product_id=product(ward, PACK),
        lots=("PK26-104", "PK26-105"),
        inner_product_id=product(ward, OXYGENATOR),
        inner_lot="3F0117",
        sole=True,
        complete=False,
        at=ward.now,
    )


def test_a_ruling_is_a_named_persons_and_its_basis_is_kept_apart(ward: Ward) -> None:
    pharmacist = ward.at("pharmacist")
    done = rule_on_lots(ruling(pharmacist), site=ward.site)
    with ward.reads() as reads:
        row = reads.scalars(select(LotRuling)).one()
        assert (row.captured, row.notice, row.same) == ("T77-0B1", "T77 0B1", True)
        assert row.person_id == ward.people["pharmacist"]
        assert row.kept_id is not None
        kept = reads.get_one(KeptApart, row.kept_id)
        assert kept.text is not None
        assert "Ada" in kept.text
        assert "Ada" not in reads.get_one(LedgerEvent, (ward.site.id, done.last_no)).body
        told = [fact for fact in told_facts(reads, ward.site.id) if isinstance(fact, Ruling)]
    assert [(fact.item, fact.captured, fact.same) for fact in told] == [("tap", "T77-0B1", True)]


@pytest.mark.parametrize("name", ["primer", "consultant", "stock", "recall", "administrator"])
def test_nobody_else_rules(ward: Ward, name: str) -> None:
    with pytest.raises(NotAllowed):
        rule_on_lots(ruling(ward.at(name)), site=ward.site)


def test_texts_that_do_not_look_alike_are_ruled_on_without_effect_and_with_a_caution(
    ward: Ward,
) -> None:
    other = replace(ruling(ward.at("pharmacist")), notice="T78-0B1")
    assert "lot-texts-not-alike" in rule_on_lots(other, site=ward.site).cautions


@pytest.mark.parametrize("changes", [{"captured": " "}, {"notice": ""}, {"basis": " "}])
def test_a_ruling_without_its_words_is_none(ward: Ward, changes: dict[str, Any]) -> None:
    with pytest.raises(BadValue):
        rule_on_lots(replace(ruling(ward.at("pharmacist")), **changes), site=ward.site)


def test_a_notice_keeps_each_pack_lot_as_printed(ward: Ward) -> None:
    tell_carton(notice(ward.at("recall")), site=ward.site)
    with ward.reads() as reads:
        row = reads.scalars(select(CartonNotice)).one()
        lots = reads.scalars(select(CartonNoticeLot.text).order_by(CartonNoticeLot.line)).all()
        facts = told_facts(reads, ward.site.id)
        told = [fact for fact in facts if isinstance(fact, CartonTold)]
    assert (row.inner_lot_text, row.sole, row.complete) == ("3F0117", True, False)
    assert lots == ["PK26-104", "PK26-105"]
    assert [(f.pack_item, f.inner_item, f.pack_lots) for f in told] == [
        ("circuit-pack", "oxygenator", ("PK26-104", "PK26-105"))
    ]


def test_a_notice_about_nothing_known_is_not_written(ward: Ward) -> None:
    recall = ward.at("recall")
    with pytest.raises(UnknownCode):
        tell_carton(replace(notice(recall), inner_product_id=uuid4()), site=ward.site)
    with pytest.raises(BadValue):
        tell_carton(replace(notice(recall), inner_lot=" "), site=ward.site)
    with pytest.raises(NotAllowed):
        tell_carton(notice(ward.at("primer")), site=ward.site)


def test_the_same_request_again_is_the_same_act_and_a_rebuild_makes_the_same_rows(
    ward: Ward,
) -> None:
    told, ruled = notice(ward.at("pharmacist")), ruling(ward.at("pharmacist"))
    assert tell_carton(told, site=ward.site) == tell_carton(told, site=ward.site)
    assert rule_on_lots(ruled, site=ward.site) == rule_on_lots(ruled, site=ward.site)
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()
        assert len(session.scalars(select(LotRuling)).all()) == 1


def test_only_an_entry_without_an_agencys_code_may_lack_its_maker(ward: Ward) -> None:
    unknown = SetProduct(
        sent=ward.sent(),
        standard="none",
        identifier="tap, maker not recorded",
        name="Three-way tap, maker not recorded",
        maker="",
        maker_not_recorded=True,
        part_kind="tap",
    )
    assert set_product(unknown, site=ward.site).subject
    for changes in (
        {"standard": "gs1", "identifier": "09521234000990"},
        {"maker_not_recorded": False, "identifier": "another"},
    ):
        with pytest.raises(BadValue):
            set_product(replace(unknown, sent=ward.sent(), **changes), site=ward.site)
