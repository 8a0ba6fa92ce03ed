"""A store for each story: its facts go in by acts, and come out of the ledger to be asked about."""

import shutil
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final
from uuid import uuid4

from sqlalchemy import event
from sqlalchemy.engine.interfaces import DBAPIConnection

from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import SiteFacts, set_up_site
from traceability.actions.once import Site
from traceability.cli.stories import circuits, corrections, equipment, lots, stock
from traceability.cli.stories.entering import CIRCUIT_TYPE, ENTERS, Entering
from traceability.cli.stories.form import BadStory, Given, Story
from traceability.cli.stories.scope import names_one_lot, scope_of, written
from traceability.domain.shelves.answer import answer
from traceability.domain.shelves.facts import Fact
from traceability.domain.shelves.situation import situation_at
from traceability.domain.use_by import Way
from traceability.errors import Refused
from traceability.messages import say_refusal
from traceability.recall.told import told_facts
from traceability.security.keys import new_keys
from traceability.settings import Settings
from traceability.wiring import wire

__all__ = ["Stores", "circuits", "corrections", "equipment", "lots", "stock"]

SITE: Final = SiteFacts(name="Replay", unit="Stories", ring="none", practice=True)
BEFORE_ALL: Final = datetime(1970, 1, 2, tzinfo=UTC)
"""When the store is set up: before anything that a story tells."""


class Stores:
    """One store after another in the same place, each from one that was made with its tables."""

    def __init__(self, folder: Path) -> None:
        """Make the tables."""
        self.empty, self.file = folder / "empty.db", folder / "story.db"
        settings = Settings(
            database_url=f"sqlite:///{self.file}", var_dir=folder, zone="UTC", practice=True
        )
        # The same services for all: what they know of their statements need not be learned again.
        self.services = wire(settings, keys=new_keys())
        event.listen(self.services.writer, "connect", _nothing_to_keep)
        self.services.create_tables()
        self.site = Site(
            id=uuid4(),
            sessions=self.services.writes,
            clock=lambda: BEFORE_ALL,
            digest_key=self.services.keys.digest,
            zone=settings.zone_info,
        )
        _set_up(self.site)
        self.services.close()
        self.file.rename(self.empty)

    def answers(self, story: Story) -> Iterator[dict[str, Any]]:
        """Yield the answer to each question, in order.

        Raises:
            BadStory: an act refused one of the facts; the message says which and why.
        """
        shutil.copyfile(self.empty, self.file)
        try:
            entering = _entered(self.site, story)
            with self.services.reads() as session:
                facts = list(told_facts(session, entering.site.id))
            yield from _answers(story, entering, _in_order(facts, story, entering))
        finally:
            self.services.close()
            for each in self.file.parent.glob("story.db*"):
                each.unlink()


def _nothing_to_keep(connection: DBAPIConnection, _record: object) -> None:
    """Let the disk be: a store of a moment need not survive a power cut."""
    connection.cursor().execute("PRAGMA synchronous = OFF")


def _set_up(site: Site) -> None:
    """Set the site up, with the one circuit type that stories need."""
    set_up_site(SITE, site=site)
    sheet = SetSheet(
        sent=Entering(site, BEFORE_ALL).sent(),
        circuit_type=CIRCUIT_TYPE,
        way=Way.WET_CLOSED,
        fill_ml=1000,
        slots=(),
        read_version=0,
    )
    set_sheet(sheet, site=site)


def _entered(site: Site, story: Story) -> Entering:
    """Enter all facts, in the order in which people entered them."""
    facts = sorted(story.facts, key=_entered_at)
    entering = Entering(replace(site, zone=story.zone), BEFORE_ALL)
    entering.facts = {fact["id"]: fact for fact in story.facts}
    for fact in facts:
        entering.now = _entered_at(fact)
        _enter(entering, fact, story)
    return entering


def _enter(entering: Entering, fact: Given, story: Story) -> None:
    """Enter one fact, and the corrections that waited for it."""
    try:
        done = list(ENTERS[fact["type"]](entering, fact))
    except Refused as refusal:
        said = say_refusal(refusal, story.zone)
        raise BadStory(f"fact {fact['id']} was refused: {said}") from refusal
    if fact["type"] == "correction" and fact["of"] not in entering.entered:
        return
    entering.entered[fact["id"]] = done
    for waited in entering.waiting.pop(fact["id"], ()):
        _enter(entering, waited, story)


def _entered_at(fact: Given) -> datetime:
    """Return when the fact was entered; nothing is entered before it has happened."""
    at: datetime = max(fact["at"], fact["recorded_at"])
    return at


def _in_order(facts: Iterable[Fact], story: Story, entering: Entering) -> list[Fact]:
    """Return the facts in the order of the file, which decides between facts of one moment."""
    places: dict[int, int] = {}
    for place, fact in enumerate(story.facts):
        for done in entering.entered.get(fact["id"], ()):
            places |= dict.fromkeys(range(done.first_no, done.last_no + 1), place)
    return sorted(facts, key=lambda fact: places.get(int(fact.id.partition("/")[0]), -1))


def _answers(story: Story, entering: Entering, facts: Sequence[Fact]) -> Iterator[dict[str, Any]]:
    names = {str(circuit): name for name, circuit in entering.circuits.items()}
    for asked in story.questions:
        head = {"scenario": story.id, "question": asked["id"]}
        try:
            clauses = scope_of(asked["scope"])
        except BadStory as bad:
            yield {**head, "error": f"The question cannot be read: {bad}."}
            continue
        situation = situation_at(facts, as_of=asked["as_of"], items=story.items, zone=story.zone)
        found = answer(clauses, situation)
        yield {**head, **written(found, names, with_stock=names_one_lot(asked["scope"]))}
