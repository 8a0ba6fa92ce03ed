"""Products and circuit types of the demo, from the files beside this one, and what scanners send.

Identifiers come from ranges kept for examples: GS1 prefix 952, HIBC labellers A999 and B777.
"""

import csv
import tomllib
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Final

from traceability.domain.events import Plain
from traceability.domain.sheets import Sheet, read_sheet
from traceability.identifiers.checks import hibc_check
from traceability.identifiers.write import write_element_string

HERE: Final = files(__package__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """A line of `products.csv`."""

    key: str
    standard: str
    identifier: str
    name: str
    maker: str
    kind: str
    item_number: str
    substance: str
    volume_ml: int | None
    circuit_type: str
    counted: bool
    carton: str
    """Identifier of the carton; empty where it has none of its own."""
    carton_units: int


@dataclass(frozen=True, slots=True)
class Code:
    """What a scanner sends."""

    text: str
    symbology_identifier: str | None = None


def products() -> dict[str, Product]:
    """Return all products by key."""
    lines = (HERE / "products.csv").read_text(encoding="utf-8").splitlines()
    return {row["key"]: _product(row) for row in csv.DictReader(lines)}


def _product(row: dict[str, str]) -> Product:
    return Product(
        key=row["key"],
        standard=row["standard"],
        identifier=row["identifier"],
        name=row["name"],
        maker=row["maker"],
        kind=row["kind"],
        item_number=row["item_number"],
        substance=row["substance"],
        volume_ml=int(row["volume_ml"]) if row["volume_ml"] else None,
        circuit_type=row["circuit_type"],
        counted=row["counted"] == "1",
        carton=row["carton"],
        carton_units=int(row["carton_units"] or 1),
    )


def sheets() -> list[Sheet]:
    """Return the build sheets, each in its first version."""
    folder = HERE / "circuit_types"
    found = sorted((each for each in folder.iterdir() if each.name.endswith(".toml")), key=str)
    return [_sheet(tomllib.loads(each.read_text(encoding="utf-8"))) for each in found]


def _sheet(body: dict[str, Plain]) -> Sheet:
    return read_sheet({**body, "version": 1})


def code_of(
    product: Product, *, lot: str = "", serial: str = "", expiry: date | None = None
) -> Code:
    """Return what the symbol on one piece says, as its scanner sends it."""
    if product.standard == "hibc":
        return Code(_hibc(product.identifier, lot, expiry))
    elements = [("01", product.identifier)]
    elements += [("17", f"{expiry:%y%m%d}")] if expiry else []
    elements += [("10", lot)] if lot else []
    elements += [("21", serial)] if serial else []
    return Code(write_element_string(elements), "]d2")


def _hibc(identifier: str, lot: str, expiry: date | None) -> str:
    """Return primary and secondary data in one symbol; `$$3` stands before a date YYMMDD."""
    text = f"+{identifier}"
    if expiry:
        text += f"/$$3{expiry:%y%m%d}{lot}"
    elif lot:
        text += f"/${lot}"
    return text + hibc_check(text)


def carton_code(product: Product, *, lot: str, expiry: date) -> Code:
    """Return what the symbol on a carton says."""
    elements = [("01", product.carton), ("17", f"{expiry:%y%m%d}"), ("10", lot)]
    return Code(write_element_string(elements), "]C1")
