"""What was published about how long a primed circuit may wait, beside each limit of the policy.

Figures, not a recommendation: the unit's policy and the maker's instructions win. Where only an
abstract or a title was read, the source says so.
"""

from dataclasses import dataclass
from typing import Final

from traceability.domain.use_by import Limits

__all__ = ["FIGURES", "Figure", "Figures"]

_DEFAULTS: Final = Limits()
NO_SOURCE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One published figure."""

    says: str
    source: str
    """Document, volume and pages or version, and how much of it was read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What was published about one limit of the policy."""

    code: str
    """Name of the field of `Limits`."""
    default: int | float | bool | None
    """What holds until the unit sets its own; None: no limit."""
    unit: str
    """"days", "hours" or empty for a yes or no."""
    found: tuple[Figure, ...]


_CENTRES: Final = "Winnersbach et al., ASAIO J 2024;70(11):979-986, abstract"
_DEPTULA: Final = "Deptula et al., Perfusion 2021;36(2):130-137, abstract"

FIGURES: Final = (
    Figures(
        code="wet_closed_days",
        default=_DEFAULTS.wet_closed_days,
        unit="days",
        found=(
            Figure(says="guideline limit 30 d, under conditions", source=_CENTRES),
            Figure(
                says="German centres discard at 20 d on average; 88 % of them have a limit",
                source=_CENTRES,
            ),
            Figure(
                says="neonatal centres: up to 150 d seen",
                source="Strudthoff et al., ASAIO J, doi 10.1097/MAT.0000000000002483, abstract",
            ),
            Figure(
                says="sterile for 35 d at 37 °C in six circuits in a laboratory",
                source="Perfusion 2013;28(3):208-13, doi 10.1177/0267659112469641, abstract",
            ),
            Figure(says="closed and wet, 6 weeks", source=_DEPTULA),
        ),
    ),
    Figures(
        code="dry_days",
        default=_DEFAULTS.dry_days,
        unit="days",
        found=(Figure(says="dry, open or closed, 60 d", source=_DEPTULA),),
    ),
    Figures(
        code="wet_open_days",
        default=_DEFAULTS.wet_open_days,
        unit="days",
        found=(
            Figure(says="open and wet, 5 d", source=_DEPTULA),
            Figure(
                says="a study of 6 days of standing by with an open reservoir exists",
                source="Tagaya et al., Interact CardioVasc Thorac Surg 2015:155-160, title only",
            ),
        ),
    ),
    Figures(
        code="blood_hours",
        default=_DEFAULTS.blood_hours,
        unit="hours",
        found=(
            Figure(says="bench study up to 16 h; its authors ask for a trial", source=_DEPTULA),
            Figure(
                says="4 h from entry of a container at room temperature, as blood bankers quote it "
                "for primed circuits",
                source="California Blood Bank Society e-network forum 2003, at second hand",
            ),
            Figure(
                says="4 h out of controlled storage",
                source="Brunskill et al., Transfus Med Rev 2012;26:209-23, abstract",
            ),
        ),
    ),
    Figures(
        code="opened_fluid_hours",
        default=_DEFAULTS.opened_fluid_hours,
        unit="hours",
        found=(Figure(says="not set: use at once; the pharmacist sets it", source=NO_SOURCE),),
    ),
    Figures(
        code="parts_expiry_counts",
        default=_DEFAULTS.parts_expiry_counts,
        unit="",
        found=(
            Figure(
                says="a sterile part used inside its date still limits the circuit; on because it "
                "is the stricter choice",
                source=NO_SOURCE,
            ),
        ),
    ),
    Figures(
        code="plasticiser_days",
        default=_DEFAULTS.plasticiser_days,
        unit="days",
        found=(
            Figure(
                says="plasticiser migrates from PVC tube the more the longer it is wet, seen over "
                "28 d; depends on tube and fluid",
                source="Horne et al., J Extra Corpor Technol 2009;41:199, abstract",
            ),
        ),
    ),
    Figures(
        code="check_hours",
        default=_DEFAULTS.check_hours,
        unit="hours",
        found=(Figure(says="looked at once a day, at the shift check", source=NO_SOURCE),),
    ),
    Figures(
        code="keep_pictures",
        default=_DEFAULTS.keep_pictures,
        unit="",
        found=(
            Figure(
                says="no: what was read is on record without the picture; yes keeps the dots "
                "alone, without place and time that a phone writes into them",
                source=NO_SOURCE,
            ),
        ),
    ),
)
"""In the order of the policy's page."""
