"""HIBC, ISBT 128, IFA, plain codes: rules beside the outside cases."""

import pytest

from tests.identifiers.strategies import TODAY
from traceability.identifiers.checks import hibc_check, iso_7064_mod_37_2
from traceability.identifiers.ifa import ppn_check
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context, Reading, Standard, Status


def _read(text: str, symbology: str | None = None, previous: str | None = None) -> Reading:
    context = Context(previous=previous)
    return interpret(text, symbology_identifier=symbology, today=TODAY, context=context)


def _hibc(data: str, previous: str | None = None) -> Reading:
    return _read(data + hibc_check(data), previous=previous)


# ANSI/HIBC 2.6, sections 2.2 and 2.3, table F1; the reason codes are the project's (R-9, R-H1).
@pytest.mark.parametrize(
    ("data", "code"),
    [
        ("+A999", "bad-length"),
        ("+A9991", "bad-length"),
        ("+A99912345678901234567895", "too-long"),
        ("+A99912345/$", "bad-length"),
        ("+A99912345/$" + "L" * 19, "too-long"),
        ("+A99912345/$+", "bad-length"),
        ("+A99912345/$$", "bad-length"),
        ("+A99912345/$$X1", "unknown-identifier"),
        ("+A99912345/$$+8051227L", "unknown-identifier"),
        ("+A99912345/$$32712", "bad-length"),
        ("+A99912345/$$3271A31L", "bad-charset"),
        ("+A99912345/$$5270001L", "bad-date"),
        ("+A99912345/$$0027L", "bad-date"),
        ("+A99912345/$$8AA0527L", "bad-charset"),
        ("+A99912345/14D20271301", "bad-date"),
        ("+A99912345/14D2027123", "bad-date"),
        ("+A99912345/16D2027A231", "bad-charset"),
        ("+A99912345/$L1/Q500/S1", "unknown-identifier"),
        ("+A99912345/$L1/Q", "bad-length"),
        ("+A99912345/$L1/Z1", "unknown-identifier"),
        ("+A99912345/$L1/", "bad-length"),
        ("+A99912345/$$+3271231S1/S2", "repeated-conflict"),
        ("+A99912345/$$801" + "7L1/Q2", "repeated-conflict"),
        ("+A99912345/$$8017L1/Q1", ""),
        ("+A99912345/05271L", ""),
        ("+%ABC", "unknown-identifier"),
    ],
)
def test_hibc_faults_are_named(data: str, code: str) -> None:
    assert _hibc(data).reason_codes == ((code,) if code else ())


def test_hibc_lower_case_is_not_corrected() -> None:
    assert _read("+a123BJC5D6E71G").reason_codes == ("bad-charset",)


@pytest.mark.parametrize("previous", ["+B777PACK120E", "*+B777PACK120E*", "]A0+B777PACK120E\r\n"])
def test_a_hibc_link_is_held_against_the_primary_read_before(previous: str) -> None:
    assert _hibc("+$$3271231Z7E", previous).status is Status.OK
    assert _hibc("+$$3271231Z7A", previous).reason_codes == ("link-mismatch",)


def test_a_hibc_link_is_not_held_against_anything_else() -> None:
    for previous in ("+B777PACK120X", "ABC", "", "]d20109521234543213"):
        assert _hibc("+$$3271231Z7A", previous).status is Status.OK


def test_a_provider_label_is_refused_and_marked_private() -> None:
    reading = _read("+/EO5232013")
    assert (reading.status, reading.private) == (Status.REJECTED, True)


@pytest.mark.parametrize("text", ["++A999MODEL1AB", "PP12345ABCD.12345678.9004"])
def test_a_registration_key_is_no_product_code(text: str) -> None:
    assert (_read(text).status, _read(text).device_identifier) == (Status.UNSTRUCTURED, None)


# ICCBBA ST-001 v6.2.2: structure 001 and table 3; 2.4.23 (compound message).
DIN = "A999926123456"
FLAGS = 60 + "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*".index(iso_7064_mod_37_2(DIN))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (f"={DIN}{FLAGS}", ""),
        (f"={DIN}{60 + (FLAGS - 59) % 37}", "bad-check-digit"),
        (f"={DIN}0", "bad-length"),
        (f"={DIN}001", "bad-length"),
        ("=A9999261234A600", "bad-charset"),
        ("=%510", "bad-length"),
        ("=%51000", "bad-length"),
        ("=%51=<E9999V00", "bad-length"),
        ("=>02736A", "bad-charset"),
        ("&>0270012460", "bad-date"),
        ("&>0270012360", "bad-date"),
        ("=+02000=%5100=>027001", ""),
        ("=+02000=%5100", "bad-length"),
        ("=%5100=+01000", "unknown-identifier"),
        ("=", "bad-length"),
        ("=~123", "unknown-identifier"),
        ("&,3AAAAAAAAAAAAAAAAAA", "unknown-identifier"),
        ("=%5100=%5100", ""),
        ("=%5100=%6200", "repeated-conflict"),
        ("&)ABCDEFGHIJ", ""),
        ("=)1AB1234567", ""),
    ],
)
def test_isbt_128_structures(text: str, code: str) -> None:
    reading = _read(text)
    assert reading.standard is Standard.ISBT_128
    assert reading.reason_codes == ((code,) if code else ())


def test_a_patient_s_or_donor_s_number_is_marked_private() -> None:
    assert _read("&#A9999" + "1" * 16).private


def _format_06(*fields: str, end: str = "\x1e\x04") -> str:
    return "[)>\x1e06\x1d" + "\x1d".join(fields) + end


PPN = "9N111234567842"


@pytest.mark.parametrize(
    ("text", "status", "code"),
    [
        (_format_06(PPN, "1TL1", "D271200", "Q5"), Status.OK, ""),
        (_format_06(PPN, "8P09521234543213"), Status.OK, ""),
        (_format_06(PPN, "8P09521234543214"), Status.REJECTED, "bad-check-digit"),
        (_format_06("25P+A999", "1TL1"), Status.OK, ""),
        (_format_06(PPN, "1TL1", end=""), Status.SUSPECT, "bad-length"),
        (_format_06(PPN, "1TL/1"), Status.REJECTED, "bad-charset"),
        (_format_06(PPN, "1T"), Status.REJECTED, "bad-length"),
        (_format_06(PPN, "S" + "1" * 21), Status.REJECTED, "too-long"),
        (_format_06(PPN, "99ZX"), Status.REJECTED, "unknown-identifier"),
        (_format_06(PPN, "D27123A"), Status.REJECTED, "bad-charset"),
        (_format_06(PPN, "D271301"), Status.REJECTED, "bad-date"),
        (_format_06(PPN, "1TA", "1TB"), Status.REJECTED, "repeated-conflict"),
        (_format_06(PPN, "D271231", "14D20271130"), Status.REJECTED, "repeated-conflict"),
        (_format_06("9N" + "1112345679" + ppn_check("1112345679")), Status.REJECTED,
         "bad-check-digit"),
        (_format_06("9NPP12345"), Status.REJECTED, "unknown-identifier"),
        ("[)>\x1e12\x1dX\x1e\x04", Status.REJECTED, "unknown-identifier"),
        ("[)>", Status.REJECTED, "bad-length"),
    ],
)  # fmt: skip
def test_ifa_envelopes(text: str, status: Status, code: str) -> None:
    reading = _read(text, "]d1")
    assert (reading.status, reading.reason_codes) == (status, (code,) if code else ())


def test_element_strings_in_a_format_05_envelope_are_gs1() -> None:
    reading = _read("[)>\x1e05\x1d010952123454321310L1\x1e\x04", "]d1")
    assert (reading.standard, reading.lot) == (Standard.GS1, "L1")


def test_a_label_made_without_fnc1_is_not_read_and_says_so() -> None:
    reading = _read("010952123454321310L1", "]C0")
    assert (reading.status, reading.cautions) == (Status.UNSTRUCTURED, ("looks-like-gs1",))


def test_a_right_ppn_around_a_wrong_pzn_is_rejected() -> None:
    wrong = "1112345679"
    reading = _read(_format_06("9N" + wrong + ppn_check(wrong)))
    assert reading.reason_codes == ("bad-check-digit",)


@pytest.mark.parametrize(
    ("text", "symbology"),
    [
        ("12345678", None),
        ("-12345678", None),
        ("CT1." + "A" * 2900, None),
        ("0109521234543213", "]d1"),
        ("(01)09521234543213", "]C0"),
        ("lot 5 ", "]A4"),
        ("\ud800", None),
        ("٠١٢٣٤٥٦٧٨٩٠١٢", None),
    ],
)
def test_a_plain_code_is_kept_as_read(text: str, symbology: str | None) -> None:
    reading = _read(text, symbology)
    assert (reading.status, reading.text, reading.elements) == (Status.UNSTRUCTURED, text, ())


@pytest.mark.parametrize(
    ("text", "symbology", "codes"),
    [
        ("]c10109521234543213", None, ("unknown-identifier",)),
        ("0109521234543213", "]q3", ("unknown-identifier",)),
        ("0109521234543213", "]E0", ("unknown-identifier",)),
        ("]d2", None, ("empty",)),
        ("]d20109521234543213", "]d2", ()),
        ("\t", None, ("empty",)),
        ("CT1." + "A" * 3000, None, ("too-long",)),
        ("9521234543213x", "]E0", ("bad-charset",)),
        ("952123454321", "]E4", ("bad-length",)),
    ],
)
def test_symbology_identifiers_are_used_when_sent(
    text: str, symbology: str | None, codes: tuple[str, ...]
) -> None:
    assert _read(text, symbology).reason_codes == codes


def test_the_answer_says_which_symbology_identifier_was_taken() -> None:
    assert _read("]C10109521234543213").symbology_identifier == "]C1"
    assert _read("0109521234543213", "]d2").symbology_identifier == "]d2"
    assert _read("0109521234543213").symbology_identifier is None
