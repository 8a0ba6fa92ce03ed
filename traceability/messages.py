"""Codes and facts to sentences: the only place with wording for verdicts, cautions and refusals.

English of three in the morning: short, plain, verb first, the thing in the hand first, what to do
next; never "error", "invalid" or "please". The strip's sentence is read at two metres, so it has
at most 44 letters (a test holds that where the facts allow it).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, TypeAlias
from zoneinfo import ZoneInfo

from traceability.correction_messages import (
    NOT_YOURS,
    cannot_correct,
    merge_loop,
    say_correction,
)
from traceability.errors import Refused
from traceability.notice_messages import not_done_words, say_notice
from traceability.offline_messages import VERDICTS as KEPT_VERDICTS
from traceability.offline_messages import clash_line, say_hand_over
from traceability.run_messages import say_extra
from traceability.shelf_messages import say_at_shelf
from traceability.step_messages import ACTS as STEP_ACTS
from traceability.step_messages import BAD_VALUES as BAD_STEPS
from traceability.step_messages import CAUTIONS as STEP_CAUTIONS
from traceability.step_messages import EVENTS as STEP_EVENTS
from traceability.step_messages import VERDICTS as STEP_VERDICTS
from traceability.step_messages import say_step_event
from traceability.stock_messages import SCANS as STOCK_SCANS

Facts: TypeAlias = Mapping[str, object]

WORDS: Final = {"accepted": "Accepted", "look-again": "Look again", "stop": "Stop"}
"""The three words of the verdict strip."""

NUMBER_WORDS: Final = [
    "none",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the strip shows and says."""

    word: str
    sentence: str
    lines: tuple[str, ...] = ()
    speech: str = ""
    """For the browser's own voice; never a patient's name or number."""
    choices: tuple[tuple[str, str], ...] = field(default=())
    """What a person can answer: value and label."""


def say_verdict(verdict: str, code: str, facts: Facts) -> Said:
    """Return the words for a verdict of the trolley."""
    sentence, lines = _VERDICTS.get(code, _plain_code)(facts)
    expires = _spoken_day(facts.get("expiry")) if code == "placed" else ""
    speech = f"{sentence}. {expires}".strip().replace("%", "percent").replace(" × ", " times ")
    return Said(
        word=WORDS.get(verdict, WORDS["look-again"]),
        sentence=sentence,
        lines=tuple(line.strip() for line in lines if line),
        speech=speech,
    )


MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def _spoken_day(printed: object) -> str:
    """Return "Expires 31 March 2027." or "Expires March 2027." for an expiry as printed."""
    year, _, rest = str(printed or "").partition("-")
    month, _, day = rest.partition("-")
    if not month.isdigit() or not 1 <= int(month) <= len(MONTHS):
        return ""
    of_month = f"{int(day)} " if day.isdigit() else ""
    return f"Expires {of_month}{MONTHS[int(month) - 1]} {year}."


def number_word(number: object) -> str:
    """Return "two" for 2; digits where no word is at hand."""
    if isinstance(number, int) and 0 <= number < len(NUMBER_WORDS):
        return NUMBER_WORDS[number]
    return str(number)


def lot_line(facts: Facts) -> str:
    """Return maker, volume, lot, serial and expiry of the piece in the hand, in one line."""
    volume = facts.get("volume_ml")
    litres = f"{int(str(volume)) / 1000:g} L" if volume else ""
    parts = [
        str(facts.get("maker") or ""),
        litres,
        f"lot {facts['lot']}" if facts.get("lot") else "",
        f"serial {facts['serial']}" if facts.get("serial") else "",
        f"expires {facts['expiry']}" if facts.get("expiry") else "",
    ]
    return ", ".join(part for part in parts if part)


Words: TypeAlias = tuple[str, Sequence[str]]


def _way_on(facts: Facts, kept: str = "Keep it with a reason: card 8.") -> str:
    """Return the named way past a finding; `kept` is what a person may say without a right."""
    ways = {
        "past-stop": "Needed now? Card 9: consultant's badge and reason.",
        "past-date": "Needed now? Card 9: a signer's badge and reason.",
    }
    return ways.get(str(facts.get("way_on")), kept)


def _in_already(facts: Facts) -> str:
    """Return what of this kind is in: "In already: 1 of 2, lot 4K0O17I1."; nothing for none."""
    if not facts.get("in_count"):
        return ""
    lots = [str(each) for each in _list(facts.get("in_lots"))]
    named = f", {'lot' if len(lots) == 1 else 'lots'} {', '.join(lots)}" if lots else ""
    return f"In already: {facts['in_count']} of {facts.get('in_of')}{named}."


def _placed(facts: Facts) -> Words:
    name, count, which = str(facts["name"]), facts.get("count"), facts.get("which")
    added = facts.get("added")
    if facts.get("inside"):
        sentence = f"{name}. {facts['inside']} places filled from it"
    elif isinstance(count, int) and count > 1:
        piece = "bag" if facts.get("kind") == "fluid" else "piece"
        sentence = f"{name}, {piece} {number_word(which)} of {number_word(count)}"
    else:
        sentence = f"{name}. {facts.get('place')}" if facts.get("place") != name else name
    if isinstance(added, int) and added > 1:
        sentence = f"{name}, {number_word(added)} added"
    if facts.get("clash"):
        return f"In, and claimed twice: {name}", [f"{lot_line(facts)}.", clash_line(facts)]
    same = "Same lot as before. " if facts.get("same_lot") else ""
    over = facts.get("not_placed")
    extra = f"{over} of them found no open place and are not recorded." if over else ""
    unbooked = "This lot was never booked in: right pack? Count the shelf." * bool(
        facts.get("not_in_book")
    )
    return sentence, [f"{same}{lot_line(facts)}.", extra or unbooked]


def _same_scan(facts: Facts) -> Words:
    return (
        "One scan, read twice",
        [f"{lot_line(facts)}. Counted once. Another piece? Scan it again now, or: same again."],
    )


def _wrong_type(facts: Facts) -> Words:
    piece = "pack" if facts.get("kind") == "circuit-pack" else "part"
    return (
        f"This {piece} is for {facts['scanned']}",
        [
            f"This prime is {facts['wanted']}. Nothing was added. Do not open it; fetch the "
            "other pack."
            if piece == "pack"
            else f"This prime is {facts['wanted']}. Nothing was added. Set it aside.",
            _way_on(facts),
        ],
    )


def _wrong_fluid(facts: Facts) -> Words:
    return (
        f"Not {str(facts['wanted']).lower()}"
        if facts.get("wanted")
        else "Fluid is not on the sheet",
        [
            f"It is {facts['scanned']}, {lot_line(facts)}. Nothing was added. Set this bag aside. "
            + _in_already(facts),
            _way_on(facts),
        ],
    )


def _suction(facts: Facts) -> Words:
    return (
        "No taps or ports on the suction side",
        [
            f"{facts.get('place')} lies before the pump: air would be drawn in. Nothing was added. "
            + _in_already(facts),
            f"Choose a place after the pump. {_way_on(facts)}",
        ],
    )


def _on_hold(facts: Facts) -> Words:
    notice = str(facts.get("notice") or "")
    named = notice not in {"", "notice", "damage", "doubt", "inspection", "other"}
    return (
        f"On hold: notice {notice} names this lot" if named else f"On hold: {notice or 'see list'}",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. Put it in the "
            f"quarantine bin. {_in_already(facts)}",
            f"Scan one of another lot. {_way_on(facts)}",
        ],
    )


def _in_notice(facts: Facts) -> Words:
    return (
        f"Open notice {facts.get('notice')} names this one",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. Put it in the "
            f"quarantine bin. {_in_already(facts)}",
            f"Nobody has put it on hold yet. Scan one of another lot. {_way_on(facts)}",
        ],
    )


def _like_notice(facts: Facts) -> Words:
    return (
        f"Open notice {facts.get('notice')} may mean this one",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. Its lot looks alike, or "
            "what the notice asks for is not known here.",
            f"Take one of another lot. None? {_way_on(facts)}",
        ],
    )


def _opened_earlier(facts: Facts) -> Words:
    return (
        "This piece was opened before",
        [
            f"{facts.get('name')}, serial {facts.get('serial')}: it was in {facts.get('circuit')} "
            f"and is out again. Nothing was added. Set it aside. {_in_already(facts)}",
            f"Scan a new one. {_way_on(facts)}",
        ],
    )


def _never_received(facts: Facts) -> Words:
    return (
        "This lot was never booked in",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. Right pack? Compare with "
            "the print.",
            _way_on(facts, "It is right? Keep it with a reason: card 8. Then count the shelf."),
        ],
    )


def _expired(facts: Facts) -> Words:
    return (
        f"Expired {facts['expiry']}",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. Set it aside, take "
            f"another. {_in_already(facts)}",
            _way_on(facts),
        ],
    )


def _serial_here(facts: Facts) -> Words:
    return (
        "This very piece is in this circuit already",
        [f"Serial {facts['serial']}. Nothing was added. Undo or correct the first one: card 1."],
    )


def _serial_elsewhere(facts: Facts) -> Words:
    return (
        f"This piece is recorded in {facts['circuit']}",
        [
            f"{facts.get('name')}, serial {facts['serial']}. Nothing was added. Compare with "
            f"the print. {_in_already(facts)}",
            _way_on(facts, "It is this one? Record it anyway: card 8. Both claims are kept."),
        ],
    )


def _other_device(facts: Facts) -> Words:
    return (
        "Another trolley scanned this lot just now",
        [f"{lot_line(facts)}. Another piece? Keep it: card 8."],
    )


def _not_on_sheet(facts: Facts) -> Words:
    return (
        f"{facts.get('name')} is not on this sheet",
        ["Nothing was added. Right part? Ask who keeps the circuit types to add a place for it."],
    )


def _wrong_place(facts: Facts) -> Words:
    return (
        "It does not belong in that place",
        [f"{facts.get('name')} was scanned for: {facts.get('place')}. Choose another place."],
    )


def _lot_missing(facts: Facts) -> Words:
    return (
        "Lot is not in this code",
        [
            f"{facts.get('name')}, {facts.get('maker')}. Scan the other code on it, or the carton.",
            "No other code? Type the lot: card 18. Lot not readable: card 5.",
        ],
    )


def _serial_missing(facts: Facts) -> Words:
    return (
        "Serial is not in this code",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Scan the code on the part itself.",
            f"Printed only? Type it: card 18. No serial on it? {_way_on(facts)}",
        ],
    )


def _short_dated(facts: Facts) -> Words:
    bag = "Bag" if facts.get("kind") == "fluid" else "Part"
    return (
        f"{bag} expires before the circuit's use-by",
        [
            f"Lot {facts.get('lot')} expires {facts['expiry']}. Planned use-by: "
            f"{facts['planned']}.",
            f"Take a fresher one. {_way_on(facts)} The shorter date then decides.",
        ],
    )


def _which_place(facts: Facts) -> Words:
    return (
        "A second lot. Where does it go?",
        [f"{facts.get('name')}, {lot_line(facts)}. Touch the place, or scan its number card."],
    )


def _all_recorded(facts: Facts) -> Words:
    count = facts.get("count")
    return (
        f"All {number_word(count)} are recorded already"
        if count != 1
        else "It is recorded already",
        [
            f"{facts.get('name')}, {lot_line(facts)}. Nothing was added. A swap for a dropped "
            "one? Card 10.",
            _way_on(facts, "One more than the sheet says? Keep it with a reason: card 8."),
        ],
    )


def _unreadable(facts: Facts) -> Words:
    reason = str(facts.get("reason") or "")
    sentence, line = _READING.get(reason, _READING[""])
    return sentence, [line]


_READING: Final[Mapping[str, tuple[str, str]]] = {
    "": (
        "This code cannot be read",
        "Nothing was added. Scan again, or scan the other code on it.",
    ),
    "empty": ("Nothing was read", "Hold the scanner still, a hand's width away, and scan again."),
    "too-long": (
        "Far too long for a product code",
        "Nothing was added. Scan one code at a time, the one printed on the pack.",
    ),
    "bad-check-digit": (
        "A digit was misread",
        "Nothing was added. The check digit does not fit. Scan again; wipe the label.",
    ),
    "bad-length": (
        "Only part of the code was read",
        "Nothing was added. Scan again, the whole symbol in view.",
    ),
    "missing-required": (
        "Only half a label was read",
        "Nothing was added. Scan the other barcode on the pack.",
    ),
    "link-mismatch": (
        "Two codes of different packs",
        "Nothing was added. Scan both codes of one pack, one after the other.",
    ),
    "bad-date": ("The date in this code cannot be", "Nothing was added. Set it aside and show it."),
    "bad-charset": (
        "Strange characters were read",
        "Nothing was added. Does the scanner type on another keyboard? See the scanner sheet.",
    ),
    "layout-unproven": (
        "These keys may have been changed",
        "Nothing was added. They came without their place on the keyboard, as from a keyboard on a "
        "screen. Scan with a scanner at this device, or compare and type it.",
    ),
}


def _compare(facts: Facts) -> Words:
    if facts.get("has_other"):
        return (
            "Compare with the print",
            [
                f"Read as lot {facts.get('lot')}. It could be lot {facts.get('other_lot')} "
                "with more behind it.",
                "Which one is printed? Touch it.",
            ],
        )
    read = f"lot {facts['lot']}" if facts.get("lot") else f"serial {facts.get('serial')}"
    if facts.get("reason") == "expiry-far":
        read = f"expires {facts.get('expiry')}, decades away"
    if facts.get("reason") == "serial-like-lot":
        read = f"lot {facts.get('lot')} and serial {facts.get('serial')}, the same text"
    return "Compare with the print", [f"Read as {read}. Is that what is printed? Touch: as read."]


def _half(_facts: Facts) -> Words:
    return (
        "Only half a label was read",
        ["Lot or date came, the product did not. Scan the other barcode on the pack."],
    )


def _unknown_product(facts: Facts) -> Words:
    return (
        "New here: say once what it is",
        [
            (f"Code {facts['identifier']}. " if facts.get("identifier") else "")
            + "Name, maker and kind; then it is known ever after."
        ],
    )


def _carton(facts: Facts) -> Words:
    return (
        f"A carton of {facts['units']}. How many go in?",
        [f"{facts.get('name')}, {lot_line(facts)}. Scan a count card, or touch the number."],
    )


def _wristband(_facts: Facts) -> Words:
    return (
        "That was a person's code, not a part",
        ["Nothing of it was kept. Patients are entered on the run, after the circuit is taken."],
    )


def _prime_ended(_facts: Facts) -> Words:
    return (
        "This prime has ended",
        ["Nothing was added; the scan is kept. To change a part, open the circuit and swap it."],
    )


def _said(facts: Facts) -> Words:
    words = {
        "ticked": "ticked",
        "lot-not-readable": "lot not readable",
        "lot-not-recorded": "lot not recorded",
        "not-fitted": "not fitted",
    }
    state = words.get(str(facts.get("state")), "")
    line = (
        "The circuit is not ready while a needed part is not fitted."
        if state == "not fitted"
        else ""
    )
    return f"{facts.get('place')}: {state}", [line]


def _undone(facts: Facts) -> Words:
    return f"Taken back: {facts.get('name') or facts.get('place') or 'last act'}", [
        "The scan stays on record as taken back. Scan again when ready."
    ]


def _dropped(_facts: Facts) -> Words:
    return "Discarded before use. Scan the new one", ["The dropped piece stays on record."]


def _plain_code(facts: Facts) -> Words:
    return str(facts.get("sentence") or "Look at the list"), []


_VERDICTS: Final[Mapping[str, Callable[[Facts], Words]]] = {
    **KEPT_VERDICTS,
    "placed": _placed,
    "same-scan": _same_scan,
    "wrong-type": _wrong_type,
    "wrong-fluid": _wrong_fluid,
    "suction-side": _suction,
    "on-hold": _on_hold,
    "expired": _expired,
    "same-serial-here": _serial_here,
    "same-serial-elsewhere": _serial_elsewhere,
    "other-device-same-lot": _other_device,
    "not-on-sheet": _not_on_sheet,
    "wrong-place": _wrong_place,
    "lot-not-in-code": _lot_missing,
    "serial-not-in-code": _serial_missing,
    "short-dated": _short_dated,
    "which-place": _which_place,
    "all-recorded": _all_recorded,
    "in-notice": _in_notice,
    "like-notice": _like_notice,
    "opened-earlier": _opened_earlier,
    "never-received": _never_received,
    "unreadable": _unreadable,
    "compare": _compare,
    "half-label": _half,
    "unknown-product": _unknown_product,
    "carton": _carton,
    "wristband": _wristband,
    "own-symbol": lambda _: (
        "That is a card, badge or tag of this unit",
        ["Nothing was added. Scan the part's own code."],
    ),
    "prime-has-ended": _prime_ended,
    "said": _said,
    "undone": _undone,
    "dropped": _dropped,
    **STEP_VERDICTS,
}

CAUTIONS: Final = {
    "contents-not-recorded": "Contents not recorded",
    "not-primed": "The prime has not ended",
    "signature-missing": "A signature is missing",
    "part-not-fitted": "A part is recorded as not fitted",
    "past-use-by": "Use-by has passed",
    "on-hold": "On hold",
    "not-right": "The last look found something that is not right",
    "discarded": "Recorded as discarded",
    "was-used": "Recorded as used before",
    "clock-skew": "This device's clock runs ahead",
    "device-time-not-believed": "This device's clock cannot be right; our time was taken",
    "entered-late": "Entered more than 24 h later",
    "co2-unusual": "CO2 flow outside 1 to 2 L/min",
    "bags-short": "The bags hold less than was filled",
    "run-has-ended": "The run had ended",
    "run-ended": "The run had ended by then",
    "circuit-ended": "The circuit had ended by then",
    "kept-for-inspection": "Kept for inspection",
    "out-of-use": "Recorded as out of use",
    "not-taken-before": "Taken was not recorded before",
    "flow-on-said-before": "Flow on was recorded before; the earlier time counts",
    "wrong-fluid": "Another fluid or strength than the circuit type asks for",
    "suction-side": "An open port on the suction side",
    "expired": "The part has expired",
    "same-serial-elsewhere": "This serial is in another circuit",
    "in-notice": "An open notice names it",
    "serial-twice": "One serial stands on two lines",
    "wrong-place": "Another kind of part than was in this place",
    "part-out-not-recorded": "What went out was not recorded as being in",
    "primed-before": "A prime of this circuit was recorded before",
    "rows-not-restated": "It contradicts what else was recorded; answers count it all the same",
    "lot-texts-not-alike": "The two texts do not look alike; there a ruling has no effect",
    "wrong-type": "A pack of another circuit type",
    "other-kind": "A part of another kind than its place is for",
    "not-on-sheet": "A part for which the circuit type has no place",
    "pack-contents-not-known": "A pack is listed and nobody here knows what is inside it: the "
    "list does not count as complete",
    "kind-not-known-here": "A part without a lot is of a kind that is not known here: the list "
    "does not count as complete",
    "notice-tasks": "Tasks were left undone",
    "notice-waiting": "A change of the answer was not looked at",
    "notice-unanswered": "No answer was given",
    "fill-not-written": "Fill volume was not written down; the usual one stands for it",
    **STEP_CAUTIONS,
}
"""What speaks against an act that was done all the same."""

LIMITS: Final = {
    "policy-wet-closed": "storage policy, {days} days",
    "policy-wet-open": "storage policy for opened circuits, {days} days",
    "policy-dry": "storage policy for dry circuits, {days} days",
    "blood-prime": "blood prime, {hours} hours",
    "opened-fluid": "opened fluid, {hours} hours",
    "part-expiry": "{name}, lot {lot}, expires {expiry}",
}


def say_limit(limit: Facts | None) -> str:
    """Return which limit decides a use-by, in words; empty for none."""
    if not limit:
        return ""
    facts = {key: "not recorded" if value is None else value for key, value in limit.items()}
    try:
        return LIMITS[str(limit["code"])].format(**facts)
    except KeyError:
        return str(limit["code"])


def say_cautions(codes: Sequence[str]) -> list[str]:
    """Return the cautions in words, in the order given."""
    return [CAUTIONS.get(code, code) for code in codes]


def say_unreadable(code: str, facts: Facts) -> str:
    """Return the sentence for a picture in which nothing could be looked for, and what to do."""
    return _UNREADABLE[code](facts)


_UNREADABLE: Final[Mapping[str, Callable[[Facts], str]]] = {
    "empty-file": lambda _: "The file is empty. Send the photo again.",
    "not-a-picture": lambda _: "This is no photo that can be read. Send a JPEG, a PNG or a PDF.",
    "broken-picture": lambda _: "The photo is damaged or came only in part. Send it again.",
    "picture-too-large": lambda facts: (
        f"The photo is too large ({facts['width']} × {facts['height']} dots). Take a smaller one."
        if "width" in facts
        else "The photo is too large. Take a smaller one."
    ),
    "too-many-pages": lambda facts: (
        f"Too many pages: {facts.get('pages', 'more than can be read')}. Send fewer at a time."
    ),
    "locked-pages": lambda _: "The PDF is locked. Send one that is not, or photograph the pages.",
    "took-too-long": lambda facts: (
        f"Not read within {facts.get('seconds', 'the')} seconds. Photograph one label, closer."
    ),
    "reader-ended": lambda _: "The reader stopped at this photo. Photograph one label, closer.",
    "no-file": lambda _: "There is no such file, or it may not be read. Look at its name.",
}


def moment_words(value: object, zone: ZoneInfo) -> str:
    """Return a moment as `2026-11-25 03:40 CET`."""
    if not isinstance(value, datetime):
        return str(value)
    return f"{value.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def say_refusal(refused: Refused, zone: ZoneInfo) -> str:
    """Return the sentence for an act that was refused: why, and what to do next."""
    facts = {key: _fact(value, zone) for key, value in refused.facts.items()}
    return _REFUSALS[refused.code](facts)


def _fact(value: object, zone: ZoneInfo) -> object:
    return moment_words(value, zone) if isinstance(value, datetime) else value


_STATES: Final = {
    "priming": "is still being primed",
    "primed": "is primed",
    "taken": "has been taken",
    "on patient": "is on a patient",
    "ended": "has ended",
    "discarded": "was discarded",
    "transferred out": "was transferred out",
    "kept for inspection": "is kept for inspection",
}

_ACTS: Final = {
    "photo": "Nothing can be filled in from a photo any more. Open the circuit to set it right.",
    "say": "Nothing was added. To change a part, open the circuit and swap it.",
    "undo": "Nothing was taken back. To change a part, open the circuit and swap it.",
    "dropped": "Nothing was changed. To change a part, open the circuit and swap it.",
    "end": "It was ended before, perhaps in another window. Open the circuit and sign it there.",
    "sign": "It can be signed when the prime has ended. End the prime first.",
    "tag": "The tag comes when the prime ends. End the prime first.",
    "move": "It cannot be moved. Look at the circuit's page.",
    "discard": "Take it off the patient or bring it back first, then discard it.",
    "take": "Take another circuit, or record an emergency on the take page.",
    "flow-on": "Flow on is recorded. Look at the circuit's page.",
    "come-back": "It is not away without flow. Look at the circuit's page.",
    "keep": "Take it off the patient or bring it back first, then keep it.",
    "custody": "It is passed on once it is kept for inspection. Keep it first.",
    "add": "Scan the part at the trolley: the prime goes on.",
    "take-again": "Look at its page: on return it comes back unused, or flow on is entered.",
    "transfer-out": "Only a circuit that is primed, taken or on a patient can leave.",
    "check": "Only circuits that stand primed are looked at here. Look at the circuit's page.",
    "open": "Only a closed, wet circuit that stands primed can be opened. Look at its page.",
    "swap": "Parts are swapped on circuits that are primed. Look at the circuit's page.",
    **STEP_ACTS,
}

_SIDES: Final = {
    "before-taken": "That is before the circuit was taken, {limit}. Set a later time.",
    "before-flow-on": "That is before flow on, {limit}. Set a later time.",
    "before-part-in": "That is before the old part went in, {limit}. Set a later time.",
    "before-off": "The new circuit would be on before the old one was off, {limit}. Check "
    "both times.",
    "before-run": "That is before the run began, {limit}. Set a later time.",
    "before-mode": "That is before the mode that stands now, {limit}. Set a later time.",
    "before-run-part-in": "That is before it went in, {limit}. Set a later time.",
    "before-equipment": "That is before it was connected, {limit}. Set a later time.",
    "before-prime": "That is before the circuit's prime began, {limit}. Set a later time.",
    "before-that": "That is before what was recorded last, {limit}. Set a later time.",
    "to-come": "That is still to come: it is {limit} now. Set an earlier time.",
    "circuit-ended": "The circuit ended at {limit}. For what was before, set an earlier time.",
    "run-ended": "The run ended at {limit}. Nothing was changed.",
    "before-here": "That is before it stood here, {limit}. Set a later time.",
    "ends-after-taken": "It was taken before that, {limit}. Check when the prime ended.",
    "ends-before-begun": "The prime would end before it began, {limit}. Check both times.",
    "after-now": "That has not come yet: it is {limit}. Set an earlier time.",
}


def _wrong_state(facts: Facts) -> str:
    state = _STATES.get(str(facts.get("state")), str(facts.get("state")))
    return (
        f"{facts.get('number')} {state}. {_ACTS.get(str(facts.get('act')), 'Nothing was changed.')}"
    )


def _cautions_first(facts: Facts) -> str:
    given = facts.get("cautions")
    codes = [str(code) for code in given] if isinstance(given, (list, tuple)) else []
    who = "a charge consultant" if str(facts.get("right")) == "past-stop" else "a signer"
    return (
        f"{facts.get('number')}: {'; '.join(say_cautions(codes))}. To go on, {who} gives a reason."
    )


_BAD_VALUES: Final[Mapping[str, str]] = {
    "empty": "Fill in: {field}.",
    "said": "{said}. Nothing was changed.",
    "needs-a-lot": "{field} needs a lot, not a tick. Scan it, or say why there is none.",
    "needs-a-tick": "{field} only needs a tick. Touch it to tick it.",
    "nothing-open": "{field}: nothing is open there. Undo first, or choose another place.",
    "short-name": "{field}: use A to Z, digits and hyphens between them.",
    "too-long": "{field} is too long. Check what was read.",
    "not-one-of": "{field}: choose one of {of}.",
    "not-a-day": "{field}: {value} is no day. Write it as 2031-05-06.",
    "other-key": "The fingerprint {value} is of another key than this one. Nothing was recorded. "
    "Ring the other site on a number you know, and compare again.",
    "in-use": "{field} {value} is in use already. Take another one.",
    "lot-and-none": "{field}: lot {value} is given, and also that there is none. Choose one.",
    "not-printed": "{field}: a character in it is on no label. Type only what is printed.",
    "a-person": "That was a person's code, not a {field}. Nothing of it was kept.",
    "bad-day": "{field}: {value} is no day. Enter it as 2027-03-31, or 2027-03.",
    "serial-twice": "One serial is in the list twice. One piece is in one place only.",
    "place-twice": "{field} {value} is filled twice. Look at the list, and take one out.",
    "not-counted": "{value} is ward stock: its number is not counted here.",
    "too-few": "{field}: {value} is too few. Write 1 or more.",
    "same-place": "It stands there already. Choose another place.",
    "twice": "{field}: one of them is there twice. Count each once.",
    "no-day": "{field}: {value} is no date like 2026-11-25. Write it again.",
    "no-scope": "This scope cannot be read: {value}. Put it together again.",
    "nothing-counted": "Write at least one number that you counted.",
    "not-counted-yet": (
        "Nobody has counted {value} yet. Count all of it first, then say that its book is complete."
    ),
    "to-come": "{field}: {value} is still to come. Set an earlier day.",
    "one-in-use": "A {field} is recorded here and still on. Take it off first.",
    "not-equipment": "{field} is no machine of the register. Nothing was recorded.",
    "not-for-run": "{field} is no cannula, guide wire or reperfusion line. Add it to the circuit.",
    "not-for-adding": "{field} has a form of its own on this page. Nothing was recorded.",
    "not-for-the-prime": "{field} is nothing that goes into a prime. Nothing was recorded.",
    "one-already": "They are one person already. Nothing was changed.",
    "no-rule": "{field}: choose a rule, and 1 day or more.",
    "no-work-day": "{field}: leave at least one day of the week on which the site works.",
    "task-there": "This task is there already. Look at the list.",
    "held-already": "All of it is on hold already, or nothing of it is in stock.",
    "notice-open": "{value} is open. Nothing was changed.",
    "last-administrator": "{value} is the last administrator. Name another one first.",
    **BAD_STEPS,
}


def _bad_value(facts: Facts) -> str:
    allowed = facts.get("of")
    if isinstance(allowed, (list, tuple)):
        facts = {**facts, "of": ", ".join(str(each) for each in allowed)}
    sentence = _BAD_VALUES.get(str(facts.get("why")), "{field}: {value} cannot be right. Check it.")
    return sentence.format_map(
        {"field": "", "value": "", "said": "", "of": "", "unit": "", **facts}
    ).strip()


_BAD_FILES: Final[Mapping[str, str]] = {
    "too-large": "This file is far too large for a list of contents. Was another file chosen? "
    "Nothing was taken in.",
    "not-json": "This file is cut short or is no list of contents. Ask the sender for it again. "
    "Nothing was taken in.",
    "other-form": "This file is not a list of contents as this service writes it. Nothing was "
    "taken in. Enter the list by hand, or scan the parts.",
    "newer": "This file is of a newer form than is known here. Nothing was taken in. Enter the "
    "list by hand.",
    "changed": "This file was changed or cut after it was written: its digest does not fit. Ask "
    "the sender for it again. Nothing was taken in.",
    "field": "{where} of this file cannot be right. Nothing was taken in. Ask the sender, or enter "
    "the list by hand.",
    "practice": "This file comes from a practice store. Nothing in it is real, and nothing was "
    "taken in.",
    "real": "This is the practice store, and the file is from a real one. Nothing was taken in.",
    "own": "This file was written here. It goes to the hospital that receives the circuit.",
}


def _bad_scan(facts: Facts) -> str:
    why = str(facts.get("why"))
    sentence, lines = (STOCK_SCANS.get(why) or _VERDICTS.get(why, _plain_code))(facts)
    return f"{sentence}. {' '.join(line for line in lines if line)}".strip()


def _wrong_credentials(facts: Facts) -> str:
    wait = facts.get("wait_s")
    if isinstance(wait, int) and wait > 0:
        return (
            f"Badge and PIN do not fit. Wait {wait} s, or use another device. Taking a circuit "
            "needs no PIN."
        )
    return "Badge and PIN do not fit. Try again."


def _not_allowed(facts: Facts) -> str:
    needs = {
        "prime": "a primer or helper",
        "past-date": "a signer",
        "past-stop": "a charge consultant",
        "hold-circuit": "a charge consultant",
        "hold-stock": "a pharmacist or biomedical engineer",
        "rule": "a charge consultant",
        "rule-lots": "a pharmacist or biomedical engineer",
        "lists": "stock or an administrator",
        "equipment": "a biomedical engineer",
        "admin": "an administrator",
        "drill": "a recall coordinator or an administrator; an auditor reads",
        "see-patients": "bedside, retrieval, consultant or recall coordinator",
        "notices": "a pharmacist, biomedical engineer or recall coordinator",
        "notice-replies": "a recall coordinator",
        "read-all": "an auditor",
        "see-pictures": "a signer, charge consultant, recall coordinator or auditor",
    }
    who = needs.get(str(facts.get("right")), "somebody with another role")
    return f"This is for {who}. Ask one of them to show their badge here."


_REFUSALS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "unknown-code": lambda f: (
        f"No {f.get('what')} is known by {f.get('value') or 'this'}. Check what was read, and "
        "scan again."
    ),
    "wrong-moment": lambda f: _SIDES.get(
        str(f.get("side")), "That time cannot be. The limit is {limit}. Set another time."
    ).format(limit=f.get("limit")),
    "wrong-state": _wrong_state,
    "drilled-this-week": lambda f: (
        f"The drill of the week from {f.get('week')} is on record. Look at it on the page Drill."
    ),
    "drill-goes-on": lambda f: (
        f"A drill goes on since {f.get('since')}. End that one first: open it on the page Drill."
    ),
    "drill-over": lambda f: (
        f"This drill ended on {f.get('since')}. Nothing was added. Begin another one."
    ),
    "already-on-run": lambda f: (
        f"{f.get('number')} is on run {f.get('run')} since {f.get('since')}. "
        "Check the tag. It is this one? Record it anyway: both claims are kept."
    ),
    "equipment-busy": lambda f: (
        f"The {f.get('name')} is recorded on {f.get('where')} since "
        f"{f.get('since')}. Compare with its label. It is this one? Take it off there first, or "
        "record it anyway: both claims are kept."
    ),
    "not-on-run": lambda f: (
        f"{f.get('number')} is not on this run. Check the tag, or take the circuit first."
    ),
    "cautions-first": _cautions_first,
    "parts-missing": lambda f: (
        f"Still missing: {', '.join(str(each) for each in _list(f.get('missing')))}. "
        "Scan them, or go on: each is then recorded as lot not recorded."
    ),
    "number-used": lambda f: (
        f"{f.get('number')} has been entered already. Compare the paper with that circuit's page. "
        "Another circuit? Enter it without a number: it gets the next one."
    ),
    "not-on-paper": lambda f: (
        f"No sheet {f.get('number')} was printed here. Check the number. Another paper? Enter it "
        "without a number: it gets the next one."
    ),
    "primed-here": lambda f: (
        f"{f.get('number')} was primed here. What is in it is recorded; a list of another hospital "
        "is for a circuit that came from there."
    ),
    "bad-file": lambda f: _BAD_FILES.get(str(f.get("fault")), _BAD_FILES["field"]).format(
        where=f.get("where")
    ),
    "same-person": lambda f: (
        f"{f.get('person') or 'One person'} cannot sign both. The other one signs: badge and PIN."
    ),
    "already-signed": lambda f: f"The {f.get('part')} has signed: {f.get('person')}.",
    "stale-form": lambda f: (
        f"Somebody changed this meanwhile (version {f.get('number')}). Nothing was saved. "
        "Look again."
    ),
    "not-allowed": _not_allowed,
    "sign-in-needed": lambda _: "Sign in first: scan your badge, then your PIN.",
    "device-not-enrolled": lambda _: (
        "This browser is not an enrolled device. Sign in, or enrol it with a code from an "
        "administrator. In an emergency take the circuit: record it later."
    ),
    "wrong-credentials": _wrong_credentials,
    "pin-must-change": lambda _: (
        "This PIN was given out for the first sign-in. Sign in and set your own, then sign."
    ),
    "pin-too-weak": lambda f: (
        f"A PIN has {f.get('least')} digits or more, not all the same and not a row like 123456."
    ),
    "bad-value": _bad_value,
    "bad-scan": _bad_scan,
    "nothing-to-undo": lambda _: "This device has nothing to take back on this prime.",
    "nothing-to-keep": lambda _: "The last scan asks for no such answer. Scan the part again.",
    "request-id-reused": lambda _: "This page was used for something else. Open it again.",
    "busy": lambda _: "Others are writing. Nothing is lost; this device sends it again.",
    "store-away": lambda _: (
        "The record cannot be reached just now. Nothing was half done. Send it again in a moment."
    ),
    "store-full": lambda _: (
        "The server's disk is full. Nothing is lost; this device sends it again. Ring who "
        "runs the server."
    ),
    "notice-closed": lambda f: f"{f.get('number')} is closed. Open it again first, then add to it.",
    "notice-not-done": not_done_words,
    "no-scope": lambda f: (
        f"Nobody has said yet what {f.get('number')} is about. Enter its scope first."
    ),
    "file-refused": lambda f: (
        f"{f.get('name')} cannot be kept: "
        f"{_FILES.get(str(f.get('fault')), _FILES['type'])} Nothing was recorded."
    ),
    "pictures-not-kept": lambda _: (
        "This unit keeps no photos: its policy says so. What was read from it is recorded."
    ),
    "cannot-correct": cannot_correct,
    "not-yours-to-correct": lambda _: NOT_YOURS,
    "merge-loop": merge_loop,
    "not-set-up": lambda _: (
        "This store holds no hospital yet. Run: traceability demo, or person new --admin."
    ),
}


_FILES: Final[Mapping[str, str]] = {
    "type": "it is no PDF, picture (PNG, JPEG), XLSX, CSV, text, JSON or XML. Save it as one of "
    "these, or print it to PDF.",
    "too-large": "it is larger than 10 MB. Send it in parts.",
    "empty": "it is empty. Look whether it was saved whole.",
    "too-many": "a letter takes 10 files. Add another letter for the rest.",
}


def _list(value: object) -> Sequence[object]:
    return value if isinstance(value, (list, tuple)) else []


WAYS_ON: Final = {
    "record-anyway": "Record it anyway",
    "go-on": "Go on, with a reason",
    "lots-not-recorded": "Go on: lots not recorded",
    "close-anyway": "Close it all the same",
}
"""Labels of the button beside a refusal."""

REASONS: Final = {
    "no-other": "No other in stock",
    "patient-waits": "Patient waits",
    "pharmacist": "Checked with pharmacist",
    "by-hand": "Checked by hand",
}
"""Reasons a person can give with one touch or card."""

DISCARDS: Final = {
    "past-use-by": "Past its use-by",
    "seal-broken": "Seal broken",
    "opened": "Opened, not used",
    "leak": "Leak",
    "part-not-fitted": "A part is not fitted",
    "prime-stopped": "Prime stopped",
    "used": "Used",
    "recall": "Named by a notice",
    "other": "Other",
}
"""Reasons for a discard."""


_EVENTS: Final[Mapping[str, str]] = {
    "prime-begun": "Prime begun",
    "scan-questioned": "Scan asked back",
    "part-placed": "Recorded",
    "part-taken-back": "Last act taken back",
    "part-dropped": "Discarded before use",
    "part-swapped": "Part swapped",
    "prime-ended": "Prime ended",
    "prime-signed": "Signed",
    "tag-ordered": "Tag printed",
    "tag-key-set": "Key of another site recorded",
    "lots-drilled": "Drill: lots picked and followed",
    "drill-begun": "DRILL for people begun",
    "drill-step": "DRILL: a step",
    "drill-told": "DRILL: somebody was told",
    "drill-stopped": "DRILL stopped",
    "circuit-moved": "Moved",
    "circuit-taken": "Taken",
    "take-withdrawn": "Take withdrawn: wrong scan",
    "came-back-unused": "Came back unused",
    "flow-on": "Flow on",
    "flow-off": "Flow off",
    "run-ended": "Run ended",
    "held": "Put on hold",
    "released": "Released",
    "circuit-discarded": "Discarded",
    "foreign-arrived": "Came in from elsewhere",
    "circuit-without-record": "Taken with a tag nobody knew",
    "carton-told": "Maker's notice on packs entered",
    "lot-ruled": "Ruled on two lot texts",
    "prime-entered-late": "Prime entered from paper",
    "foreign-listed": "List of the sending hospital",
    "transferred-out": "Transferred out",
    "down-time-sheets-printed": "Down-time sheets printed",
    "corrected": "Corrected",
    "claim-ruled": "Ruled on two claims",
    "patients-merged": "Two patient references are one person",
    "stock-received": "Stock received",
    "stock-moved": "Stock moved",
    "stock-counted": "Stock counted",
    "stock-out": "Stock taken out unused",
    "stock-book-declared": "Stock book said to be complete, or open again",
    "mode-set": "Mode",
    "run-part-in": "Put into the patient",
    "run-part-out": "Taken out of the patient",
    "equipment-on": "Equipment connected",
    "equipment-off": "Equipment off",
    "part-added": "Part added",
    "additive-given": "Given into the prime",
    "kept-for-inspection": "Kept for inspection",
    "custody-passed": "Passed on",
    "shelf-checked": "Looked at",
    "told-by-hand": "Told by hand",
    "prime-paused": "Prime paused",
    "prime-taken-over": "Prime taken over",
    "act-waits": "Kept without a network, waits for a person",
    "act-settled": "A kept act was looked at",
    "circuit-opened": "Opened; its use-by is shorter now",
    "work-days-set": "Work days set",
    "notice-opened": "Notice opened",
    "notice-letter-added": "Letter added",
    "notice-file-erased": "File of a letter erased",
    "notice-scope-set": "Scope of a notice set",
    "notice-due-set": "Reply due set",
    "notice-acted-on": "Notice acted on",
    "notice-asked": "Notice asked",
    "notice-looked-at": "Change of an answer looked at",
    "answer-given": "Answer given",
    "notice-task-added": "Task added",
    "notice-task-said": "Tasks",
    "notice-reply-made": "Reply made",
    "notice-closed": "Notice closed",
    "notice-reopened": "Notice opened again",
    "picture-kept": "Photo of the trolley kept",
    "picture-erased": "Photo of the trolley erased",
    **STEP_EVENTS,
}


def _parts_told(body: Facts) -> str:
    count = f"{len(_list(body.get('parts')))} parts"
    if "complete" not in body:
        return count
    return f"{count}, {'all of it' if body['complete'] is True else 'not all of it'}"


def _at_the_trolley(kind: str, body: Facts, facts: Facts) -> str:
    match kind:
        case "scan-questioned":
            said = say_verdict(str(body.get("verdict")), str(body.get("code")), facts)
            return f"{said.word}: {said.sentence}"
        case "part-placed" if body.get("code") == "said":
            return _said(facts)[0]
        case "part-placed" if body.get("code") == "lots-not-recorded":
            return f"lot not recorded for {facts.get('added')} parts"
        case "part-placed" | "part-dropped" | "part-swapped" | "part-taken-back":
            named = facts.get("name") or facts.get("place") or facts.get("slot")
            lot = f", lot {facts['lot']}" if facts.get("lot") else ""
            added = facts.get("added")
            times = f" × {added}" if isinstance(added, int) and added > 1 else ""
            return f"{named or ''}{times}{lot}"
        case _:
            return ""


def _elsewhere(kind: str, body: Facts) -> str:
    match kind:
        case "corrected" | "claim-ruled":
            return say_correction(body)
        case "prime-signed":
            return str(body.get("meaning"))
        case "circuit-discarded":
            return DISCARDS.get(str(body.get("reason")), str(body.get("reason")))
        case "held":
            notice = body.get("notice")
            return f"notice {notice}" if notice else str(body.get("reason"))
        case "tag-ordered":
            copy = body.get("copy")
            return f"copy {copy}" if copy else ""
        case "prime-entered-late" | "foreign-listed":
            return _parts_told(body)
        case "prime-paused" | "prime-taken-over" | "act-waits" | "act-settled":
            return say_hand_over(kind, body)
        case _:
            return (
                say_extra(kind, body)
                or say_at_shelf(kind, body)
                or say_notice(kind, body)
                or say_step_event(kind, body)
            )


def say_event(kind: str, body: Facts) -> str:
    """Return one line for a list of what happened."""
    line = _EVENTS.get(kind, kind.replace("-", " ").capitalize())
    given = body.get("facts")
    facts: Facts = given if isinstance(given, Mapping) else {}
    detail = _at_the_trolley(kind, body, facts) or _elsewhere(kind, body)
    cautions = body.get("cautions")
    codes = [str(code) for code in cautions] if isinstance(cautions, list) else []
    said_cautions = f". {'; '.join(say_cautions(codes))}" if codes else ""
    disputed = ". Disputed: both claims are kept" if body.get("disputed") is True else ""
    disputed += ". Kept on the device and sent later" if body.get("claimed") else ""
    return f"{line}{': ' if detail else ''}{detail}{said_cautions}{disputed}"
