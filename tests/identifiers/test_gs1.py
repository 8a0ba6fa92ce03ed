"""GS1 rules beside the outside cases: one line, one rule of the dictionary or of the project."""

from datetime import date

import pytest

from tests.identifiers.strategies import TODAY
from traceability.identifiers.gs1_dates import full_year
from traceability.identifiers.gs1_table import TABLE
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Reading, Status
from traceability.identifiers.write import CannotWrite, gtin_14, write_element_string

P = "0109521234543213"


def _read(text: str, symbology: str | None = "]d2", *, gs_capable: bool = True) -> Reading:
    context = Context(gs_capable=gs_capable)
    return interpret(text, symbology_identifier=symbology, today=TODAY, context=context)


# Content rules of the dictionary, release 2026-01-27: identifier, right data, wrong data, reason.
CONTENT = [
    ("8007", "DE89370400440532013000", "DE89370400440532013001", "bad-check-digit"),
    ("8007", "DE89370400440532013000", "XX89370400440532013000", "bad-charset"),
    ("8014", "9521234MODEL12T7", "9521234MODEL12T8", "bad-check-digit"),
    ("4309", "02790858483015297971", "18000000010000000000", "bad-charset"),
    ("4324", "2712311200", "2712312500", "bad-date"),
    ("4326", "271231", "271200", "bad-date"),
    ("4330", "001234-", "001234+", "bad-charset"),
    ("4321", "1", "2", "bad-charset"),
    ("4307", "DE", "QQ", "bad-charset"),
    ("4300", "A%20B", "A%2GB", "bad-charset"),
    ("7007", "260101260228", "260101260230", "bad-date"),
    ("7007", "260101", "2601012602", "bad-length"),
    ("7040", "1ABC", "1AB!", "bad-charset"),
    ("7241", "01", "11", "bad-charset"),
    ("7250", "19800229", "19810229", "bad-date"),
    ("7252", "9", "3", "bad-charset"),
    ("7258", "1/2", "3/2", "bad-charset"),
    ("8001", "00010000200310", "00000000200310", "bad-charset"),
    ("8001", "00010000200390", "00010000200320", "bad-charset"),
    ("8003", "09521234000037", "19521234000037", "bad-charset"),
    ("8004", "95", "9", "bad-length"),
    ("8004", "95A1", "9A51", "bad-charset"),
    ("8006", "095212345432130102", "095212345432130302", "bad-charset"),
    ("8008", "2603151430", "2603151460", "bad-date"),
    ("8011", "10", "010", "bad-charset"),
    ("8030", "QUJD_-=", "QUJD+/", "bad-charset"),
    ("3910", "978100", "000100", "bad-charset"),
    ("423", "276752", "276000", "bad-charset"),
    ("423", "276752", "2767", "bad-length"),
    ("422", "276", "2761", "bad-length"),
    ("421", "27610115", "2761234567890", "too-long"),
    ("8110", "106141416543213150110120", "10614141654321315011012", "bad-length"),
    ("8110", "106141416543213150110120", "706141416543213150110120", "bad-charset"),
    ("8112", "006141411234560123456", "206141411234560123456", "bad-charset"),
    ("30", "12345678", "123456789", "too-long"),
    ("10", "A", "A B", "bad-charset"),
    ("17", "28022٩", "28022٩", "bad-charset"),
]


@pytest.mark.parametrize(("name", "right", "wrong", "code"), CONTENT)
def test_content_is_verified_as_the_dictionary_says(
    name: str, right: str, wrong: str, code: str
) -> None:
    if right != wrong:
        assert TABLE[name].verify(right, TODAY) is None
    reading = _read(f"{P}{name}{wrong}")
    assert reading.reason_codes == (code,)
    assert reading.faults[0].identifier == name


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (P + "37" + "5", "forbidden-pair"),
        ("00095212340000000174" + P + "3300001234\x1d" + "3301001234", "forbidden-pair"),
        (P + "250S2", "missing-required"),
        ("8026095212345432130102\x1d375\x1d8006095212345432130102", "forbidden-pair"),
        (P + "20" + "01" + "20" + "02", "repeated-conflict"),
        (P + "10A\x1d10A", ""),
        ("\x1d\x1d", "empty"),
        (P + "7" * 3, "unknown-identifier"),
        (P + "8", "unknown-identifier"),
        ("(01)09521234543213(10)A", "unknown-identifier"),
    ],
)
def test_partners_repeats_and_openings(text: str, code: str) -> None:
    reading = _read(text)
    assert reading.reason_codes == ((code,) if code else ())


def test_a_fault_points_at_its_character() -> None:
    reading = _read("]d2" + P + "10AB#1", None)
    assert (reading.faults[0].position, reading.text[reading.faults[0].position]) == (23, "#")


# R-LS and R-LS2: what is doubted, and what is an ordinary lot.
@pytest.mark.parametrize(
    ("tail", "capable", "cut"),
    [
        ("10AB17271231", True, 2),
        ("21S11260101", True, 1),
        ("10AB1728022921S1", True, 2),
        ("10AB17271231305", True, 2),
        ("240X17271231", True, 1),
        ("10AB11260110152701153012", True, 2),
        ("10AB1727123137A", True, 0),
        ("10AB17271331", True, 0),
        ("10AB17271231\x1d", True, 0),
        ("1017271231", True, 0),
        ("10AB17461126", True, 0),
        ("10AB17461125", True, 2),
        ("10AB17161124", True, 0),
        ("10AB17161125", True, 2),
        ("10AB21SN1", True, 0),
        ("10AB240R", False, 2),
        ("10AB30X", False, 0),
        ("10AB21", False, 0),
        ("22AB17271231", True, 0),
    ],
)
def test_a_lost_separator_is_doubted_where_the_tail_is_believable(
    tail: str, capable: bool, cut: int
) -> None:
    reading = _read(P + tail, gs_capable=capable)
    assert (reading.status is Status.SUSPECT) == bool(cut)
    if cut:
        assert reading.reason_codes == ("lost-separator",)
        assert reading.alternative is not None
        value = tail[3 if tail.startswith("240") else 2 :]
        assert reading.alternative[1][1] == value[:cut]
        assert reading.elements[1][1] == value


@pytest.mark.parametrize("stand_in", ["<GS>", "{GS}", "^", "|", "%1D", "\\x1d", "[FNC1]", "␝", "~"])
def test_a_typed_out_separator_is_offered_and_never_taken(stand_in: str) -> None:
    reading = _read(f"{P}10AB1{stand_in}17271231")
    assert reading.status is Status.SUSPECT
    assert reading.reason_codes[0] in ("separator-replaced", "lost-separator")
    offered = (("01", "09521234543213"), ("10", "AB1"), ("17", "271231"))
    assert reading.alternative == offered


@pytest.mark.parametrize("lot", ["x<y>z", "A%1", "A(1)", "AB/1", "+a", "0007-", "a.B_c"])
def test_an_unusual_lot_is_not_doubted(lot: str) -> None:
    assert (_read(f"{P}10{lot}").status, _read(f"{P}10{lot}").lot) == (Status.OK, lot)


@pytest.mark.parametrize(
    ("two", "on", "year"),
    [
        (76, date(2026, 1, 1), 2076),
        (77, date(2026, 1, 1), 1977),
        (0, date(2050, 1, 1), 2100),
        (0, date(2049, 1, 1), 2000),
        (99, date(2100, 1, 1), 2099),
        (50, date(2100, 1, 1), 2150),
    ],
)
def test_the_century_slides_with_today(two: int, on: date, year: int) -> None:
    # GS1 General Specifications 7.12: 51 or more ahead is the last century, 50 or more behind next
    assert full_year(two, on) == year


@pytest.mark.parametrize(
    ("text", "symbology", "product"),
    [
        ("01234558", "]E0", "00012345000058"),  # UPC-E of eight digits, expanded
        ("9521234543213" + "12", "]E3", "09521234543213"),
        ("614141123452", None, "00614141123452"),
        ("95212340", None, None),
        ("09521234543213", "]I0", None),
        ("952123454321", "]E4", None),
    ],
)
def test_bare_numbers(text: str, symbology: str | None, product: str | None) -> None:
    assert _read(text, symbology).device_identifier == product


@pytest.mark.parametrize(
    ("text", "lot", "code"),
    [
        ("https://a.example/01/09521234543213/10/AB%2F1", "AB/1", ""),
        ("HTTPS://A.EXAMPLE/01/09521234543213/10/A?17=271200#top", "A", ""),
        ("https://a.example/x/01/09521234543213/10/A/21/S?linkType=all", "A", ""),
        ("https://a.example/01/09521234543214", None, "bad-check-digit"),
        ("https://a.example/01/09521234543213/21/S/10/A", None, "unknown-identifier"),
        ("https://a.example/01/09521234543213?21=S", None, "unknown-identifier"),
        ("https://a.example/01/9521234543213", None, "bad-length"),
        ("https://id.gs1.org/ARFKk4XB0CDKWcnpq", None, "compressed-link"),
        ("https://a.example/01/09521234543213/DSCFKk4XB0CDKWcnpq", None, "compressed-link"),
        ("https://a.example/manual", None, ""),
    ],
)
def test_digital_links(text: str, lot: str | None, code: str) -> None:
    # GS1 Digital Link Standard: URI Syntax, section 4 (from memory)
    reading = _read(text, "]Q1")
    assert (reading.lot, reading.reason_codes) == (lot, (code,) if code else ())


def test_blanks_in_the_printed_line_are_taken_out_and_said() -> None:
    reading = _read("(01) 09521234543213 (17) 271231 (10) AB1", None)
    assert (reading.status, reading.lot) == (Status.SUSPECT, "AB1")
    assert reading.recovered == "(01)09521234543213(17)271231(10)AB1"


def test_predefined_lengths_are_written_first_and_separated_only_where_needed() -> None:
    elements = [("10", "AB1"), ("21", "S1"), ("01", gtin_14("952123454321")), ("17", "271231")]
    assert write_element_string(elements) == P + "17271231" + "10AB1\x1d21S1"


@pytest.mark.parametrize(
    ("elements", "code"),
    [
        ([("01", "09521234543214")], "bad-check-digit"),
        ([("10", "A")], "missing-required"),
        ([("01", "09521234543213"), ("10", "Ä")], "bad-charset"),
        ([("01", "09521234543213"), ("10", "A"), ("10", "B")], "repeated-conflict"),
        ([("01", "09521234543213"), ("37", "5")], "forbidden-pair"),
        ([("05", "1")], "unknown-identifier"),
    ],
)
def test_nothing_invalid_is_written(elements: list[tuple[str, str]], code: str) -> None:
    with pytest.raises(CannotWrite) as caught:
        write_element_string(elements)
    assert caught.value.code == code


def test_a_date_decades_away_and_a_lot_in_the_serial_s_place_are_worth_a_look() -> None:
    assert _read(P + "17600101").cautions == ("expiry-far",)
    assert _read(P + "10A1\x1d21A1").cautions == ("serial-like-lot",)
