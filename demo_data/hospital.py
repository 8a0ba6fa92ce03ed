"""Who works at Norrvik Sound Hospital, at which devices, and where circuits stand. All invented."""

from dataclasses import dataclass
from typing import Final
from uuid import UUID, uuid5

SITE_ID: Final = UUID("0b7f3c52-6a1e-4c1d-9d54-2f8e51c0aa38")
"""Fixed, so that tags printed from one demo are read by the next."""

NAME: Final = "Norrvik Sound Hospital"
UNIT: Final = "Intensive care 2"
RING: Final = "5512"
PIN: Final = "417203"
"""One PIN for everybody: this is a place to look around in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Colleague:
    """Somebody with a badge."""

    name: str
    badge: str
    roles: tuple[str, ...]

    @property
    def id(self) -> UUID:
        """The same in every demo."""
        return uuid5(SITE_ID, f"person:{self.badge}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """A device that is enrolled with a one-time code."""

    name: str
    place: str
    enrol_code: str

    @property
    def id(self) -> UUID:
        """The same in every demo."""
        return uuid5(SITE_ID, f"device:{self.name}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """A place."""

    code: str
    name: str
    kind: str
    stands_for: str | None = None

    @property
    def id(self) -> UUID:
        """The same in every demo."""
        return uuid5(SITE_ID, f"place:{self.code}")


LIND: Final = Colleague(name="E. Lind", badge="LIND", roles=("primer",))
RUIZ: Final = Colleague(name="J. Ruiz", badge="RUIZ", roles=("helper", "bedside and perfusion"))
OKORO: Final = Colleague(name="T. Okoro", badge="OKORO", roles=("primer", "helper"))
SATO: Final = Colleague(name="M. Sato", badge="SATO", roles=("helper", "bedside and perfusion"))
FALK: Final = Colleague(name="I. Falk", badge="FALK", roles=("retrieval", "bedside and perfusion"))
AALTO: Final = Colleague(name="N. Aalto", badge="AALTO", roles=("charge consultant",))
VENN: Final = Colleague(name="P. Venn", badge="VENN", roles=("stock", "biomedical engineer"))
HALE: Final = Colleague(name="S. Hale", badge="HALE", roles=("pharmacist",))
DEY: Final = Colleague(name="R. Dey", badge="DEY", roles=("recall coordinator",))
BERG: Final = Colleague(name="K. Berg", badge="BERG", roles=("auditor",))
MOEN: Final = Colleague(name="A. Moen", badge="MOEN", roles=("administrator",))
WAHL: Final = Colleague(name="O. Wahl", badge="WAHL", roles=("primer",))
"""Left after the first year; what that person signed stays."""

PEOPLE: Final = (LIND, RUIZ, OKORO, SATO, FALK, AALTO, VENN, HALE, DEY, BERG, MOEN, WAHL)

TROLLEY_1: Final = Screen(name="Trolley 1", place="priming room", enrol_code="NSH2TRKA")
TROLLEY_2: Final = Screen(name="Trolley 2", place="priming room", enrol_code="NSH2TRKB")
PHONE_4: Final = Screen(name="Phone 4", place="bedside", enrol_code="NSH2PHN4")
DESK: Final = Screen(name="Desk", place="charge desk", enrol_code="NSH2DESK")

SCREENS: Final = (TROLLEY_1, TROLLEY_2, PHONE_4, DESK)

CONSOLE_3: Final = Stand(code="C3", name="console 3", kind="console", stands_for="mounted")
BOX_3: Final = Stand(code="B3", name="box 3", kind="box", stands_for="boxed")
BOX_1: Final = Stand(code="B1", name="box 1", kind="box")
BOX_2: Final = Stand(code="B2", name="box 2", kind="box")
ON_TROLLEY_1: Final = Stand(code="T1", name="trolley 1", kind="trolley")
ON_TROLLEY_2: Final = Stand(code="T2", name="trolley 2", kind="trolley")
BEDS: Final = tuple(Stand(code=f"BED{n}", name=f"bed {n}", kind="bed") for n in range(1, 9))
RETRIEVAL_STORE: Final = Stand(code="RS", name="retrieval store", kind="store")
QUARANTINE: Final = Stand(code="Q", name="quarantine bin", kind="bin")

STANDS: Final = (
    CONSOLE_3,
    BOX_3,
    BOX_1,
    BOX_2,
    ON_TROLLEY_1,
    ON_TROLLEY_2,
    *BEDS,
    RETRIEVAL_STORE,
    QUARANTINE,
)
