"""Whether a captured text is a wanted one: to the letter, by a person's ruling, or only alike."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from traceability.domain.scopes import Match, alike
from traceability.domain.shelves.facts import Ruling

__all__ = ["Texts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Texts:
    """The rulings in force, asked by item, maker and two texts."""

    same: Mapping[tuple[str, str, frozenset[str]], bool]

    @classmethod
    def of(cls, rulings: Iterable[Ruling]) -> "Texts":
        """Return what rulings, oldest first, amount to: the newest of a pair counts."""
        pairs = {(r.item, r.maker, frozenset((r.captured, r.notice))): r.same for r in rulings}
        return cls(same=pairs)

    def match(self, item: str, maker: str, captured: str, wanted: str) -> Match:
        """Compare two lot texts of one maker's item. A ruling speaks only of texts alike."""
        if alike(captured, wanted) is not Match.ALIKE:
            return alike(captured, wanted)
        ruled = self.same.get((item, maker, frozenset((captured, wanted))))
        if ruled is None:
            return Match.ALIKE
        return Match.IN if ruled else Match.OUT

    def match_any(self, item: str, maker: str, captured: str, wanted: Iterable[str]) -> Match:
        """Compare with several texts: one that fits is enough, else one that is alike."""
        found = {self.match(item, maker, captured, text) for text in wanted}
        for best in (Match.IN, Match.ALIKE):
            if best in found:
                return best
        return Match.OUT

    def booked(self, item: str, maker: str, captured: str, book: Iterable[str]) -> str | None:
        """Return the booked text that a captured one stands for; None where it was never booked.

        Its own text if booked, else a booked one that a person ruled to be the same.
        """
        texts = sorted(book)
        if captured in texts:
            return captured
        for text in texts:
            if self.match(item, maker, captured, text) is Match.IN:
                return text
        return None
