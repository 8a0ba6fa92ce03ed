"""What a later answer changed against an earlier one; both are kept."""

from collections.abc import Mapping
from dataclasses import dataclass

from traceability.domain.exposure import Shelf

__all__ = ["Changes", "changes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """Names of circuits or patients, in order, each in one group. Excluded is not in question."""

    added: tuple[str, ...]
    """In question now, and not before."""
    moved: tuple[str, ...]
    """In question both times, on another shelf."""
    unchanged: tuple[str, ...]
    cleared: tuple[str, ...]
    """In question before, and no longer."""


def changes(before: Mapping[str, Shelf], after: Mapping[str, Shelf]) -> Changes:
    """Return how the shelves changed; a name that is missing was or is not in question."""
    added, moved, unchanged, cleared = [], [], [], []
    for name in sorted({*before, *after}):
        was = before.get(name, Shelf.EXCLUDED)
        now = after.get(name, Shelf.EXCLUDED)
        if was is Shelf.EXCLUDED and now is not Shelf.EXCLUDED:
            added.append(name)
        elif was is not Shelf.EXCLUDED and now is Shelf.EXCLUDED:
            cleared.append(name)
        elif was is not now:
            moved.append(name)
        elif now is not Shelf.EXCLUDED:
            unchanged.append(name)
    return Changes(
        added=tuple(added), moved=tuple(moved), unchanged=tuple(unchanged), cleared=tuple(cleared)
    )
