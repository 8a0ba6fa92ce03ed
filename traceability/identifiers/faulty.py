"""How the readers of this room stop inside a symbol; no caller of `interpret` ever sees it."""

__all__ = ["Faulty", "require_characters", "require_length"]


class Faulty(Exception):
    """The data break their standard.

    Attributes:
        code: the reason code.
        at: 0-based place in the data being read.
    """

    def __init__(self, code: str, at: int) -> None:
        """Keep code and place; there is no wording here."""
        super().__init__(code, at)
        self.code = code
        self.at = at


def require_characters(written: str, allowed: frozenset[str], at: int) -> None:
    """Stop at the first character of `written`, which begins at `at`, that is not `allowed`."""
    if not allowed.issuperset(written):
        place = next(i for i, character in enumerate(written) if character not in allowed)
        raise Faulty("bad-charset", at + place)


def require_length(written: str, least: int, most: int, at: int) -> None:
    """Stop if `written` has fewer than `least` or more than `most` characters."""
    if len(written) < least:
        raise Faulty("bad-length", at)
    if len(written) > most:
        raise Faulty("too-long", at + most)
