"""Made-up symbols that keep their standards, for laws; numbers from example ranges."""

from datetime import date

from hypothesis import strategies as st

from traceability.identifiers.checks import gs1_check, hibc_check
from traceability.identifiers.gs1_checks import SET_82_IN_ORDER
from traceability.identifiers.reading import Element

TODAY = date(2026, 11, 25)

DIGITS = "0123456789"
ALPHANUMERIC = DIGITS + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

gtins = st.text(DIGITS, min_size=5, max_size=5).map(
    lambda digits: (body := f"09521234{digits}") + gs1_check(body)
)
days = st.dates(date(1980, 1, 1), date(2070, 12, 28))
short_days = days.map(lambda day: f"{day:%y%m%d}") | days.map(lambda day: f"{day:%y%m}00")
texts_82 = st.text(SET_82_IN_ORDER, min_size=1, max_size=20)

_OPTIONAL = {
    "10": texts_82,
    "11": short_days,
    "17": short_days,
    "21": texts_82,
    "22": texts_82,
    "30": st.text(DIGITS, min_size=1, max_size=8),
    "240": st.text(SET_82_IN_ORDER, min_size=1, max_size=30),
    "3103": st.text(DIGITS, min_size=6, max_size=6),
    "422": st.sampled_from(["276", "752", "036"]),
    "7003": days.map(lambda day: f"{day:%y%m%d}1230"),
}


@st.composite
def gs1_elements(draw: st.DrawFn) -> tuple[Element, ...]:
    """Elements that may stand on one item: a product and any of its attributes."""
    names = draw(st.lists(st.sampled_from(sorted(_OPTIONAL)), unique=True))
    return (("01", draw(gtins)), *((name, draw(_OPTIONAL[name])) for name in names))


@st.composite
def hibc_primaries(draw: st.DrawFn) -> str:
    """A primary symbol of an example labeller."""
    labeller = draw(st.sampled_from(["A999", "B999", "H123"]))
    product = draw(st.text(ALPHANUMERIC, min_size=1, max_size=18))
    body = f"+{labeller}{product}{draw(st.sampled_from(DIGITS))}"
    return body + hibc_check(body)


@st.composite
def hibc_combined(draw: st.DrawFn) -> str:
    """Primary and secondary data in one symbol."""
    lot = draw(st.text(ALPHANUMERIC + "-.", min_size=1, max_size=18))
    day = draw(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
    written = draw(
        st.sampled_from(
            [
                f"$$3{day:%y%m%d}{lot}",
                f"$$2{day:%m%d%y}{lot}",
                f"$$5{day:%y%j}{lot}",
                f"$${day:%m%y}{lot}",
                f"$$+3{day:%y%m%d}{lot}",
                f"$$7{lot}",
                f"${lot}",
            ]
        )
    )
    body = f"{draw(hibc_primaries())[:-1]}/{written}"
    return body + hibc_check(body)
