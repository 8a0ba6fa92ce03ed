"""What belongs to a run besides its circuits, as lanes: mode, run parts, machines."""

from traceability.reads.run_extras import RunExtras, RunPartFacts, UseFacts
from traceability.run_messages import EQUIPMENT, MODES, RUN_PARTS
from traceability.web.pictures.letters import Label
from traceability.web.pictures.timeline import Bar, Lane


def beside_lanes(extras: RunExtras) -> tuple[Lane, ...]:
    """Return a lane for the mode, one for each run part, and one for each kind of machine."""
    modes = tuple(
        Bar(mode.from_, mode.until, "thin", (MODES.get(mode.mode, mode.mode),))
        for mode in extras.modes
    )
    kinds = [kind for kind in EQUIPMENT if any(use.kind == kind for use in extras.uses)]
    return (
        *((Lane("Mode", modes),) if modes else ()),
        *(_part(part) for part in extras.parts),
        *(
            Lane(EQUIPMENT[kind], tuple(_use(use) for use in extras.uses if use.kind == kind))
            for kind in kinds
        ),
    )


def _part(part: RunPartFacts) -> Lane:
    name = RUN_PARTS.get(part.kind, part.kind.replace("-", " ").capitalize())
    return Lane(name, (Bar(part.from_, part.until, _style(part), _part_label(part)),))


def _part_label(part: RunPartFacts) -> Label:
    site = "" if part.body_site == "not recorded" else f", {part.body_site}"
    doubt = ", disputed" if part.disputed else ""
    if part.lot:
        return ("lot ", part.lot, f"{site}{doubt}") if site or doubt else ("lot ", part.lot)
    return (f"lot not recorded{site}{doubt}",)


def _use(use: UseFacts) -> Bar:
    return Bar(use.from_, use.until, _style(use), _use_label(use))


def _use_label(use: UseFacts) -> Label:
    if use.none_used:
        return ("none used",)
    doubt = ", disputed" if use.disputed else ""
    number = use.asset_number or use.serial
    if number:
        return ("", number, doubt) if doubt else ("", number)
    return (f"serial not recorded{doubt}",)


def _style(of: RunPartFacts | UseFacts) -> str:
    return "open" if of.disputed else "thin"
