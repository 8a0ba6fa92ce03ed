"""What the packs of a picture would do to a prime; nothing is written.

Every pack is judged by the rules of a scan, one after the other, as if those before it were in. Ids
of the acts that would fill them in follow from the picture, the circuit and the pack: the same
picture, sent twice, fills nothing twice.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Final
from uuid import UUID, uuid5

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import priming_since, the_sheet
from traceability.actions.once import Site
from traceability.actions.part_rows import inside_pack
from traceability.actions.prime.known_of import known_of
from traceability.actions.prime.personal import is_personal
from traceability.actions.prime.pictured import scan_of
from traceability.actions.prime.placing import situation_at, understood_facts, with_piece
from traceability.actions.prime.scanned import Question, Understood, understand
from traceability.domain.events import Plain
from traceability.domain.in_place import InPlace, missing
from traceability.domain.packs_seen import packs_seen
from traceability.domain.parts import PartState
from traceability.domain.sheets import Sheet, Slot
from traceability.domain.symbols_seen import PackSeen, SymbolSeen, What
from traceability.domain.trolley import PACK_KIND, Finding, Judgement, Verdict, judge
from traceability.errors import UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.lookup import in_place
from traceability.storage.scans import TrolleyAct

MOST_SYMBOLS: Final = 200
"""Of one picture; a laid-out trolley holds a few dozen."""


class Fate(StrEnum):
    """What becomes of a pack once the person says so."""

    FILLS = "fills"
    """It goes into a place of the sheet."""
    IN_ALREADY = "in-already"
    """As many of this lot as the picture shows are recorded: it goes in only if it is another."""
    SENT = "sent"
    """This picture filled it in before."""
    TAKEN_BACK = "taken-back"
    """This picture filled it in, and somebody took it back: from now on it is scanned."""
    COMPARE = "compare"
    """It goes in only once a person has compared it with the print."""
    WHICH_PLACE = "which-place"
    """It goes in only once a person has said where."""
    NOT_TIED = "not-tied"
    """Nothing can be filled from it; `code` says why."""
    NO_PART = "no-part"
    """A card, badge or tag of ours, or a person's code."""


CAN_FILL: Final = (Fate.FILLS, Fate.IN_ALREADY, Fate.COMPARE, Fate.WHICH_PLACE)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackLine:
    """One pack of the picture and what it would do."""

    pack: PackSeen
    request_id: UUID
    """Of the act that fills it in."""
    fate: Fate
    verdict: str = Verdict.LOOK_AGAIN
    code: str = ""
    facts: dict[str, Plain]
    place: str = ""
    """Name of the place it goes to."""
    places: tuple[tuple[str, str], ...] = ()
    """Id and name of the places to choose from."""
    compare: bool = False
    """A person compares it with the print before it goes in, whatever else is asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedOver:
    """What the picture would do to the prime."""

    lines: tuple[PackLine, ...]
    missing: tuple[tuple[Slot, int], ...]
    """What the sheet still lacks once everything that goes in without a question is in."""


def packs_in(symbols: Iterable[SymbolSeen], today: date) -> tuple[PackSeen, ...]:
    """Return the packs among the symbols of a picture, and what is no pack's."""
    persons = [each for each in symbols if is_personal(each.sent)]
    others = [each for each in symbols if each not in persons]
    found = [PackSeen(what=What.PERSON, symbols=(each,), scans=(each,)) for each in persons]
    return (*packs_seen(others, today), *found)


def look_over(
    session: Session,
    site: Site,
    circuit_id: UUID,
    packs: Sequence[PackSeen],
    *,
    picture: str,
    device_id: UUID,
    at: datetime,
) -> LookedOver:
    """Return what each pack would do; nothing is written.

    Args:
        session: one that reads.
        site: whose.
        circuit_id: the prime.
        packs: as `packs_in` returns them.
        picture: SHA-256 of the file.
        device_id: whose acts these would be.
        at: now.

    Raises:
        UnknownCode, WrongState: there is no such prime, or it has ended.
    """
    circuit = session.get(Circuit, (site.id, circuit_id))  # not locked: nothing is written
    if circuit is None:
        raise UnknownCode(what="circuit", value=str(circuit_id))
    priming_since(session, circuit, "photo")
    looking = _Looking(session, site, circuit, picture, device_id, at)
    lines = tuple(looking.line(pack) for pack in packs)
    return LookedOver(lines=lines, missing=tuple(missing(looking.sheet, looking.filled)))


class _Looking:
    """The prime as it would be after the packs looked at so far."""

    def __init__(
        self,
        session: Session,
        site: Site,
        circuit: Circuit,
        picture: str,
        device_id: UUID,
        at: datetime,
    ) -> None:
        self._session, self._site, self._circuit = session, site, circuit
        self._picture, self._device_id, self._at = picture, device_id, at
        self._today = at.astimezone(site.zone).date()
        self.sheet: Sheet = the_sheet(session, circuit)
        # None is the same pull of a trigger: each is a pack of its own in the picture.
        self.filled: list[InPlace] = [
            replace(each, scanned_at=None) for each in in_place(session, circuit)
        ]
        self._begun = situation_at(
            session, site, self.sheet, self.filled, at=at, device_id=device_id
        )
        self._here = Counter(
            (each.product_id, each.lot, each.serial)
            for each in self.filled
            if each.state is PartState.RECORDED
        )
        self._seen: Counter[str] = Counter()

    def line(self, pack: PackSeen) -> PackLine:
        """Return what this pack would do, and remember it as done if it goes in by itself."""
        self._seen[pack.key] += 1
        name = f"{self._picture} {pack.key} {self._seen[pack.key]}"
        line = PackLine(
            pack=pack, request_id=uuid5(self._circuit.id, name), fate=Fate.NOT_TIED, facts={}
        )
        if pack.what is not What.PART:
            return replace(line, fate=Fate.NO_PART, code=pack.what)
        if pack.unclear:
            return replace(line, code="half-of-which")
        understood, asked = self._understood(pack)
        if isinstance(understood, Question):
            return replace(line, code=understood.code, facts=dict(understood.facts))
        facts = understood_facts(understood)
        if understood.level_units > 1:
            facts["units"] = understood.level_units
            return replace(line, code="carton", facts=facts)
        done = self._done_before(line.request_id)
        if done is not None:
            if done is Fate.SENT:
                self._take_from_here(understood)
            return replace(line, fate=done, code=done, facts=facts, verdict=Verdict.ACCEPTED)
        line = replace(line, compare=pack.suspect or asked)
        return self._judged(line, understood, facts)

    def _understood(self, pack: PackSeen) -> tuple[Understood | Question, bool]:
        """Return the piece, and whether a person has to compare it before it is believed."""
        *first, last = [scan_of((each.text, each.symbology_identifier)) for each in pack.scans]
        half = first[0] if first else None
        found = understand(last, half, self._session, self._circuit, self._today)
        if not (isinstance(found, Question) and found.code == "compare"):
            return found, False
        if found.facts.get("has_other"):
            return found, True
        read = replace(last, chosen="as-read")
        return understand(read, half, self._session, self._circuit, self._today), True

    def _judged(self, line: PackLine, understood: Understood, facts: dict[str, Plain]) -> PackLine:
        if self._take_from_here(understood):
            # What is in already may stand in the picture too: nobody counts it twice unasked.
            fate = Fate.NOT_TIED if understood.piece.serial else Fate.IN_ALREADY
            return replace(line, fate=fate, code="in-already", facts=facts)
        piece = known_of(self._session, self._site, understood, self._at)
        found = judge(piece, replace(self._begun, filled=self.filled))
        facts = facts | dict(found.facts)
        slot = self.sheet.slot(found.slot)
        place = slot.name if slot else ""
        if found.finding is Finding.WHICH_PLACE:
            names = {each.id: each.name for each in self.sheet.slots}
            places = tuple((each, names[each]) for each, _ in dict(found.choices).items())
            return replace(
                line, fate=Fate.WHICH_PLACE, code=found.finding, facts=facts, places=places
            )
        if found.finding is not Finding.PLACED:
            return replace(line, verdict=found.verdict, code=found.finding, facts=facts)
        if line.compare:
            return replace(line, fate=Fate.COMPARE, code="compare", facts=facts, place=place)
        self._put_in(understood, found)
        return replace(
            line,
            fate=Fate.FILLS,
            verdict=Verdict.ACCEPTED,
            code=found.finding,
            facts=facts,
            place=place,
        )

    def _put_in(self, understood: Understood, found: Judgement) -> None:
        self.filled = with_piece(self.filled, understood, found)
        if understood.piece.kind != PACK_KIND:
            return
        for row in inside_pack(self.sheet, self.filled, {"part": None}, self._at):
            self.filled.append(
                InPlace(
                    slot=str(row["slot"]),
                    ordinal=int(str(row["ordinal"])),
                    state=PartState.INSIDE_PACK,
                    kind=str(row["kind"]),
                )
            )

    def _take_from_here(self, understood: Understood) -> bool:
        """Tell whether one more of these is recorded than the picture has shown so far."""
        piece = understood.piece
        what = (understood.product.id, piece.lot, piece.serial)
        if not self._here[what]:
            return False
        self._here[what] -= 1
        return True

    def _done_before(self, request_id: UUID) -> Fate | None:
        """Tell whether this device filled this very pack of this very picture in before."""
        rows = select(TrolleyAct.undone_no).filter_by(
            site_id=self._circuit.site_id,
            circuit_id=self._circuit.id,
            device_id=self._device_id,
            request_id=request_id,
            code=Finding.PLACED,
        )
        found = self._session.execute(rows).first()
        if found is None:
            return None
        return Fate.SENT if found.undone_no is None else Fate.TAKEN_BACK
