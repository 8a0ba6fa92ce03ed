"""Words for what belongs to a run: modes, run parts, machines, and a circuit that is kept."""

from collections.abc import Callable, Mapping
from typing import Final, TypeAlias

Facts: TypeAlias = Mapping[str, object]

RUN_PARTS: Final = {
    "cannula": "Cannula",
    "guide-wire": "Guide wire",
    "reperfusion-line": "Reperfusion line",
}

EQUIPMENT: Final = {
    "console": "Console",
    "pump-drive": "Pump drive",
    "heater-cooler": "Heater-cooler",
    "blender": "Blender",
}

MODES: Final = {"VV": "VV", "VA": "VA", "other": "Other"}

CUSTODY: Final = {
    "to-look-at": "to be looked at here",
    "to-store": "to be stored here",
    "to-maker": "sent to the maker",
    "to-authority": "sent to the authority",
    "to-laboratory": "sent to a laboratory",
    "other": "for another reason",
}
"""Why a kept circuit was passed on."""


def say_extra(kind: str, body: Facts) -> str:
    """Return what was added, given, connected, put in or passed on; empty for other kinds."""
    words = _EXTRAS.get(kind)
    return words(body) if words else ""


def _equipment(body: Facts) -> str:
    word = EQUIPMENT.get(str(body.get("what")), str(body.get("what"))).lower()
    if body.get("none_used") is True:
        return f"no {word} used"
    serial = body.get("serial")
    return f"{word}, serial {serial}" if serial else f"{word}, serial not recorded"


def _additive(body: Facts) -> str:
    dose = f"{body.get('dose') or ''} {body.get('unit') or ''}".strip()
    said = [str(body.get("name")), dose, "blood" if body.get("blood") is True else ""]
    return _with_lot(", ".join(each for each in said if each), body.get("lot_text"))


def _run_part(body: Facts) -> str:
    what = RUN_PARTS.get(str(body.get("what")), str(body.get("what"))).lower()
    site = f", {body['site']}" if body.get("site") else ""
    return _with_lot(f"{what}{site}", body.get("lot_text"))


def _with_lot(said: str, lot: object) -> str:
    return f"{said}, lot {lot}" if lot else said


_EXTRAS: Final[Mapping[str, Callable[[Facts], str]]] = {
    "mode-set": lambda body: MODES.get(str(body.get("mode")), ""),
    "run-part-in": _run_part,
    "run-part-out": _run_part,
    "equipment-on": _equipment,
    "part-added": lambda body: _with_lot(str(body.get("kind")).replace("-", " "), body.get("lot")),
    "additive-given": _additive,
    "custody-passed": lambda body: CUSTODY.get(str(body.get("reason")), ""),
}
