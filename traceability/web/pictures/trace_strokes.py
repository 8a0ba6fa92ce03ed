"""The strokes of a trace's graph: a link between columns, and a word on its line with its bead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from traceability.domain.trace import Link, Sort, Sure
from traceability.web.pictures.letters import MONO, cut, label_svg, wide
from traceability.web.pictures.marks import placed

LABEL, DETAIL = 15, 13
"""Sizes of letters; the same stand in trace.css."""
BEAD: Final = 16


@dataclass(slots=True, kw_only=True)
class Drawn:
    """A node with its place; a count of more has no node."""

    key: str
    sort: Sort
    column: int
    label: str
    detail: str = ""
    href: str = ""
    sure: Sure = Sure.SURE
    is_subject: bool = False
    is_count: bool = False
    y: float = 0.0


def link_svg(
    link: Link,
    by_key: Mapping[str, Drawn],
    left: Mapping[int, float],
    rail: float,
    rows: Mapping[int, Sequence[float]],
) -> str:
    """Return a link; between columns in between it runs level, under no word."""
    one, two = by_key[link.source], by_key[link.target]
    x, y = left[one.column] + rail, one.y
    path = f"M{x:.1f} {y:.1f}"
    if one.column == two.column:
        return ""
    between = [column for column in left if one.column < column < two.column]
    for number, column in enumerate(between, start=1):
        aim = one.y + (two.y - one.y) * number / (len(between) + 1)
        free = [height + 26 for height in rows[column]]
        pass_at = min(free, key=lambda each: (abs(each - aim), each))
        path += _bend(x, y, left[column], pass_at) + f"H{left[column] + rail:.1f}"
        x, y = left[column] + rail, pass_at
    path += _bend(x, y, left[two.column], two.y)
    title = f"<title>{escape(link_words(link, by_key))}</title>"
    if link.sure is Sure.INFERRED:
        both = f'<path class="two" d="{path}"/><path class="in" d="{path}"/>'
        return f'<g class="link">{title}{both}</g>'
    css = "maybe" if link.sure is Sure.POSSIBLE else "sure"
    return f'<path class="link {css}" d="{path}">{title}</path>'


def _bend(x: float, y: float, to_x: float, to_y: float) -> str:
    middle = (x + to_x) / 2
    return f"C{middle:.1f} {y:.1f} {middle:.1f} {to_y:.1f} {to_x:.1f} {to_y:.1f}"


BEADS: Final = {Sure.SURE: "known", Sure.INFERRED: "khalf", Sure.POSSIBLE: "open"}


def node_svg(one: Drawn, x: float, rail: float) -> str:
    """Return a node at its place."""
    inner = x + BEAD
    room = rail - BEAD
    label, is_read = one.label, one.sort in {Sort.LOT, Sort.UNIT, Sort.CIRCUIT, Sort.RUN}
    if one.is_count or not is_read:
        shown = escape(cut(label, room, LABEL, bold=True))
        short = wide(label, LABEL, bold=True) > room
    else:
        fits = int(room / (MONO * LABEL))
        short = len(label) > fits
        shown = label_svg(("", f"{label[: fits - 1]}…" if short else label))
    css = "label lead" if one.is_subject else "label"
    text = f'<text class="{css}" x="{inner:.1f}" y="{one.y - 8:.1f}">{shown}</text>'
    if short or wide(one.detail, DETAIL) > room:
        told = ", ".join(word for word in (label, one.detail) if word)
        text = f"<g><title>{escape(told)}</title>{text}</g>"
    if one.href:
        text = f'<a href="{escape(one.href)}">{text}</a>'
    css = "rail count" if one.is_count else "rail lead" if one.is_subject else "rail"
    line = f'<path class="{css}" d="M{x:.1f} {one.y:.1f}h{rail:.1f}"/>'
    bead = "" if one.is_count else placed(BEADS[one.sure], x + 6, one.y, BEAD)
    under = ""
    if one.detail:
        under = (
            f'<text class="detail" x="{inner:.1f}" y="{one.y + 16:.1f}">'
            f"{escape(cut(one.detail, room, DETAIL))}</text>"
        )
    return line + bead + text + under


def link_words(link: Link, by_key: Mapping[str, Drawn]) -> str:
    """Return what a link says."""
    how = {Sure.SURE: "", Sure.INFERRED: " (inferred)", Sure.POSSIBLE: " (possible)"}
    return f"{by_key[link.source].label} – {by_key[link.target].label}{how.get(link.sure, '')}"
