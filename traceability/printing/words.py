"""Texts on labels: runs of words, and lots and numbers that are read character by character."""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from traceability.printing.fonts import on_paper, text_width

LINE: Final = 1.2
"""Height of a line in the size of its font: what the fonts' accents and descents need."""
STEP: Final = 0.1
"""Points by which a text is made smaller until it fits."""
MUCH_SMALLER: Final = 0.7
"""Of the size in more lines: down to this, fewer lines read better."""
HAIR: Final = 1e-6
_PLACEHOLDER: Final = re.compile(r"\{([^{}]*)\}")


NO_BREAK: Final = "\u00a0"
_TOGETHER: Final = re.compile(
    r"(?<=\d) (?=%|(?:[mµ]?[Lgl]|kg|mm|cm|h|min|d|days?|hours?|units?|IU|°C)\b)"
    r"|(?<=\d{4}-\d\d-\d\d) (?=\d\d:\d\d)"
    r"|(?<=\d\d:\d\d) (?=[A-Z+-])"
)


def kept_together(text: str) -> str:
    """Return the text with no line break inside a quantity or a moment: 0.9 %, 04:10 CET."""
    return _TOGETHER.sub(NO_BREAK, text)


@dataclass(frozen=True, slots=True)
class Run:
    """Characters in one face."""

    text: str
    lot: bool = False
    """Read from a label: fixed width, letters underlined, digits not, never broken."""


LINE_END: Final = Run("\n")

Said = tuple[Run, ...]
"""What one field says."""


def plain(text: str) -> Said:
    """Return a text without lots in it."""
    return (Run(kept_together(on_paper(text))),) if text else ()


def lot(text: str) -> Said:
    """Return a text that was read from a label."""
    return (Run(on_paper(text), lot=True),) if text else ()


def as_text(said: Said) -> str:
    """Return the characters alone."""
    return "".join(run.text for run in said)


def placeholders(template: str) -> list[str]:
    """Return the names between braces, in order."""
    return _PLACEHOLDER.findall(template)


def filled(template: str, facts: Mapping[str, Said]) -> Said:
    """Return the template with its facts; empty when it names facts and all of them are empty."""
    names = placeholders(template)
    if names and not any(facts.get(name) for name in names):
        return ()
    runs: list[Run] = []
    for number, piece in enumerate(_PLACEHOLDER.split(template)):
        runs += facts.get(piece, ()) if number % 2 else _fixed(piece)
    return tuple(runs)


def _fixed(words: str) -> Iterator[Run]:
    """Yield the words of a label's file; a line may end in them, never in a fact."""
    for number, line in enumerate(words.split("\n")):
        if number:
            yield LINE_END
        yield from plain(line)


@dataclass(frozen=True, slots=True)
class Face:
    """A font of a label, and its fixed-width brother for lots."""

    font: str
    lots_everywhere: bool = False

    def of(self, run: Run) -> str:
        """Return the font of a run."""
        if not run.lot or self.font.startswith("mono"):
            return self.font
        return "mono-bold" if self.font.endswith("bold") else "mono"

    def marked(self, run: Run) -> bool:
        """Tell whether its letters are underlined."""
        return run.lot or self.lots_everywhere

    def width(self, runs: Iterable[Run], size: float) -> float:
        """Return the width of runs on one line, in points."""
        return sum(text_width(run.text, self.of(run), size) for run in runs)


def wrapped(said: Said, face: Face, size: float, room: float) -> list[Said] | None:
    """Return the lines of a text in `room` points, broken at blanks only; None: a word is wider."""
    lines: list[list[Run]] = [[]]
    for word in _words(said):
        if word == (LINE_END,):
            lines.append([])
            continue
        blank = [Run(" ")] if lines[-1] else []
        if face.width([*lines[-1], *blank, *word], size) <= room:
            lines[-1] += [*blank, *word]
        elif face.width(word, size) <= room:
            lines.append(list(word))
        else:
            return None
    return [tuple(line) for line in lines if line]


def broken(said: Said, face: Face, size: float, room: float) -> list[Said]:
    """Return the lines of a text in `room` points; a word that is wider is broken anywhere."""
    lines: list[Said] = []
    for word in _words(said):
        if lines and face.width([*lines[-1], Run(" "), *word], size) <= room:
            lines[-1] = (*lines[-1], Run(" "), *word)
            continue
        line: Said = ()
        for char in (Run(char, run.lot) for run in word for char in run.text):
            if line and face.width([*line, char], size) > room:
                lines.append(line)
                line = ()
            line = (*line, char)
        lines.append(line)
    return lines


def fitted(
    said: Said, face: Face, *, size: float, least: float, lines: int, wide: float, tall: float
) -> tuple[float, list[Said]] | None:
    """Return a size at which the text fits, and its lines; None: not even at `least`.

    All in points. Width and height both count. More lines are taken only where they make the
    text much larger: two words stay side by side as long as that is easy to read.
    """
    tenths = range(round(size / STEP), math.ceil(least / STEP - HAIR) - 1, -1)
    best: tuple[float, list[Said]] | None = None
    for now in (tenth * STEP for tenth in tenths):
        made = wrapped(said, face, now, wide)
        if made is None or len(made) > lines or len(made) * now * LINE > tall + HAIR:
            continue
        if best is None or (len(made) < len(best[1]) and now >= best[0] * MUCH_SMALLER):
            best = now, made
        if len(best[1]) <= 1 or now < best[0] * MUCH_SMALLER:
            break
    return best


def _words(said: Said) -> Iterator[Said]:
    """Yield what stands between blanks; a lot is one word whatever blanks are in it."""
    word: list[Run] = []
    for run in said:
        pieces = [run.text] if run.lot or run == LINE_END else run.text.split(" ")
        for number, piece in enumerate(pieces):
            if word and (number or run == LINE_END):
                yield tuple(word)
                word = []
            if run == LINE_END:
                yield (run,)
            elif piece:
                word.append(Run(piece, run.lot))
    if word:
        yield tuple(word)
