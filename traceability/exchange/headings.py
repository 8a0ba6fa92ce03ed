"""What a column's heading says, in the plain words and spellings that makers use.

Source: common practice, no source; the words of other languages from memory.
"""

import re
import unicodedata
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise
from typing import Final

__all__ = ["Column", "heading_of"]


class Column(StrEnum):
    """What a column says."""

    LOT = "lot"
    LOT_FROM = "lot-from"
    LOT_TO = "lot-to"
    SERIAL = "serial"
    SERIAL_FROM = "serial-from"
    SERIAL_TO = "serial-to"
    CODE = "code"
    ITEM = "item"
    MAKER = "maker"
    NAME = "name"
    EXPIRES = "expires"
    MADE = "made"
    QUANTITY = "quantity"
    BESIDE = "beside"
    """Known, and no part of a scope."""


WORDS: Final = {
    Column.EXPIRES: """exp expiry expiries expires expiration expired useby bestbefore verfall
        verfallsdatum haltbar peremption scadenza caducidad utgang vence""",
    Column.MADE: """made mfg mfd mfr manufactured manufacture manufacturing production produced dom
        herstelldatum herstellungsdatum fabrication tillverkad""",
    Column.QUANTITY: """qty quantity quantities units pieces pcs count amount distributed shipped
        menge stuck quantite antal cantidad""",
    Column.SERIAL: "serial serials sn serie seriennummer seriennr serienummer matricola",
    Column.LOT: """lot lots batch batches los lote lotto charge chargen chargennummer chargennr
        lotnummer losnummer partij era""",
    Column.CODE: """gtin ean upc udidi udi di hibc upn ppn pzn barcode primarydi deviceidentifier
        gtin14 gtin13""",
    Column.ITEM: """item ref reference referenz cat catalog catalogue article artikel artikelnummer
        art model sku part partnumber itemnumber itemcode productcode productnumber modelnumber
        pn""",
    Column.MAKER: "maker manufacturer hersteller fabricant tillverkare legalmanufacturer",
    Column.NAME: """name description product products productname device devices bezeichnung
        designation benamning trade tradename""",
    Column.BESIDE: """country comment comments remark remarks note notes box size date status region
        unit uom customer order invoice delivery supplier vendor distributor""",
}
FILLERS: Final = frozenset(
    [
        "no",
        "nr",
        "num",
        "number",
        "numbers",
        "code",
        "codes",
        "id",
        "the",
        "of",
        "affected",
        "date",
        "dates",
        "and",
        "or",
        "n",
        "numero",
        "numeros",
        "nummer",
        "de",
        "du",
        "per",
        "in",
        "a",
        "impacted",
        "concerned",
    ]
)
FROM: Final = frozenset(["from", "first", "start", "begin", "beginning", "lowest", "von"])
TO: Final = frozenset(["to", "last", "end", "until", "through", "thru", "highest", "bis", "ending"])
_MEANS: Final = {word: column for column, words in WORDS.items() for word in words.split()}
MOST_HEADING: Final = 60
"""Characters of a heading."""


@lru_cache(maxsize=4096)
def heading_of(text: str) -> Column | None:
    """Return what a heading says; None: it is no heading that is known, or no heading at all."""
    if not text or len(text) > MOST_HEADING:
        return None
    plain = unicodedata.normalize("NFKD", text.casefold())
    words = re.findall(
        r"[^\W\d_]+|[0-9]+", "".join(c for c in plain if not unicodedata.combining(c))
    )
    joined = "".join(words)
    if joined in _MEANS:
        return _MEANS[joined]
    if any(word.isdigit() for word in words):
        return None
    pairs = {one + other for one, other in pairwise(words)} & _MEANS.keys()
    said = {_MEANS[word] for word in (*words, *pairs) if word in _MEANS}
    strange = [
        word
        for word in words
        if word not in _MEANS
        and word not in FILLERS
        and word not in FROM | TO
        and not any(word in pair for pair in pairs)
    ]
    if strange or not said:
        return None
    ends = (FROM & set(words), TO & set(words))
    for column in WORDS:
        if column not in said:
            continue
        if column in {Column.LOT, Column.SERIAL} and any(ends) and not all(ends):
            return Column(f"{column}-{'from' if ends[0] else 'to'}")
        return column
    return None
