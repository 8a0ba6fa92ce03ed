"""Packs on a trolley as a camera sees them: our own symbols, photographed badly enough."""

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from traceability.printing.barcodes import TYPES, made_symbol

TABLE: Final = 150
"""Grey of the trolley's top."""
PAPER: Final = 244
BARS: Final = 60
"""Dots: height of a linear symbol."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One pack and the symbols printed on it, one below the other."""

    symbols: tuple[tuple[str, str], ...]
    """Kind (as in `printing.barcodes.TYPES`) and text."""
    words: str = ""


def matrix(text: str, words: str = "") -> Pack:
    """Return a pack with one GS1 Data Matrix; the text as a scanner sends it."""
    return Pack(symbols=(("gs1-datamatrix", text.removeprefix("]d2")),), words=words)


def drawn_symbol(kind: str, text: str, module: int) -> Image.Image:
    """Return the symbol with its quiet zone, `module` dots a module."""
    rows = np.array(made_symbol(kind, text).rows)
    if TYPES[kind].linear:
        rows = np.repeat(rows, max(BARS // module, 1), axis=0)
    quiet = TYPES[kind].quiet
    dots = np.where(np.pad(rows, quiet), 20, PAPER).astype(np.uint8)
    return Image.fromarray(dots).resize(
        (dots.shape[1] * module, dots.shape[0] * module), Image.Resampling.NEAREST
    )


def drawn_pack(pack: Pack, module: int) -> Image.Image:
    """Return the pack: paper, words, symbols; bars are printed finer than squares."""
    symbols = [
        drawn_symbol(kind, text, max(module // 2, 2) if TYPES[kind].linear else module)
        for kind, text in pack.symbols
    ]
    wide = max(each.width for each in symbols) + 24
    tall = sum(each.height for each in symbols) + 12 * len(symbols) + 36
    paper = Image.new("L", (max(wide, 150), tall), PAPER)
    ImageDraw.Draw(paper).text((12, 10), pack.words, fill=30)
    top = 30
    for each in symbols:
        paper.paste(each, (12, top))
        top += each.height + 12
    return paper


def photo(
    packs: Sequence[Pack],
    *,
    size: tuple[int, int] = (2400, 1600),
    columns: int = 5,
    module: int = 6,
    turned: bool = True,
) -> Image.Image:
    """Return a photo of packs in rows, each a little askew, with a camera's noise."""
    rows = -(-len(packs) // columns)
    table = Image.new("L", size, TABLE)
    for number, pack in enumerate(packs):
        paper = drawn_pack(pack, module)
        angle = (-7, 4, 9, -3)[number % 4] if turned else 0
        askew = paper.rotate(angle, expand=True, fillcolor=TABLE, resample=Image.Resampling.BICUBIC)
        column, row = number % columns, number // columns
        x = (2 * column + 1) * size[0] // (2 * columns) - askew.width // 2
        y = (2 * row + 1) * size[1] // (2 * rows) - askew.height // 2
        table.paste(askew, (x, y))
    noise = np.random.default_rng(7).normal(0, 5, (size[1], size[0]))
    dots = np.clip(np.asarray(table, np.float64) + noise, 0, 255).astype(np.uint8)
    return Image.fromarray(dots).convert("RGB")


def jpeg(picture: Image.Image, **options: object) -> bytes:
    """Return the picture as a phone sends it."""
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=88, **options)
    return out.getvalue()


def held_up(packs: Sequence[Pack], *, shake: int = 0, module: int = 8) -> bytes:
    """Return one frame of a live camera: packs held up before it, or nobody."""
    frame = photo(packs, size=(1280, 720), columns=2, module=module, turned=bool(packs))
    return jpeg(frame.transform(frame.size, Image.Transform.AFFINE, (1, 0, shake, 0, 1, -shake)))


def clip(scenes: Iterable[tuple[Sequence[Pack], int]]) -> bytes:
    """Return a film: each scene with its number of frames, the hand never quite still.

    One JPEG after the other, as the browser's own stand-in for a camera plays them again and again.
    """
    film = []
    for packs, frames in scenes:
        shots = [held_up(packs, shake=shake) for shake in (0, 4, 8, 4)]
        film += [shots[number // 3 % len(shots)] for number in range(frames)]
    return b"".join(film)
