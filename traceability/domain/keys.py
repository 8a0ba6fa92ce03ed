"""Keys of products, lots and units: the same at two sites that never spoke.

UUIDv5 (RFC 9562, section 5.5) of the issuing agency's own key: for GS1 the GTIN of the packaging
level scanned, always 14 digits; for HIBC labeller and product number without the unit digit. A
code of no agency is local to the site, until a person's ruling joins two of them.
"""

from typing import Final
from uuid import NAMESPACE_URL, UUID, uuid5

SPACE: Final = uuid5(NAMESPACE_URL, "urn:circuit-traceability:key")


def product_key(standard: str, identifier: str, *, site_id: UUID) -> UUID:
    """Return the key of a product. `identifier` is as the identifier engine gives it."""
    match standard:
        case "hibc":
            return uuid5(SPACE, f"hibc:{identifier[:-1]}")
        case "none":
            return uuid5(site_id, f"none:{identifier}")
        case _:
            return uuid5(SPACE, f"{standard}:{identifier}")


def lot_key(product_id: UUID, text: str) -> UUID:
    """Return the key of a lot: its text, to the letter, under its product."""
    return uuid5(product_id, f"lot:{text}")


def unit_key(product_id: UUID, serial: str) -> UUID:
    """Return the key of one unit: its serial, to the letter, under its product."""
    return uuid5(product_id, f"serial:{serial}")
