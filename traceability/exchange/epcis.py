"""An EPCIS 2.0 document in JSON-LD -> the lots, serials and products that its events name.

What is read: the events of an EPCISDocument or an EPCISQueryDocument; what/where/why keys by the
names of EPCIS 2.0 (GS1, 2022), dispositions by those of the Core Business Vocabulary 2.0; the names
are from memory and were not checked with the published schema. URIs: EPC Tag Data Standard
(class:lgtin, id:sgtin, idpat:sgtin) and GS1 Digital Link URI Syntax (/01/, /10/, /21/).
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import unquote, urlsplit

from traceability.domain.notice_scope import ProductRef, Said, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning, Note, NotRead
from traceability.exchange.texts import is_checked
from traceability.identifiers.checks import gs1_check

__all__ = ["epcis_entries", "epcis_uri", "is_epcis"]

EPCS: Final = ("epcList", "childEPCs", "inputEPCList", "outputEPCList")
QUANTITIES: Final = ("quantityList", "childQuantityList", "inputQuantityList", "outputQuantityList")
LOT_FIELDS: Final = ("lotNumber", "cbvmda:lotNumber", "cbv:lotNumber")
KNOWN: Final = frozenset(
    [
        "type",
        "eventID",
        "eventTime",
        "eventTimeZoneOffset",
        "recordTime",
        "action",
        "bizStep",
        "disposition",
        "persistentDisposition",
        "readPoint",
        "bizLocation",
        "bizTransactionList",
        "sourceList",
        "destinationList",
        "sensorElementList",
        "certificationInfo",
        "errorDeclaration",
        "ilmd",
        "parentID",
        "isA",
        "@context",
        "transformationID",
    ]
) | {*EPCS, *QUANTITIES}
MOST_EVENTS: Final = 100_000

_LGTIN: Final = re.compile(r"urn:epc:class:lgtin:([0-9]+)\.([0-9]+)\.(.+)")
_SGTIN: Final = re.compile(r"urn:epc:id:sgtin:([0-9]+)\.([0-9]+)\.(.+)")
_PATTERN: Final = re.compile(r"urn:epc:idpat:sgtin:([0-9]+)\.([0-9]+)\.\*")
_ALIASES: Final = {"gtin": "01", "lot": "10", "ser": "21"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Uri:
    """What an identifier of an event says; without a GTIN it is something else, or broken."""

    gtin: str = ""
    lot: str = ""
    serial: str = ""
    broken: str = ""
    """Why it is no right identifier."""


def is_epcis(body: object) -> bool:
    """Tell whether a JSON value is an EPCIS document or one of its events."""
    if not isinstance(body, Mapping):
        return False
    kind = str(body.get("type", ""))
    return (
        kind in {"EPCISDocument", "EPCISQueryDocument"}
        or "epcisBody" in body
        or kind.endswith("Event")
    )


def epcis_uri(uri: str) -> Uri:
    """Return what an EPC URI or a GS1 Digital Link says. Never raises."""
    for form, name in ((_LGTIN, "lot"), (_SGTIN, "serial")):
        if found := form.fullmatch(uri):
            gtin, broken = _gtin(found[1], found[2])
            return Uri(gtin=gtin, broken=broken, **{name: unquote(found[3])})
    if found := _PATTERN.fullmatch(uri):
        gtin, broken = _gtin(found[1], found[2])
        return Uri(gtin=gtin, broken=broken)
    if uri.startswith(("http://", "https://")):
        return _link(uri)
    return Uri()


def _gtin(prefix: str, reference: str) -> tuple[str, str]:
    """Return the GTIN of a company prefix and item reference (EPC Tag Data Standard, SGTIN).

    The first digit of the reference is the indicator, which leads the GTIN.
    """
    if len(prefix) + len(reference) != 13 or not 6 <= len(prefix) <= 12:  # noqa: PLR2004
        return "", "digits"
    body = reference[0] + prefix + reference[1:]
    return body + gs1_check(body), ""


def _link(uri: str) -> Uri:
    try:
        parts = urlsplit(uri)
    except ValueError:
        return Uri(broken="address")
    path = [unquote(each) for each in parts.path.split("/")]
    keys = [_ALIASES.get(each, each) for each in path]
    if "01" not in keys[:-1]:
        return Uri()
    at = keys.index("01")
    pairs = dict(zip(keys[at::2], path[at + 1 :: 2], strict=False))
    gtin = pairs["01"]
    if len(gtin) not in {8, 12, 13, 14} or not is_checked(gtin):
        return Uri(broken="check-digit")
    return Uri(gtin=gtin.zfill(14), lot=pairs.get("10", ""), serial=pairs.get("21", ""))


def epcis_entries(body: Mapping[str, Any]) -> tuple[list[Entry], list[Note]]:
    """Return what the events say, and what of the document was not understood."""
    entries: list[Entry] = []
    unknown: dict[str, int] = {}
    events = list(_events(body))
    for at, event in enumerate(events[:MOST_EVENTS], start=1):
        place = f"event {at}"
        if not isinstance(event, Mapping):
            entries.append(Entry(place=place, given=str(event)[:100], why=NotRead.NOTHING_NAMED))
            continue
        for name in event:
            if name not in KNOWN:
                unknown[str(name)[:80]] = unknown.get(str(name)[:80], 0) + 1
        found = list(_event(event, place))
        words = str(event.get("eventID") or event.get("type") or "")[:200]
        entries += found or [Entry(place=place, given=words, why=NotRead.NOTHING_NAMED)]
    notes = [
        Note("epcis", {"events": len(events), "version": str(body.get("schemaVersion", ""))[:20]})
    ]
    if unknown:
        notes.append(Note("unknown-fields", {"names": sorted(unknown)[:20], "count": len(unknown)}))
    if len(events) > MOST_EVENTS:
        notes.append(Note("cut", {"name": "events", "most": MOST_EVENTS}))
    return entries, notes


def _events(body: Mapping[str, Any]) -> Iterator[Any]:
    if str(body.get("type", "")).endswith("Event"):
        yield body
        return
    inner = body.get("epcisBody")
    if not isinstance(inner, Mapping):
        return
    results = inner.get("queryResults")
    if isinstance(results, Mapping):
        found = results.get("resultsBody")
        inner = found if isinstance(found, Mapping) else {}
    listed = inner.get("eventList", inner.get("event", []))
    yield from listed if isinstance(listed, list) else [listed]


def _event(event: Mapping[str, Any], place: str) -> Iterator[Entry]:
    doubts = tuple(_doubts(event))
    ilmd = event.get("ilmd")
    lot = (
        next((str(ilmd[each]) for each in LOT_FIELDS if ilmd.get(each)), "")
        if isinstance(ilmd, Mapping)
        else ""
    )
    for name in EPCS:
        for at, uri in enumerate(_list(event.get(name))):
            yield _entry(uri, f"{place}, {name}[{at}]", doubts, lot, "")
    if event.get("parentID") and str(event.get("type")) != "AggregationEvent":
        yield _entry(event["parentID"], f"{place}, parentID", doubts, lot, "")
    for name in QUANTITIES:
        for at, each in enumerate(_list(event.get(name))):
            where = f"{place}, {name}[{at}]"
            if isinstance(each, Mapping):
                quantity = f"quantity {each['quantity']}" if each.get("quantity") else ""
                yield _entry(each.get("epcClass"), where, doubts, lot, quantity)
            else:
                yield _entry(each, where, doubts, lot, "")


def _doubts(event: Mapping[str, Any]) -> Iterator[Doubt]:
    if declared := event.get("errorDeclaration"):
        reason = str(declared.get("reason", "")) if isinstance(declared, Mapping) else ""
        yield Doubt(Doubtful.TAKEN_BACK, _last(reason))
    lasting = event.get("persistentDisposition")
    said = [
        event.get("disposition"),
        *_list(lasting.get("set") if isinstance(lasting, Mapping) else None),
    ]
    if "recalled" not in {_last(each) for each in said}:
        yield Doubt(Doubtful.NOT_RECALLED, _last(event.get("disposition")))


def _last(word: object) -> str:
    """Return a vocabulary word without its address, as "recalled"."""
    return re.split(r"[:/#]|Disp-|ER-", str(word or ""))[-1][:60]


def _list(given: object) -> list[Any]:
    return given if isinstance(given, list) else [] if given is None else [given]


def _entry(uri: object, place: str, doubts: tuple[Doubt, ...], lot: str, beside: str) -> Entry:
    if not isinstance(uri, str):
        return Entry(place=place, given=str(uri)[:100], why=NotRead.BAD_IDENTIFIER)
    said = epcis_uri(uri)
    if not said.gtin:
        why = NotRead.BAD_IDENTIFIER if said.broken else NotRead.NOTHING_NAMED
        return Entry(place=place, given=uri[:300], why=why, detail=said.broken)
    product = ProductRef(standard="gs1", identifier=said.gtin)
    lot = said.lot or lot
    test: ScopeTest | None = None
    if said.serial:
        test = ScopeTest(kind=Said.SERIALS, texts=(said.serial,))
        beside = ", ".join(each for each in (f"lot {lot}" if lot else "", beside) if each)
    elif lot:
        test = ScopeTest(kind=Said.LOTS, texts=(lot,))
    if test is None:
        doubts = (*doubts, Doubt(Doubtful.EVERY))
    meaning = Meaning(test=test, product=product)
    return Entry(place=place, given=uri[:300], meanings=(meaning,), doubts=doubts, beside=beside)
