"""The shelf as one file that any browser opens without the service; it says it stands still."""

from collections.abc import Iterator
from html import escape
from typing import Final

from traceability.domain.shelf_list import ShelfLine, ShelfSection, ShelfSheet

__all__ = ["render_still_page"]

STYLE: Final = """\
:root { color-scheme: light dark; --paper: #f2f4f1; --ink: #13202a; --ink-2: #45535c;
  --rule: #c3ccc7; --edge: #6c7a76; --pine: #0b5341; --plum: #8a2670; }
@media (prefers-color-scheme: dark) { :root { --paper: #0c1214; --ink: #c8d2c4; --ink-2: #98a39f;
  --rule: #2e3b3e; --edge: #768583; --pine: #6fb59c; --plum: #d867ae; } }
* { box-sizing: border-box; }
body { margin: 0; padding: 1.25rem clamp(1rem, 3vw, 2.5rem) 2rem; background: var(--paper);
  color: var(--ink); font: 400 1.125rem/1.4 "Segoe UI", "Helvetica Neue", "Liberation Sans", Arial,
  sans-serif; font-variant-numeric: tabular-nums lining-nums; }
h1 { font-size: clamp(2.5rem, 7vw, 5rem); line-height: 1.05; letter-spacing: -.025em;
  margin: .2em 0; }
h2 { font-size: 1.125rem; font-weight: 400; color: var(--ink-2); margin: 2rem 0 .25rem; }
p { margin: .25rem 0; }
.still { font-size: 1.375rem; font-weight: 700; border: 3px solid var(--edge);
  padding: .5rem 1rem; }
ul { list-style: none; margin: 0; padding: 0; }
li { display: grid; grid-template-columns: 2.5rem minmax(0, 1fr); gap: 0 .75rem;
  border-bottom: 1px solid var(--rule); padding: .6rem 0; overflow-wrap: anywhere; }
li svg { width: 2.25rem; height: 2.25rem; fill: var(--ink); }
.whole svg { fill: var(--pine); } .wait svg { fill: var(--plum); }
.open svg { fill: none; stroke: var(--ink-2); stroke-width: 2.8; }
.state { font-size: 1.5rem; font-weight: 700; line-height: 1.2; }
.whole .state { color: var(--pine); }
.number { font-family: "Cascadia Mono", "SF Mono", Menlo, Consolas, "DejaVu Sans Mono", monospace; }
.dim { color: var(--ink-2); }
.nw { white-space: nowrap; }
@media print { :root { --paper: #fff; --ink: #000; --ink-2: #333; --pine: #000; --plum: #000; } }
"""

BEADS: Final = {
    "whole": '<circle r="9.5"/>',
    "known": '<circle r="9.5"/>',
    "open": '<path d="M4.3-7.4A8.6 8.6 0 1 1-4.3-7.4"/>',
    "wait": '<path d="M-11-1.2A8.9 8.9 0 0 1 6.8-1.2Z"/>'
    '<path d="M-6.8 1.2A8.9 8.9 0 0 0 11 1.2Z"/>',
    "shut": '<path d="M-11-8.5L0-2.2 11-8.5V8.5L0 2.2-11 8.5Z"/>',
}


def render_still_page(sheet: ShelfSheet) -> str:
    """Return the page: no script, nothing fetched, no people."""
    practice = "<p class='still'>Practice: nothing here is real</p>" if sheet.practice else ""
    ring = (
        f"<p>Ring <b>{escape(sheet.ring)}</b>. The service rings nobody.</p>" if sheet.ring else ""
    )
    body = "\n".join(part for section in sheet.sections for part in _section(section))
    return f"""\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{escape(sheet.headline)} · {escape(sheet.as_known)}</title>
<style>
{STYLE}</style>
</head>
<body>
{practice}<p class="still">{escape(sheet.still)}</p>
<main>
<h1>{escape(sheet.headline)}</h1>
<p>Ready shelf, {escape(sheet.unit)}</p>
{ring}
{body}
</main>
<p class="dim">{escape(sheet.caution)}</p>
</body>
</html>
"""


def _section(section: ShelfSection) -> Iterator[str]:
    yield f"<h2>{escape(section.name)}</h2>\n<ul>"
    yield from (_line(each) for each in section.lines)
    yield "</ul>"


def _line(each: ShelfLine) -> str:
    number = f'<b class="number">{escape(each.number)}</b>' if each.number else ""
    where = ", ".join(piece for piece in (number, escape(each.place)) if piece)
    use_by = f'<p>Use by <b class="nw">{escape(each.use_by)}</b></p>' if each.use_by else ""
    details = "".join(f'<p class="dim">{escape(line)}</p>' for line in each.details)
    return (
        f'<li class="{each.bead}"><svg viewBox="-12 -12 24 24" aria-hidden="true">'
        f'{BEADS[each.bead]}</svg><div><p class="state">{escape(each.state)}</p>'
        f"<p>{where}</p>{use_by}{details}</div></li>"
    )
