"""Refusals: an act was understood and not done; nothing was written.

Each subclass names the fact. `code` is stable and ends up in answers and logs; `facts` carry what
a sentence needs. The wording lives in `messages.py`, the HTTP status and the exit code with the
web and the command line. Cautions of an act that was done are not refusals.
"""

from typing import ClassVar


class Refused(Exception):
    """Understood and not done; nothing was written."""

    code: ClassVar[str]
    way_on: ClassVar[str] = ""
    """Code of the way on that stands beside the sentence; empty where there is none."""

    def __init__(self, **facts: object) -> None:
        """Keep the facts apart from any wording: one table turns them into a sentence."""
        super().__init__(self.code, facts)
        self.facts = facts


class UnknownCode(Refused):
    """Nothing is known by this. Facts: `what` (circuit, run, part ...), `value`."""

    code = "unknown-code"


class WrongMoment(Refused):
    """The time given lies outside what it belongs to. Facts: `moment`, `limit`, `side`."""

    code = "wrong-moment"


class WrongState(Refused):
    """The circuit is not where this act begins. Facts: `number`, `state`, `act`."""

    code = "wrong-state"


class AlreadyOnRun(Refused):
    """The circuit is on a run. Facts: `number`, `run`, `since`."""

    code = "already-on-run"
    way_on = "record-anyway"


class NotOnRun(Refused):
    """The circuit is not on this run, as far as is known. Facts: `number`, `run`."""

    code = "not-on-run"
    way_on = "record-anyway"


class CautionsFirst(Refused):
    """Something speaks against a planned act. Facts: `number`, `cautions`, `right` to go on."""

    code = "cautions-first"
    way_on = "go-on"


class PartsMissing(Refused):
    """The prime cannot end: places are empty. Facts: `missing` (names)."""

    code = "parts-missing"
    way_on = "lots-not-recorded"


class NumberUsed(Refused):
    """A circuit has this number already. Facts: `number`."""

    code = "number-used"


class NotOnPaper(Refused):
    """No down-time sheet of this number was printed here. Facts: `number`."""

    code = "not-on-paper"


class PrimedHere(Refused):
    """Another hospital's list was given for a circuit primed here. Facts: `number`."""

    code = "primed-here"


class BadFile(Refused):
    """A file of contents cannot be taken. Facts: `fault`, `where`."""

    code = "bad-file"


class SamePerson(Refused):
    """Primer and helper must be two people. Facts: `person`."""

    code = "same-person"


class AlreadySigned(Refused):
    """That signature is there. Facts: `part`, `person`."""

    code = "already-signed"


class StaleForm(Refused):
    """The form was filled in for an earlier state of the record. Facts: `number`."""

    code = "stale-form"


class NotAllowed(Refused):
    """Whoever is signed in does not hold the right. Facts: `right`, `person`."""

    code = "not-allowed"


class SignInNeeded(Refused):
    """Nobody is signed in and the act needs a person. Facts: `right`."""

    code = "sign-in-needed"


class DeviceNotEnrolled(Refused):
    """The act is open to anyone, but only on an enrolled device. Facts: none."""

    code = "device-not-enrolled"


class WrongCredentials(Refused):
    """Badge and PIN do not belong together. Facts: `wait_s` (0 if another try is open now)."""

    code = "wrong-credentials"


class PinMustChange(Refused):
    """The PIN was given out by somebody else; it signs nothing until its owner has changed it."""

    code = "pin-must-change"


class PinTooWeak(Refused):
    """A PIN is 6 digits or more, not one digit repeated, not a run. Facts: `least`."""

    code = "pin-too-weak"


class BadValue(Refused):
    """A field holds what cannot be. Facts: `field`, `value`, `why`."""

    code = "bad-value"


class EquipmentBusy(Refused):
    """The machine serves elsewhere at that time. Facts: `name`, `where`, `since`."""

    code = "equipment-busy"
    way_on = "record-anyway"


class BadScan(Refused):
    """What was scanned cannot be taken for this. Facts: `why` (a question's code) and its own."""

    code = "bad-scan"


class NothingToUndo(Refused):
    """This device has done nothing on this prime that can be undone. Facts: none."""

    code = "nothing-to-undo"


class NothingToKeep(Refused):
    """There is no questioned scan of this device to go on with. Facts: none."""

    code = "nothing-to-keep"


class RequestIdReused(Refused):
    """The device sent another act under an id it had used before. Facts: `request`, `kind`."""

    code = "request-id-reused"


class Busy(Refused):
    """Other writers held the store for too long; the device keeps the act and sends it again."""

    code = "busy"


class StoreAway(Refused):
    """The database server cannot be reached, or is going down. Nothing was half done."""

    code = "store-away"


class StoreFull(Refused):
    """The disk is full or cannot be written. The device keeps the act and sends it again."""

    code = "store-full"


class NotSetUp(Refused):
    """The store has no site yet. Facts: none."""

    code = "not-set-up"


class CannotCorrect(Refused):
    """The record would contradict itself, or this entry is set right in another way.

    Facts: `why` (a code), and with it `what`, `at`, `other_at`, `number`.
    """

    code = "cannot-correct"


class NotYoursToCorrect(Refused):
    """Void, times and runs are for who may rule; others set right what they entered themselves."""

    code = "not-yours-to-correct"


class MergeLoop(Refused):
    """One reference would be its own: the two are joined already. Facts: `run`, `other`."""

    code = "merge-loop"


class DrilledThisWeek(Refused):
    """The service's own drill of this week is on record. Facts: `week`."""

    code = "drilled-this-week"


class DrillGoesOn(Refused):
    """A drill for people has not ended yet; a second one would be taken for it. Facts: `since`."""

    code = "drill-goes-on"


class DrillOver(Refused):
    """This drill has ended; nothing is added to it. Facts: `since`."""

    code = "drill-over"


class NoticeClosed(Refused):
    """The notice is closed; nothing is added to it. Facts: `number`."""

    code = "notice-closed"


class NoticeNotDone(Refused):
    """Something of it is still to be done. Facts: `number`, `tasks`, `waiting`, `unanswered`."""

    code = "notice-not-done"
    way_on = "close-anyway"


class NoScope(Refused):
    """Nobody has said yet what the notice is about. Facts: `number`."""

    code = "no-scope"


class FileRefused(Refused):
    """A file cannot be kept with a letter. Facts: `name`, `fault`."""

    code = "file-refused"


class PicturesNotKept(Refused):
    """The unit's policy keeps no photos of a trolley. Facts: none."""

    code = "pictures-not-kept"
