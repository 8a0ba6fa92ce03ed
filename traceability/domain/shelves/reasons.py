"""Why something cannot be excluded, as codes that answers print."""

from enum import StrEnum

__all__ = ["Reason"]


class Reason(StrEnum):
    """Why something cannot be excluded."""

    LOT_NOT_RECORDED = "lot_not_recorded"
    SERIAL_NOT_RECORDED = "serial_not_recorded"
    MAKER_NOT_RECORDED = "maker_not_recorded"
    CONTENTS_UNKNOWN = "contents_unknown"
    INNER_LOT_NOT_KNOWN = "inner_lot_not_known"
    DATE_NOT_KNOWN = "date_not_known"
    LOT_TEXT_ALIKE = "lot_text_alike"
    STOCK_BOOK_INCOMPLETE = "stock_book_incomplete"
    CLAIM_DISPUTED = "claim_disputed"
    FLOW_ON_NOT_RECORDED = "flow_on_not_recorded"
    PRIME_NOT_ENDED = "prime_not_ended"
    """Its prime has no recorded end: a place that is empty on record need not be."""
    SAME_PLACE = "same_place"
    """The machine stood in the same place meanwhile; nobody says that it served."""
    TIME_NOT_KNOWN = "time_not_known"
