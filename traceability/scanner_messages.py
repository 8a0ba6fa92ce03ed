"""What is said of a scanner that reads the acceptance sheet, and what to set if it is not right."""

from collections.abc import Mapping
from typing import Final

from traceability.domain.scanner_setup import Point, Told
from traceability.identifiers.gs1 import GS

__all__ = ["NAMES", "NOT_OF_THE_SHEET", "READ", "say_point", "shown_text"]

NAMES: Final[Mapping[Point, str]] = {
    Point.LAYOUT: "Keyboard layout",
    Point.CASE: "Capitals and small letters",
    Point.SEPARATOR: "Separator",
    Point.PREFIX: "Kind of symbol in front",
    Point.ENDING: "Ends with Enter",
    Point.SPEED: "Speed",
}
_RIGHT: Final[Mapping[Point, str]] = {
    Point.LAYOUT: "Right: every key came as US.",
    Point.CASE: "Right: they came as printed.",
    Point.SEPARATOR: "Right: it was sent.",
    Point.PREFIX: "Right: each read says which kind of symbol it was.",
    Point.ENDING: "Right.",
    Point.SPEED: "Right: told from a person's typing.",
}
_SET: Final[Mapping[Point, str]] = {
    Point.LAYOUT: "Set the scanner's keyboard layout to US English. The computer's own layout can "
    "stay: keys are read by their place.",
    Point.CASE: "Switch off “convert case” and “caps lock” in the scanner.",
    Point.SEPARATOR: "Set the scanner to send the separator: “GS1 field separator” or “function "
    "code 1” as character 29 (Ctrl and ]), or as the key F8.",
    Point.PREFIX: "Set the scanner to send the “AIM identifier” in front of all symbols.",
    Point.ENDING: "Set the scanner's suffix to Enter (carriage return). Without it each scan waits "
    "for a silence.",
    Point.SPEED: "Set the delay between characters to 0: these keys came as slowly as a person's.",
}
LAYOUT_NAMES: Final[Mapping[str, str]] = {
    "us": "US",
    "be": "Belgian",
    "de": "German",
    "es": "Spanish",
    "fr": "French",
    "it": "Italian",
    "se": "Swedish",
}
NOT_OF_THE_SHEET: Final = (
    "That is no symbol of the scanner sheet, or characters of it are others. Scan one from the "
    "sheet. Still so? Set the scanner's keyboard layout to US English."
)
READ: Final = "Read: {kind}."


def say_point(point: Point, told: Told) -> str:
    """Return what a read says of one point; empty where it says nothing."""
    if point in told.right:
        return _RIGHT[point]
    if point not in told.wrong:
        return ""
    if point is Point.LAYOUT and told.layouts:
        named = " or ".join(LAYOUT_NAMES.get(each, each) for each in told.layouts)
        return f"It types on a {named} keyboard. {_SET[point]}"
    return _SET[point]


def shown_text(text: str) -> str:
    """Return what came with its separators spelled out."""
    return text.replace(GS, "<GS>")
