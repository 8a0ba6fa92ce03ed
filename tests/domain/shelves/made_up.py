"""Random small stories in the form of the recall stories, for laws and the reference."""

from typing import Any

from hypothesis import strategies as st

MAKERS = ["Oskerby Devices", "Mellowick Perfusion"]
LOTS = ["L1", "L-1", "L2", "L3"]
BOXES = ["B1", "B2"]
SERIALS = ["W-1", "W-2", "W-3", "W-04"]
CIRCUITS = ["C1", "C2", "C3"]
PATIENTS = ["P1", "P2", "P3"]
ITEMS: dict[str, Any] = {
    "TAP": {"kind": "part"},
    "PACK": {"kind": "pack", "contains": [{"item": "OXY", "maker": MAKERS[1]}]},
    "OXY": {"kind": "part"},
    "WARM": {"kind": "equipment"},
}


def at(hour: int) -> str:
    return f"2027-03-{1 + hour // 24:02}T{hour % 24:02}:00Z"


@st.composite
def parts(draw: st.DrawFn, name: str) -> dict[str, Any]:
    item = draw(st.sampled_from(["TAP", "TAP", "TAP", "PACK", "OXY"]))
    return {
        "p": name,
        "item": item,
        "maker": draw(st.sampled_from([*MAKERS, *MAKERS, None])),
        "lot": draw(st.sampled_from([*LOTS, None, None, None])),
        "box": draw(st.sampled_from([*BOXES, None, None, None, None])),
        "serial": draw(st.sampled_from([*SERIALS, None])),
    }


class Teller:
    """Draws facts one after another; each method tells those of one subject."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.told: list[dict[str, Any]] = []

    def tell(self, kind: str, **fields: Any) -> None:
        self.told.append({"id": f"f{len(self.told):02}", "type": kind, **fields})

    def pick(self, *values: Any) -> Any:
        return self.draw(st.sampled_from(values))

    def hour(self, first: int = 0, last: int = 60) -> str:
        return at(self.draw(st.integers(first, last)))

    def times(self, least: int, most: int) -> range:
        return range(self.draw(st.integers(least, most)))

    def stock(self) -> None:
        days = (None, "2027-02-01", "2027-02-10", "2027-02-20")
        for _ in self.times(2, 6):
            self.tell(
                "receipt",
                at=self.hour(0, 40),
                item=self.pick("TAP", "TAP", "PACK", "OXY"),
                maker=self.pick(*MAKERS),
                lot=self.pick(*LOTS),
                qty=self.pick(1, 2, 3),
                box=self.pick(*BOXES, None),
                made=self.pick(*days),
                shipped=self.pick(*days),
            )
        for _ in self.times(0, 1):
            maker, lot = self.pick(*MAKERS), self.pick(*LOTS)
            self.tell("stock_out", at=self.hour(20), item="TAP", maker=maker, lot=lot, qty=1)

    def circuit(self, circuit: str) -> None:
        names = [f"{circuit}{n}" for n in self.times(0, 3)]
        made = [self.draw(parts(name)) for name in names]
        origin = self.pick("prime", "prime", "prime", "foreign_in", "nothing")
        if origin == "prime":
            self.tell("prime", at=self.hour(10, 40), circuit=circuit, parts=made)
        if origin == "foreign_in":
            self.tell("foreign_in", at=self.hour(10, 40), circuit=circuit)
            for complete in self.pick((), (True,), (False,)):
                listed = {"complete": complete, "parts": made}
                self.tell("foreign_list", at=self.hour(40), circuit=circuit, **listed)
        for first in names[:1]:
            out = self.pick(*names, f"{first}/OXY", None)
            part_in = self.draw(st.one_of(st.none(), parts(f"{circuit}in")))
            for _ in self.times(0, 1):
                self.tell("swap", at=self.hour(20), circuit=circuit, out=out, part_in=part_in)
        for _ in self.times(0, 2):
            self.tell("connect", at=self.hour(20), circuit=circuit, patient=self.pick(*PATIENTS))
        for ending in self.pick((), ("disconnect",), ("transfer_out",)):
            self.tell(ending, at=self.hour(30), circuit=circuit)

    def equipment(self) -> None:
        for serial in self.draw(st.lists(st.sampled_from(SERIALS), max_size=3, unique=True)):
            maker = self.pick(*MAKERS)
            self.tell("equip_register", at=at(0), item="WARM", maker=maker, serial=serial)
        for n in self.times(0, 4):
            self.tell(
                "equip_on",
                at=self.hour(10),
                circuit=self.pick(*CIRCUITS),
                p=f"w{n}",
                item="WARM",
                maker=self.pick(*MAKERS, *MAKERS, None),
                serial=self.pick(*SERIALS, None, None, None, None),
            )
            for _ in self.times(0, 1):
                self.tell("equip_off", at=self.hour(20), p=f"w{n}")

    def words(self) -> None:
        lots = st.lists(st.sampled_from(LOTS), max_size=2, unique=True)
        for _ in self.times(0, 2):
            self.tell(
                "carton_notice",
                at=self.hour(),
                pack_item="PACK",
                pack_maker=self.pick(*MAKERS),
                pack_lots=self.draw(lots),
                inner={"item": "OXY", "lot": self.pick(*LOTS)},
                sole=self.pick(True, False),
                complete=self.pick(True, False),
            )
        for _ in self.times(0, 2):
            texts = {"captured": "L1", "notice": "L-1", "same": self.pick(True, False)}
            item, maker = self.pick("TAP", "PACK", "OXY"), self.pick(*MAKERS)
            self.tell("ruling", at=self.hour(), item=item, maker=maker, **texts)
        for _ in self.times(0, 1):
            self.tell("merge", at=self.hour(), **{"from": "P1", "into": "P2"})


@st.composite
def facts(draw: st.DrawFn) -> list[dict[str, Any]]:
    teller = Teller(draw)
    teller.stock()
    for circuit in CIRCUITS[: draw(st.integers(1, 3))]:
        teller.circuit(circuit)
    teller.equipment()
    teller.words()
    return teller.told


@st.composite
def clauses(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.sampled_from(["lots", "lots", "lots", "serials", "made", "shipped", "models"]))
    item = draw(st.sampled_from(["TAP", "TAP", "OXY", "PACK", "WARM"]))
    given: dict[str, Any] = {"kind": kind, "maker": draw(st.sampled_from(MAKERS)), "item": item}
    if kind == "lots":
        given["lots"] = draw(st.lists(st.sampled_from(LOTS), min_size=1, max_size=2, unique=True))
    elif kind == "models":
        given["items"] = sorted({item, draw(st.sampled_from(["TAP", "OXY"]))})
    else:
        ends = ["2027-02-01", "2027-02-10"] if kind != "serials" else ["W-1", "W-3"]
        given["from"] = draw(st.sampled_from([ends[0], ends[1], None]))
        given["to"] = draw(st.sampled_from([ends[1], None]))
    if draw(st.integers(0, 3)) == 0:
        given["used_from"] = at(draw(st.integers(10, 30)))
        given["used_to"] = at(draw(st.integers(25, 60)))
    return given


@st.composite
def stories(draw: st.DrawFn) -> dict[str, Any]:
    scope = draw(clauses())
    if draw(st.integers(0, 3)) == 0:
        scope = {"kind": "any_of", "scopes": [scope, draw(clauses())]}
        if draw(st.booleans()):
            scope["used_from"] = at(draw(st.integers(10, 40)))
    complete = {item: draw(st.integers(0, 5)) > 0 for item in ("TAP", "PACK", "OXY")}
    return {
        "id": "made-up",
        "zone": "Europe/Berlin",
        "items": ITEMS,
        "stock_book_complete": complete,
        "facts": draw(facts()),
        "questions": [{"id": "q1", "as_of": at(draw(st.integers(40, 70))), "scope": scope}],
    }


@st.composite
def tight_stock(draw: st.DrawFn) -> dict[str, Any]:
    """Return a story of one item of which nearly all that came was used, mostly unrecorded."""
    teller = Teller(draw)
    boxed = draw(st.booleans())
    several = draw(st.booleans())
    boxes = (*BOXES, None) if boxed else (None,)
    makers = MAKERS if several else MAKERS[:1]
    lots = LOTS[1:]
    for _ in teller.times(2, 5):
        fields = {
            "maker": teller.pick(*makers),
            "lot": teller.pick(*lots),
            "qty": teller.pick(1, 2),
        }
        teller.tell("receipt", at=teller.hour(0, 25), item="TAP", box=teller.pick(*boxes), **fields)
    for circuit in CIRCUITS:
        made = [
            {
                "p": f"{circuit}{n}",
                "item": "TAP",
                "maker": teller.pick(*makers, makers[0], makers[0], None),
                "lot": teller.pick(None, None, None, *lots),
                "box": teller.pick(*boxes, None),
            }
            for n in teller.times(1, 2)
        ]
        teller.tell("prime", at=teller.hour(20, 40), circuit=circuit, parts=made)
        teller.tell("connect", at=teller.hour(41), circuit=circuit, patient=teller.pick("P1", "P2"))
    wanted = draw(st.lists(st.sampled_from(lots), min_size=1, max_size=2, unique=True))
    scope = {"kind": "lots", "maker": MAKERS[0], "item": "TAP", "lots": wanted}
    if several and draw(st.integers(0, 3)) == 0:
        scope = {"kind": "models", "maker": MAKERS[0], "items": ["TAP"]}
    return _asked(teller.told, scope)


@st.composite
def busy_heaters(draw: st.DrawFn) -> dict[str, Any]:
    """Return a story of few heaters, of which nearly all are in use at once."""
    teller = Teller(draw)
    for serial in SERIALS[: draw(st.integers(2, 4))]:
        maker = teller.pick(MAKERS[0], MAKERS[0], MAKERS[1])
        teller.tell("equip_register", at=at(0), item="WARM", maker=maker, serial=serial)
    for n in teller.times(2, 6):
        start = draw(st.integers(10, 30))
        used = {"circuit": teller.pick(*CIRCUITS), "p": f"w{n}", "item": "WARM"}
        known = {"maker": teller.pick(*MAKERS, None, MAKERS[0], MAKERS[0])}
        known["serial"] = teller.pick(*SERIALS, None, None, None, None, None, None)
        teller.tell("equip_on", at=at(start), **used, **known)
        for _ in teller.times(0, 1):
            teller.tell("equip_off", at=at(start + draw(st.integers(0, 15))), p=f"w{n}")
    for circuit in CIRCUITS:
        teller.tell(
            "connect", at=teller.hour(5, 40), circuit=circuit, patient=teller.pick("P1", "P2")
        )
    first = teller.pick(None, "W-2", "W-3")
    scope = {"kind": "serials", "maker": MAKERS[0], "item": "WARM", "from": first, "to": "W-3"}
    return _asked(teller.told, scope)


def _asked(told: list[dict[str, Any]], scope: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": "made-up",
        "zone": "Europe/Berlin",
        "items": ITEMS,
        "stock_book_complete": {"TAP": True},
        "facts": told,
        "questions": [{"id": "q1", "as_of": at(70), "scope": scope}],
    }
