"""Packaging levels: what a carton's identifier opens to, so that one scan counts its units.

Which carton holds what is the hospital's knowledge, given as a lookup; two standards' own hints
are read from the symbol: GS1 (02) with (37), and a quantity beside the product.
"""

from collections.abc import Callable
from dataclasses import dataclass

from .reading import Reading, Standard, Status

__all__ = ["Contents", "Level", "opened", "stated_contents"]

_DEEPEST = 10
"""More levels than any pallet has; a table that runs in a circle ends here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One step down: `count` pieces of `holds` are in one package."""

    holds: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a scanned package comes to.

    Attributes:
        device_identifier: of the smallest unit known.
        count: how many of it; 1 for a unit itself.
        levels: identifiers passed on the way, outermost first.
    """

    device_identifier: str
    count: int
    levels: tuple[str, ...]


def opened(device_identifier: str, inside: Callable[[str], Level | None]) -> Contents:
    """Return the units in the package `device_identifier`, through all known levels.

    Args:
        device_identifier: of the package that was scanned.
        inside: what one package of that identifier holds; None for a unit or an unknown one.

    Raises:
        ValueError: a count below 1, or levels that run in a circle.
    """
    count, levels = 1, [device_identifier]
    while (level := inside(levels[-1])) is not None:
        if level.count < 1 or level.holds in levels or len(levels) > _DEEPEST:
            raise ValueError(levels[-1])
        count *= level.count
        levels.append(level.holds)
    return Contents(device_identifier=levels[-1], count=count, levels=tuple(levels))


def stated_contents(reading: Reading) -> Contents | None:
    """Return what the symbol itself says it holds, None if it says nothing.

    A shipping unit states the product inside (02) and its count (37); that product is not the
    thing in the hand. Source: GS1 General Specifications, section 3.2.
    """
    known = dict(reading.elements)
    if reading.status is not Status.OK or reading.standard is not Standard.GS1:
        return None
    if "02" in known and "37" in known:
        return Contents(
            device_identifier=known["02"], count=int(known["37"]), levels=(known["02"],)
        )
    return None
