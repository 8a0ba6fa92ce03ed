"""The beads: how much of one is there says how sure the record is. Classes carry the colour."""

from html import escape
from typing import Final

_RING: Final = '<path class="m-open" d="M4.3-7.4A8.6 8.6 0 1 1-4.3-7.4"/>'

MARKS: Final = {
    "whole": '<circle class="m-whole" r="9.5"/>',
    "known": '<circle class="m-known" r="9.5"/>',
    "half": '<g class="m-half"><path d="M-1.6-9.5A9.5 9.5 0 0 0-1.6 9.5Z"/>'
    '<path d="M2.2-8.3A8.3 8.3 0 0 1 2.2 8.3Z"/></g>',
    "khalf": '<g class="m-half k"><path d="M-1.6-9.5A9.5 9.5 0 0 0-1.6 9.5Z"/>'
    '<path d="M2.2-8.3A8.3 8.3 0 0 1 2.2 8.3Z"/></g>',
    "open": _RING,
    "cup": _RING,
    "gap": _RING,
    "wait": '<g class="m-wait"><path d="M-11-1.2A8.9 8.9 0 0 1 6.8-1.2Z"/>'
    '<path d="M-6.8 1.2A8.9 8.9 0 0 0 11 1.2Z"/></g>',
    "shut": '<path class="m-shut" d="M-11-8.5L0-2.2 11-8.5V8.5L0 2.2-11 8.5Z"/>',
    "off": '<rect class="m-off" x="-9" y="-1.7" width="18" height="3.4"/>',
    "tick": '<g class="m-tick"><rect x="-7" y="-7" width="14" height="14"/>'
    '<path d="M-3.6 0L-.8 3 4-3.6"/></g>',
    "untick": '<g class="m-tick"><rect x="-7" y="-7" width="14" height="14"/></g>',
    "none": "",
}

WORDS: Final = {
    "whole": "recorded",
    "half": "inside the pack, inner lot not known",
    "open": "empty",
    "wait": "waits for a person",
    "off": "not fitted",
    "tick": "ticked",
    "untick": "not ticked",
    "cup": "lot not readable",
    "gap": "lot not recorded",
}


def mark(kind: str, px: int = 24, label: str | None = None) -> str:
    """Return a bead as an SVG of its own; without a label it stands beside its word."""
    told = f'role="img" aria-label="{escape(label)}"' if label else 'aria-hidden="true"'
    return (
        f'<svg class="mk" {told} width="{px}" height="{px}" viewBox="-12 -12 24 24">'
        f"{MARKS[kind]}</svg>"
    )


def placed(kind: str, x: float, y: float, px: float) -> str:
    """Return a bead inside a larger drawing, centred at x, y."""
    return f'<g transform="translate({x:.1f} {y:.1f}) scale({px / 24:.3f})">{MARKS[kind]}</g>'
