"""Rows and a person's answers about them -> the scope, every row with its fate."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from traceability.domain.notice_scope import (
    ProductRef,
    Said,
    Scope,
    ScopeClause,
    ScopeTest,
)
from traceability.domain.scope_draft import (
    Answers,
    Choice,
    Entry,
    Fate,
    Judged,
    NotRead,
)

__all__ = ["NO_ANSWERS", "Draft", "build"]

NO_ANSWERS = Answers(rows={}, groups={}, written={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """The scope as far as it is understood."""

    scope: Scope
    """May have no clause yet."""
    rows: tuple[Judged, ...]
    counts: Mapping[Fate, int]
    waiting: Mapping[str, int]
    """Rows that wait for a person, by group, in the order met."""

    @property
    def settled(self) -> bool:
        """Whether there is a scope and no row waits for a person any more."""
        return bool(self.scope.clauses) and not self.waiting


def build(
    entries: Iterable[Entry], answers: Answers = NO_ANSWERS, *, of: ProductRef | None = None
) -> Draft:
    """Return the scope that the entries come to. `of` is the product of rows that name none."""
    pieces = _Pieces()
    rows: list[Judged] = []
    counts = dict.fromkeys(Fate, 0)
    waiting: dict[str, int] = {}
    for entry in entries:
        judged = _judge(entry, answers, of)
        if judged.fate is Fate.TAKEN:
            judged = pieces.taken(judged, of)
        if judged.fate is Fate.WAITS:
            waiting[entry.group] = waiting.get(entry.group, 0) + 1
        counts[judged.fate] += 1
        rows.append(judged)
    return Draft(scope=pieces.scope(), rows=tuple(rows), counts=counts, waiting=waiting)


def _judge(entry: Entry, answers: Answers, of: ProductRef | None) -> Judged:
    if entry.heading:
        return Judged(entry=entry, fate=Fate.HEADING)
    if entry.why is not None or not entry.meanings:
        return Judged(entry=entry, fate=Fate.NOT_READ)
    if of is None and any(not each.product and not each.clause for each in entry.meanings):
        without = replace(entry, why=NotRead.NO_PRODUCT)
        return Judged(entry=without, fate=Fate.NOT_READ)
    if not entry.doubts:
        return Judged(entry=entry, fate=Fate.TAKEN, taken=entry.meanings[:1])
    written = answers.written.get(entry.place, "")
    first = entry.meanings[0]
    if written and first.test is not None and first.test.texts:
        fixed = replace(first, test=ScopeTest(kind=first.test.kind, texts=(written,)))
        return Judged(entry=entry, fate=Fate.TAKEN, taken=(fixed,))
    return _chosen(entry, answers.rows.get(entry.place) or answers.groups.get(entry.group))


def _chosen(entry: Entry, choice: Choice | None) -> Judged:
    match choice:
        case Choice.READ:
            taken = entry.meanings[:1]
        case Choice.OTHER:
            taken = entry.meanings[1:]
        case Choice.BOTH:
            taken = entry.meanings
        case Choice.LEAVE:
            return Judged(entry=entry, fate=Fate.LEFT_OUT)
        case None:
            taken = ()
    fate = Fate.TAKEN if taken else Fate.WAITS  # "the other" of a row that has none still waits
    return Judged(entry=entry, fate=fate, taken=taken)


class _Pieces:
    """The clauses under way: lists of one product grow together, all else is one clause each."""

    def __init__(self) -> None:
        self._lists: dict[tuple[ProductRef, Said], dict[str, str]] = {}
        self._others: dict[ScopeClause, str] = {}

    def taken(self, judged: Judged, of: ProductRef | None) -> Judged:
        """Add what the row says; a row that adds nothing is a double."""
        place, like, added = judged.entry.place, "", False
        for meaning in judged.taken:
            product = meaning.product or of
            if meaning.clause is None and product is None:
                continue
            test = meaning.test
            if product and not meaning.clause and test and test.texts:
                seen = self._lists.setdefault((product, test.kind), {})
                for text in test.texts:
                    first = seen.setdefault(text, place)
                    like, added = (like, True) if first is place else (first, added)
            else:
                clause = meaning.clause or ScopeClause(
                    products=(product,) if product else (), tests=(test,) if test else ()
                )
                first = self._others.setdefault(clause, place)
                like, added = (like, True) if first is place else (first, added)
        return judged if added else replace(judged, fate=Fate.DOUBLE, like=like)

    def scope(self) -> Scope:
        """Return the clauses, lists first, each in the order met."""
        lists = [
            ScopeClause(products=(product,), tests=(ScopeTest(kind=kind, texts=tuple(texts)),))
            for (product, kind), texts in self._lists.items()
        ]
        return Scope(clauses=(*lists, *self._others))
