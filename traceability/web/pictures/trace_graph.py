"""A trace as a graph: from the part's side at the left to the patient's at the right.

Columns are fixed, so that a picture of tomorrow can be compared with one of today. A node is a word
on a line, and how much of its bead is there says how sure the record is; so do the links: full,
double where it is inferred, dashed where it is possible. Links run only between the columns and
between the rows, never through a word. A column that is too long ends in a count that leads to the
table. What could have met at no common time is not drawn.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Final

from traceability.domain.trace import Link, Node, Sort, Sure, Trace
from traceability.web.pictures.letters import cut
from traceability.web.pictures.trace_strokes import DETAIL, Drawn, link_svg, link_words, node_svg

WIDTH: Final = 1224
TOP: Final = 54
ROW, HEAD, BELOW = 52, 30, 34
"""Between two nodes, before a heading within a column, and under the last row."""
RAIL_MOST, GAP_LEAST, GAP_MOST = 260, 84, 210
FOLDS, KEPT = 24, 12
"""A column longer than the first shows only the second, and a count: more would not print on A4."""

ORDER: Final = (
    Sort.SCOPE,
    Sort.PRODUCT,
    Sort.LOT,
    Sort.UNIT,
    Sort.GAP,
    Sort.MACHINE,
    Sort.PLACE,
    Sort.PERSON,
    Sort.SPAN,
    Sort.CIRCUIT,
    Sort.RUN,
    Sort.PATIENT,
)
COLUMN: Final = {Sort.CIRCUIT: 1, Sort.RUN: 2, Sort.PATIENT: 3}
"""Everything else stands at the left."""

WITHOUT_PARTS: Final = {Sort.MACHINE, Sort.PLACE, Sort.PERSON, Sort.SPAN}
"""Asked about one of these, what is inside the circuits stands in the tables and is not drawn:
they have little more in common, and every lot would be linked to each."""

Address = Callable[[Node], str]
"""Where a node's word leads; empty: nowhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """The words of a picture, from where words are kept."""

    title: str
    heads: Mapping[Sort, str]
    """Above the nodes of each sort."""
    more: Callable[[Sort, int, bool], str]
    """ "and 4,987 more circuits"; the last says whether that is exact."""
    note: Callable[[int], str]
    """Of runs that are not drawn, for they met at no common time."""


def trace_graph(trace: Trace, words: Words, address: Address, *, key: str = "graph") -> str:
    """Return the graph as SVG; `key` begins its ids."""
    links = [link for link in trace.links if link.sure is not Sure.APART]
    drawn, apart = _chosen(trace, links, words, address)
    by_key = {each.key: each for each in drawn}
    links = [link for link in links if {link.source, link.target} <= by_key.keys()]
    links += _of_counts(trace, by_key)
    heads = _place(drawn, links, words)
    columns = sorted({each.column for each in drawn})
    rail, gap = _widths(len(columns))
    left = {column: index * (rail + gap) for index, column in enumerate(columns)}
    note = words.note(apart) if apart else ""
    bottom = max(each.y for each in drawn) + BELOW + (24 if note else 0)
    said = "; ".join(link_words(link, by_key) for link in links) or trace.subject.label
    out = [
        f'<svg class="trace" role="group" aria-labelledby="{key}-title {key}-desc" '
        f'viewBox="0 0 {WIDTH} {bottom:.0f}" data-wide="{WIDTH}">'
        f'<title id="{key}-title">{escape(words.title)}</title>'
        f'<desc id="{key}-desc">{escape(said + (f"; {note}" if note else ""))}</desc>'
    ]
    rows = {column: [each.y for each in drawn if each.column == column] for column in columns}
    out += [link_svg(link, by_key, left, rail, rows) for link in links]
    out += [
        f'<text class="over" x="{left[column]:.1f}" y="{y:.1f}">'
        f"{escape(cut(text, rail, DETAIL, bold=True))}</text>"
        for column, y, text in heads
    ]
    out += [node_svg(each, left[each.column], rail) for each in drawn]
    if note:
        out.append(f'<text class="note" x="0" y="{bottom - 8:.1f}">{escape(note)}</text>')
    return "".join(out) + "</svg>"


def _widths(columns: int) -> tuple[float, float]:
    """Return the length of a rail and the room between two columns."""
    rail = min((WIDTH - GAP_LEAST * (columns - 1)) / columns, RAIL_MOST)
    gap = (WIDTH - rail * columns) / (columns - 1) if columns > 1 else 0.0
    return rail, min(gap, GAP_MOST)


def _chosen(
    trace: Trace, links: Sequence[Link], words: Words, address: Address
) -> tuple[list[Drawn], int]:
    """Return what is drawn, and how many runs are not, for they met at no common time."""
    sources: dict[str, list[Link]] = {}
    targets: dict[str, list[Link]] = {}
    for link in links:
        sources.setdefault(link.source, []).append(link)
        targets.setdefault(link.target, []).append(link)
    subject = trace.subject
    drawn = {subject.key: _drawn(subject, 1, [], address, is_subject=True)}
    drawn[subject.key].column = COLUMN.get(subject.sort, 0)
    apart, is_dense = 0, subject.sort in WITHOUT_PARTS
    for sort in (Sort.CIRCUIT, Sort.RUN, Sort.PATIENT, *ORDER[:9]):
        listed = trace.listed(sort)
        nodes = [node for node in listed.nodes if node.key not in drawn]
        if sort in {Sort.RUN, Sort.PATIENT}:
            met = [n for n in nodes if any(k.source in drawn for k in targets.get(n.key, []))]
            apart += (len(nodes) - len(met)) if sort is Sort.RUN and not listed.more else 0
            nodes = met
        elif sort in {Sort.LOT, Sort.UNIT, Sort.GAP, Sort.PERSON} and is_dense:
            continue
        elif sort is not Sort.CIRCUIT:
            nodes = [n for n in nodes if any(k.target in drawn for k in sources.get(n.key, []))]
        keep = nodes if len(nodes) <= FOLDS and not listed.more else nodes[:KEPT]
        for node in keep:
            column = COLUMN.get(sort, 0)
            if (
                column == 0
                and sources.get(node.key)
                and all(link.target.startswith(f"{Sort.RUN}:") for link in sources[node.key])
            ):
                column = 1  # it met the run itself: it stands beside the circuits
            drawn[node.key] = _drawn(node, column, targets.get(node.key, []), address)
        rest = len(nodes) - len(keep) + listed.more
        if rest > 0 and (keep or sort is Sort.CIRCUIT):
            count = Drawn(
                key=f"more:{sort}",
                sort=sort,
                column=COLUMN.get(sort, 0),
                label=words.more(sort, rest, listed.exact),
                href=f"#{sort}",
                is_count=True,
            )
            drawn[count.key] = count
    return list(drawn.values()), apart


def _drawn(
    node: Node, column: int, into: Sequence[Link], address: Address, *, is_subject: bool = False
) -> Drawn:
    sure = Sure.SURE
    if into and all(link.sure is not Sure.SURE for link in into):
        inferred = any(link.sure is Sure.INFERRED for link in into)
        sure = Sure.INFERRED if inferred else Sure.POSSIBLE
    return Drawn(
        key=node.key,
        sort=node.sort,
        column=column,
        label=node.label,
        detail=node.detail,
        href=address(node),
        sure=sure,
        is_subject=is_subject,
    )


def _of_counts(trace: Trace, drawn: Mapping[str, Drawn]) -> list[Link]:
    """Return links to the counts: they stand for nodes that are linked like those beside them."""
    chain = [
        trace.subject.key,
        *(f"more:{sort}" for sort in (Sort.CIRCUIT, Sort.RUN, Sort.PATIENT)),
    ]
    there = [key for key in chain if key in drawn]
    return [
        Link(source=one, target=two)
        for one, two in pairwise(there)
        if drawn[one].column < drawn[two].column
    ]


def _place(drawn: list[Drawn], links: Sequence[Link], words: Words) -> list[tuple[int, float, str]]:
    """Give each node its height, and return the headings with their places."""
    by_key = {each.key: each for each in drawn}
    heads: list[tuple[int, float, str]] = []
    for column in (1, 2, 3, 0):
        mine = [each for each in drawn if each.column == column]
        wish = {each.key: _wish(each, links, by_key) for each in mine}
        groups = [[each for each in mine if each.sort is sort] for sort in ORDER]
        # In the column of circuits what met the runs itself comes below them.
        if column == 1:
            groups.sort(key=lambda group: bool(group) and group[0].sort is not Sort.CIRCUIT)
        y = float(TOP - ROW)
        for group in (each for each in groups if each):
            if column > 1:
                group.sort(key=lambda each: (each.is_count, wish[each.key]))
            else:
                group.sort(key=lambda each: (not each.is_subject, each.is_count))
            first = y > 0
            y += HEAD if first else 0
            for index, each in enumerate(group):
                y += ROW
                if column > 1 and not each.is_count:
                    y = max(y, wish[each.key])
                each.y = y
                if index == 0:
                    heads.append((column, y - 36, words.heads.get(each.sort, str(each.sort))))
    return heads


def _wish(one: Drawn, links: Sequence[Link], by_key: Mapping[str, Drawn]) -> float:
    """Return the height at which a node would stand right behind those it is linked from."""
    heights = [
        by_key[link.source].y
        for link in links
        if link.target == one.key and by_key[link.source].sort in {Sort.CIRCUIT, Sort.RUN}
    ]
    return sum(heights) / len(heights) if heights else 0.0
