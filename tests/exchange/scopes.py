"""Invented makers and what they send, for the tests of a notice's scope.

Numbers under 950 6000 are those of GS1's own examples; under 952 its demonstration prefix.
"""

from datetime import date

from traceability.domain.notice_scope import ProductRef, ScopeTest
from traceability.domain.scope_build import Draft, build
from traceability.domain.scope_draft import Answers, Choice, Entry, Fate, SourceRead
from traceability.exchange.notice_sources import Hints, read_file, read_text

TODAY = date(2026, 11, 25)
TAP = "09506000134352"
OTHER = "09506000134369"
MAKER = "Oskerby Devices"
OF = ProductRef(standard="gs1", identifier=TAP)


def hints(**more: object) -> Hints:
    return Hints(today=TODAY, **more)  # type: ignore[arg-type]


def pasted(text: str, **more: object) -> SourceRead:
    return read_text(text, hints(**more))


def loaded(data: bytes, **more: object) -> SourceRead:
    return read_file(data, hints(**more))


def drafted(read: SourceRead, answers: Answers | None = None, of: ProductRef | None = OF) -> Draft:
    return build(read.entries, answers or Answers(rows={}, groups={}, written={}), of=of)


def says(test: ScopeTest | None) -> str:
    """Return a test in short: "TA-1,TA-2" for a list, "TA-1..TA-9" for a range."""
    if test is None:
        return "all"
    return ",".join(test.texts) or "..".join(end or "" for end in test.ends)


def taken(draft: Draft) -> list[str]:
    return [says(each.test) for row in draft.rows if row.fate is Fate.TAKEN for each in row.taken]


def doubts(entry: Entry) -> set[str]:
    return {str(doubt.code) for doubt in entry.doubts}


def at(read: SourceRead, place: str) -> Entry:
    (found,) = (each for each in read.entries if each.place == place)
    return found


def ways(entry: Entry) -> list[str]:
    return [says(each.test) for each in entry.meanings]


def groups(draft: Draft, choice: Choice) -> Answers:
    return Answers(rows={}, groups=dict.fromkeys(draft.waiting, choice), written={})
