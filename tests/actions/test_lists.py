"""Lists: what two people enter that cannot both be so, and what a list's change must not undo.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from uuid import UUID, uuid4

import pytest

from tests.make import PACK, SALINE, STRONG_SALINE, TAP, TAP_CARTON, UNKNOWN, Ward, code
from traceability.actions.lists.devices import RevokeDevice, revoke_device
from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.actions.lists.products import Level
from traceability.actions.lists.site import SetPlace, set_place
from traceability.errors import BadValue, DeviceNotEnrolled, NotAllowed
from traceability.security.pins import CHEAP_HASHER, hash_pin


def test_a_badge_code_that_somebody_has_is_not_given_out_twice(ward: Ward) -> None:
    asked = IssueBadge(
        sent=ward.at("administrator").sent(),
        person_id=ward.people["helper"],
        badge_code="PRIMER1",
        pin_hash=hash_pin("250917", CHEAP_HASHER),
    )
    with pytest.raises(BadValue) as caught:
        issue_badge(asked, site=ward.site)
    assert caught.value.facts["why"] == "in-use"
    assert "PRIMER1" not in repr(caught.value.facts)


def test_a_place_code_stands_for_one_place(ward: Ward) -> None:
    asked = SetPlace(
        sent=ward.at("administrator").sent(),
        place_id=uuid4(),
        code="BOX-3",
        name="box 3 again",
        place_kind="box",
    )
    with pytest.raises(BadValue):
        set_place(asked, site=ward.site)
    same = replace(asked, sent=ward.at("administrator").sent(), place_id=ward.places["box 3"])
    assert set_place(same, site=ward.site).subject == ward.places["box 3"]


def test_a_carton_code_stays_with_the_product_it_belongs_to(ward: Ward) -> None:
    with pytest.raises(BadValue):
        ward.at("stock").product(
            UNKNOWN, "Syringe 20 ml", "syringe", levels=(Level(identifier=TAP_CARTON, units=10),)
        )
    circuit = ward.begin()
    assert ward.scan(circuit, code(TAP_CARTON, "T1")).facts["kind"] == "tap"


@pytest.mark.parametrize(
    ("identifier", "kind", "change"),
    [
        (STRONG_SALINE, "fluid", {"substance": "Sodium chloride 0.9 %", "volume_ml": 1000}),
        (PACK, "circuit-pack", {"circuit_type": "Neonatal 1/4"}),
        (TAP, "connector", {}),
    ],
)
def test_who_may_not_go_past_a_stop_may_not_rename_it_away(
    ward: Ward, identifier: str, kind: str, change: dict[str, object]
) -> None:
    with pytest.raises(NotAllowed):
        ward.at("helper").product(identifier, "Other", kind, **change)
    assert ward.at("stock").product(identifier, "Other", kind, **change).subject is not None


def test_saying_the_same_of_a_product_again_is_no_change(ward: Ward) -> None:
    known = {"substance": "Sodium chloride 0.9 %", "volume_ml": 1000, "maker": "Farrowend Fluids"}
    assert ward.at("helper").product(SALINE, "Saline", "fluid", **known).subject is not None


def test_a_revoked_device_does_nothing_whoever_is_signed_in_there(ward: Ward) -> None:
    circuit = ward.begin()
    asked = RevokeDevice(sent=ward.at("administrator").sent(), revoked_id=ward.device)
    revoke_device(asked, site=ward.site)
    with pytest.raises(DeviceNotEnrolled):
        ward.scan(circuit, code(TAP, "T1"))


def test_the_last_administrator_cannot_lock_the_unit_out(ward: Ward) -> None:
    def set_administrator(roles: tuple[str, ...], *, active: bool = True) -> UUID | None:
        asked = SetPerson(
            sent=ward.at("administrator").sent(),
            person_id=ward.people["administrator"],
            name="Administrator A.",
            roles=roles,
            active=active,
        )
        return set_person(asked, site=ward.site).subject

    with pytest.raises(BadValue):
        set_administrator(("administrator",), active=False)
    with pytest.raises(BadValue):
        set_administrator(("auditor",))
    assert set_administrator(("administrator", "auditor")) is not None
