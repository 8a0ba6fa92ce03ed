"""The lists of words that forms about runs, machines and kept circuits offer."""

from collections.abc import Sequence

from traceability.domain.at_the_run import (
    BODY_SITES,
    CUSTODY_REASONS,
    EQUIPMENT_KINDS,
    MODES,
    OFF_THE_SHEET,
    RUN_PART_KINDS,
)
from traceability.reads.circuit_parts import PartFacts
from traceability.reads.circuits import CircuitFacts
from traceability.reads.machines import MachineFacts
from traceability.run_messages import CUSTODY, EQUIPMENT, RUN_PARTS
from traceability.run_messages import MODES as MODE_WORDS


def places_on_sheet(circuit: CircuitFacts) -> list[PartFacts]:
    """Return one part of each place of the circuit that a piece can be added beside."""
    first = {part.slot: part for part in reversed(circuit.now_in)}
    return [
        part
        for part in circuit.now_in
        if first[part.slot] is part and part.slot not in OFF_THE_SHEET and not part.leaves
    ]


def run_words(register: Sequence[MachineFacts]) -> dict[str, object]:
    """Return what the templates of a run and a circuit need, by name."""
    return {
        "modes": [(mode, MODE_WORDS[mode]) for mode in MODES],
        "run_part_kinds": [(kind, RUN_PARTS[kind]) for kind in RUN_PART_KINDS],
        "body_sites": BODY_SITES,
        "equipment_kinds": [(kind, EQUIPMENT[kind]) for kind in EQUIPMENT_KINDS],
        "kind_words": {**EQUIPMENT, **RUN_PARTS},
        "register": [machine for machine in register if machine.active],
        "custody_reasons": [(code, CUSTODY[code]) for code in CUSTODY_REASONS],
        "custody_words": CUSTODY,
    }
