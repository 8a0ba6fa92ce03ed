"""Acts that a device kept: whose they are, what is done by itself, and what waits for a person.

Source of the rules: settled in review with people of the trade; common practice, no source.
"""

import base64
import hmac
import json
import re
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from flask.testing import FlaskClient
from sqlalchemy import select

from app import create_app
from tests.make import NOON, PACK, PIN, TAP, TYPE, Ward, code
from traceability.actions.lists.devices import RevokeDevice, revoke_device
from traceability.actions.lists.people import SetPerson, set_person
from traceability.reads.circuits import circuit_facts
from traceability.reads.disputes import disputes
from traceability.reads.waiting_acts import WaitingFacts, waiting_acts
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Device

DAY = timedelta(days=1)
WRISTBAND = "]d2801895212345000000" + "1234"
"""A person's code of the demonstration prefix (GS1 AI 8018, GSRN)."""


@dataclass
class Tablet:
    """A browser at the trolley: it marks its acts as the page's script does."""

    client: FlaskClient
    ward: Ward
    key: dict[str, str] = field(default_factory=dict)
    number: int = 0

    def signs_in(self, badge: str) -> "Tablet":
        self.client.get("/sign-in")
        self.client.post("/sign-in", data={"badge": badge, "pin": PIN, "request_id": str(uuid4())})
        return self

    def opens(self, number: str = "C-0001") -> "Tablet":
        page = self.client.get(f"/prime/{number}").text
        found = re.search(r'data-claim="([^"]+)"', page)
        assert found, "the page brings the key of this sign-in"
        self.key = json.loads(unescape(found[1]))
        return self

    def act(self, at: datetime, number: str = "C-0001", **body: str) -> dict[str, Any]:
        """Do something now: what will be sent, with its mark."""
        self.number += 1
        given = {"request_id": str(uuid4()), "at": at.isoformat(), **body}
        url = f"/prime/{number}/{'scan' if 'text' in body else 'act'}"
        text = json.dumps(given)
        said = f"{self.key['ref']}\n{self.number}\n{url}\n{text}".encode()
        mark = hmac.digest(base64.b64decode(self.key["key"]), said, "sha256")
        plain = base64.urlsafe_b64encode(mark).decode().rstrip("=")
        claim = f"{self.key['ref']}.{plain}"
        return {"url": url, "text": text, "n": self.number, "claim": claim}

    def sends(self, act: dict[str, Any], how: str = "kept", **changes: str) -> dict[str, Any]:
        act = {**act, **changes}
        headers = {"CT-Act": f"{act['n']}.{how}", "Content-Type": "application/json"}
        if act["claim"]:
            headers["CT-Claim"] = act["claim"]
        answer = self.client.post(act["url"], data=act["text"], headers=headers)
        return {"status": answer.status_code, **(answer.get_json() or {})}


@pytest.fixture
def tablet(ward: Ward) -> Tablet:
    """The primer's tablet with the prime C-0001 begun."""
    one = another(ward).signs_in("PRIMER1")
    begins(one)
    return one.opens()


def another(ward: Ward) -> Tablet:
    return Tablet(create_app(services=ward.services).test_client(), ward)


def begins(one: Tablet) -> str:
    place = str(one.ward.places["console 3"])
    begun = {"circuit_type": TYPE, "place_id": place, "request_id": str(uuid4())}
    return one.client.post("/prime", data=begun).headers["Location"].rsplit("/", 1)[1]


def moves_clock(ward: Ward, now: datetime) -> None:
    ward.services.clock = lambda: now
    ward.services.known_site = replace(ward.services.site, clock=lambda: now)


def lots(ward: Ward, number: str = "C-0001") -> list[str]:
    with ward.services.reads() as reads:
        found = circuit_facts(reads, ward.site.id, number, NOON)
    assert found is not None
    return [part.lot for part in found.now_in if part.lot]


def waits(ward: Ward) -> list[WaitingFacts]:
    with ward.services.reads() as reads:
        return waiting_acts(reads, ward.site.id)


def last_entry(ward: Ward) -> tuple[UUID | None, dict[str, Any]]:
    with ward.services.reads() as reads:
        rows = select(LedgerEvent).order_by(LedgerEvent.number.desc()).limit(1)
        entry = reads.scalars(rows).one()
        return entry.actor_id, json.loads(entry.body)


def test_a_kept_scan_stays_the_act_of_who_did_it_whoever_sends_it(
    tablet: Tablet, ward: Ward
) -> None:
    scan = tablet.act(NOON, text=code(TAP, "T1"))
    tablet.client.post("/sign-out")
    assert tablet.sends(scan)["status"] == 401, "nobody sends it: it waits on the device"
    tablet.signs_in("HELPER1")
    assert tablet.sends(scan)["verdict"] == "accepted"
    actor, body = last_entry(ward)
    assert actor == ward.people["primer"]
    assert body["claimed"] == {
        "number": 1,
        "sent_by": str(ward.people["helper"]),
        "proof": "sign-in",
    }
    again = tablet.sends(scan)
    assert again["verdict"] == "accepted"
    assert lots(ward) == ["T1"]


def test_a_scan_that_is_sent_at_once_is_an_act_like_any_other(tablet: Tablet, ward: Ward) -> None:
    assert tablet.sends(tablet.act(NOON, text=code(TAP, "T1")), "now")["verdict"] == "accepted"
    assert "claimed" not in last_entry(ward)[1]


@pytest.mark.parametrize(
    ("at", "change", "why"),
    [
        (NOON - 31 * DAY, {}, "kept-too-long"),
        (NOON + timedelta(hours=2), {}, "clock-ahead"),
        (NOON, {"claim": "0.wrong"}, "unproven"),
        (NOON, {"text": None}, "unproven"),
        (NOON, {"n": 7}, "unproven"),
    ],
)
def test_what_cannot_be_believed_waits_for_a_person_and_is_recorded_by_one(
    tablet: Tablet, ward: Ward, at: datetime, change: dict[str, Any], why: str
) -> None:
    scan = tablet.act(at, text=code(TAP, "T1"))
    if "text" in change:
        change = {"text": scan["text"].replace("T1", "T2")}
    for _ in range(2):
        said = tablet.sends(scan, **change)
        assert said["sentence"] == "Kept: a person has to confirm it"
    assert lots(ward) == []
    (waiting,) = waits(ward)
    assert why in waiting.why
    assert "To confirm" in tablet.client.get("/").text
    page = tablet.client.get("/to-confirm").text
    assert "Record it" in page
    form = {"no": str(waiting.waits_no), "do": "recorded", "request_id": str(uuid4())}
    assert tablet.client.post("/to-confirm", data=form).status_code == 302
    assert waits(ward) == []
    assert lots(ward) == ["T2" if "text" in change else "T1"]
    assert tablet.client.post("/to-confirm", data=form).status_code == 404
    assert lots(ward) in (["T1"], ["T2"])


def test_what_was_done_after_its_person_had_signed_out_waits(tablet: Tablet, ward: Ward) -> None:
    tablet.client.post("/sign-out")
    moves_clock(ward, NOON + timedelta(hours=2))
    scan = tablet.act(NOON + timedelta(hours=1), text=code(TAP, "T1"))
    tablet.signs_in("HELPER1").sends(scan)
    assert [each.why for each in waits(ward)] == [("after-sign-out",)]


def test_a_device_that_was_taken_out_of_use_loses_nothing_and_does_nothing(
    tablet: Tablet, ward: Ward
) -> None:
    scan = tablet.act(NOON, text=code(TAP, "T1"))
    with ward.services.reads() as reads:
        rows = select(Device.id).where(Device.name == "Browser, not enrolled")
        device_id = reads.scalars(rows).one()
    asked = RevokeDevice(
        sent=replace(ward.sent(), actor_id=ward.people["administrator"]), revoked_id=device_id
    )
    revoke_device(asked, site=ward.site)
    assert tablet.client.get("/prime/C-0001/after?number=0").status_code == 403
    assert 'name="ct-revoked"' in tablet.client.get("/sign-in").text
    assert tablet.sends(scan)["code"] == "device-not-enrolled", "the device goes on keeping it"
    tablet.signs_in("PRIMER1")
    assert tablet.sends(scan)["code"] == "act-waits"
    assert lots(ward) == []
    (waiting,) = waits(ward)
    assert waiting.why[0] == "device-revoked"
    assert waiting.who == "Primer A."


def test_what_is_refused_now_is_kept_since_it_has_happened(tablet: Tablet, ward: Ward) -> None:
    undo = tablet.act(NOON, act="UNDO")
    tick = tablet.act(NOON, act="TICK", slot="pack")
    assert tablet.sends(undo, "now")["refused"] is True
    assert waits(ward) == [], "a person is there and reads the answer"
    for act in (undo, tick):
        tablet.sends(act)
    assert [(each.what, each.why) for each in waits(ward)] == [
        ("UNDO", ("nothing-to-undo",)),
        ("TICK", ("bad-value",)),
    ]


def test_who_has_left_since_did_it_all_the_same(tablet: Tablet, ward: Ward) -> None:
    scan = tablet.act(NOON, text=code(TAP, "T1"))
    tablet.client.post("/sign-out")
    gone = SetPerson(
        sent=replace(ward.sent(), actor_id=ward.people["administrator"]),
        person_id=ward.people["primer"],
        name="Primer",
        roles=("primer",),
        active=False,
    )
    set_person(gone, site=ward.site)
    tablet.signs_in("HELPER1").sends(scan)
    assert [each.why for each in waits(ward)] == [("not-allowed",)]


def test_a_scan_for_a_prime_that_ended_meanwhile_waits(tablet: Tablet, ward: Ward) -> None:
    tablet.sends(tablet.act(NOON, text=code(PACK, "PK1")), "now")
    scan = tablet.act(NOON, text=code(TAP, "T1"))
    end = {"fill_ml": "1500", "lots_not_recorded": "1", "request_id": str(uuid4())}
    tablet.client.post("/prime/C-0001/end", data=end)
    tablet.sends(scan)
    assert [each.why for each in waits(ward)] == [("prime-has-ended",)]
    assert "add the part there" in tablet.client.get("/to-confirm").text
    form = {"no": str(waits(ward)[0].waits_no), "do": "left-out", "request_id": str(uuid4())}
    tablet.client.post("/to-confirm", data=form)
    assert waits(ward) == []
    assert "left out" in tablet.client.get("/circuits/C-0001").text


def test_a_persons_code_is_not_written_even_if_the_act_waits(
    tablet: Tablet, ward: Ward, tmp_path: Path
) -> None:
    tablet.sends(tablet.act(NOON - 40 * DAY, text=WRISTBAND))
    (waiting,) = waits(ward)
    assert waiting.text == ""
    for file in tmp_path.glob("*.db*"):
        assert WRISTBAND[7:].encode() not in file.read_bytes(), file.name


def test_what_was_typed_waits_whole_unless_it_may_be_a_person(tablet: Tablet, ward: Ward) -> None:
    typed = {"act": "TYPED", "lot": "123456", "expiry": "2033-03", "serial": WRISTBAND}
    tablet.sends(tablet.act(NOON - 40 * DAY, **typed))
    (waiting,) = waits(ward)
    assert (waiting.what, waiting.said) == ("TYPED", {"lot": "123456", "expiry": "2033-03"})
    page = tablet.client.get("/to-confirm").text
    assert "123456" in page
    form = {"no": str(waiting.waits_no), "do": "recorded", "request_id": str(uuid4())}
    assert "Do it anew at the trolley" in tablet.client.post("/to-confirm", data=form).text
    assert lots(ward) == []


@pytest.mark.parametrize("first", [0, 1])
def test_two_devices_that_claim_one_piece_and_one_place_are_both_kept_whatever_comes_first(
    tablet: Tablet, ward: Ward, first: int
) -> None:
    """Both were without a network; each scanned a full set of taps, and one piece twice."""
    other_prime = begins(tablet)
    other = another(ward).signs_in("HELPER1").opens(other_prime)
    pack = code(PACK, "PK1", serial="PACK-7")
    moves_clock(ward, NOON + timedelta(hours=1))
    queues = []
    for index, (one, number) in enumerate(((tablet, "C-0001"), (other, other_prime))):
        times = [NOON + timedelta(minutes=5 * each + index + 1) for each in range(4)]
        acts = [one.act(times[0], number, text=pack)]
        acts += [one.act(each, "C-0001", text=code(TAP, "T1")) for each in times[1:]]
        queues.append((one, acts))
    for one, acts in (queues[first], queues[1 - first]):
        for act in acts:
            said = one.sends(act)
            assert said["verdict"] == "accepted" or "claimed twice" in said["sentence"]
    assert lots(ward).count("T1") == 6, (
        "three places, six claims: a person takes back what is twice"
    )
    shown = tablet.client.get("/prime/C-0001").text
    assert ("One more than the sheet says" in shown) is (first == 1)
    with ward.services.reads() as reads:
        (dispute,) = disputes(reads, ward.site.id)
    assert {dispute.first.circuit, dispute.second.circuit} == {"C-0001", other_prime}
    assert waits(ward) == []
