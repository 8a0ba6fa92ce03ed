"""Products: asked for once, the first time they are scanned, and known ever after."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once
from traceability.actions.single import one_event
from traceability.domain.events import Kind
from traceability.domain.keys import product_key
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.security.roles import require
from traceability.storage.items import Packaging, Product

STANDARDS: Final = ("gs1", "hibc", "isbt128", "ifa", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A packaging level with an identifier of its own."""

    identifier: str
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SetProduct(Asked):
    """Add a product, or change one.

    Everybody signed in may add: it happens in the middle of a prime. To change one needs the right
    to lists: else who may not go past a wrong fluid could name it another one.
    """

    kind: ClassVar[str] = "set-product"
    right: ClassVar[Right | None] = Right.ACT
    standard: str
    identifier: str
    """The issuing agency's key of the piece itself."""
    name: str
    maker: str
    part_kind: str
    item_number: str = ""
    substance: str = ""
    volume_ml: int | None = None
    circuit_type: str = ""
    counted: bool = True
    levels: Sequence[Level] = ()
    """Outer packagings with identifiers of their own."""
    units: int = 1
    """How many pieces the identifier itself stands for; 1 unless it is a multi-pack's."""
    maker_not_recorded: bool = False
    """It stands for parts of this kind whose maker nobody wrote down; `maker` is then empty. Only
    for an entry without an agency's code: a code names its maker."""


def set_product(asked: SetProduct, *, site: Site) -> Done:
    """Record the product and its packaging levels.

    Raises:
        BadValue: a field that is empty or cannot be, a packaging of another product.
        NotAllowed: it is known as something else. Nothing was written.
    """
    return answer_once(asked, _set_product, site)


def _set_product(asked: SetProduct, session: Session, site: Site) -> Done:
    for field, value in (
        ("name", asked.name),
        ("maker", "-" if _may_lack_maker(asked) else asked.maker),
        ("kind", asked.part_kind),
        ("identifier", asked.identifier),
    ):
        if not value.strip():
            raise BadValue(field=field, value=value, why="empty")
    if asked.standard not in STANDARDS:
        raise BadValue(field="standard", value=asked.standard, why="not-one-of", of=STANDARDS)
    if asked.part_kind == "fluid" and not asked.substance.strip():
        raise BadValue(field="substance and strength", value="", why="empty")
    if asked.part_kind == "circuit-pack" and not asked.circuit_type.strip():
        raise BadValue(field="circuit type", value="", why="empty")
    for level in asked.levels:
        if level.units < 1 or not level.identifier.strip():
            raise BadValue(field="pieces in the packaging", value=str(level.units), why="too-small")
    if asked.units < 1:
        raise BadValue(field="pieces in the packaging", value=str(asked.units), why="too-small")
    product_id = product_key(asked.standard, asked.identifier, site_id=site.id)
    packaging = [{"identifier": asked.identifier, "units": asked.units}]
    packaging += [{"identifier": each.identifier, "units": each.units} for each in asked.levels]
    body: dict[str, object] = {
        "product": product_id,
        "standard": asked.standard,
        "identifier": asked.identifier,
        "name": asked.name.strip(),
        "maker": asked.maker.strip(),
        "item_number": asked.item_number.strip(),
        "kind": asked.part_kind,
        "substance": asked.substance.strip(),
        "volume_ml": asked.volume_ml,
        "circuit_type": asked.circuit_type.strip(),
        "counted": asked.counted,
        "packaging": packaging,
    }
    if _is_changed(session, site, product_id, body, packaging):
        require(
            session,
            site_id=site.id,
            device_id=asked.sent.device_id,
            actor_id=asked.sent.actor_id,
            right=Right.LISTS,
        )
    return one_event(asked, session, site, Kind.PRODUCT_SET, body, subject=product_id)


def _may_lack_maker(asked: SetProduct) -> bool:
    return asked.maker_not_recorded and asked.standard == "none" and not asked.maker


def _is_changed(
    session: Session,
    site: Site,
    product_id: UUID,
    body: Mapping[str, object],
    packaging: Sequence[Mapping[str, object]],
) -> bool:
    """Tell whether a known product would become something else.

    Raises:
        BadValue: a packaging's identifier stands for another product.
    """
    known = session.get(Product, (site.id, product_id))
    changed = False
    for row in packaging:
        level = session.get(Packaging, (site.id, body["standard"], row["identifier"]))
        if level is not None and level.product_id != product_id:
            raise BadValue(field="packaging", value=str(row["identifier"]), why="in-use")
        changed |= level is not None and level.units != row["units"]
    columns = {name: value for name, value in body.items() if name not in {"product", "packaging"}}
    return known is not None and (
        changed or any(getattr(known, name) != value for name, value in columns.items())
    )


def is_local(standard: str) -> bool:
    """Tell a code of no agency, which means nothing outside this site."""
    return standard == "none"


def product_id_of(standard: str, identifier: str, site: Site) -> UUID:
    """Return the key a scan's product has at this site."""
    return product_key(standard, identifier, site_id=site.id)
