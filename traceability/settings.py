"""Settings, read once from the environment. Nothing else reads `os.environ`.

An unknown name with our prefix stops the start: a misspelt setting that is silently ignored is
worse than none.
"""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

PREFIX: Final = "TRACEABILITY_"
RESOLUTIONS: Final = (203, 300, 600)
"""Dots an inch of label printers."""


class WrongSetting(ValueError):
    """A setting is unknown or cannot be read; the message names it and what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Where the service keeps its things and how it is reached."""

    database_url: str = ""
    """SQLAlchemy address; empty: an SQLite file in `var_dir`."""
    var_dir: Path = Path("var")
    """Folder for the key file, the SQLite file, signed heads and prints; made with mode 0700."""
    zone: str = "Europe/Stockholm"
    """The unit's time zone, a name of the IANA time zone database."""
    practice: bool = False
    """A store for practice: marked on every page and tag, and apart from the real one."""
    lock_timeout_ms: int = 5_000
    """How long a writer waits for others before it says *busy*; the device then sends again."""
    trusted_proxy: bool = False
    """Believe X-Forwarded-Proto and X-Forwarded-For of a proxy in front; else they are ignored."""
    label_queue: str = ""
    """Print queue of the label printer, as the system's own command names it; empty: tags open as
    PDF."""
    label_dpi: int = 203
    """Dots an inch of the label printer."""
    label_graphics: bool = False
    """Send label-printer commands (`^GF`) to the queue instead of PDF."""
    own_prefix: str = ""
    """The unit's own GS1 company prefix, digits, under which nobody else gives out numbers:
    circuits, machines and badges get GS1 keys under it, and so do its own items."""
    own_location: str = ""
    """The unit's GS1 location number (GLN), 13 digits; place labels then carry it."""
    own_document: str = ""
    """GS1 document type (GDTI) of down-time forms, its first 13 digits; they then carry it."""
    secure_cookies: bool = False
    """Mark cookies Secure; set by `serve --tls`, or by hand behind a proxy that speaks https."""
    drill_lots: int = 10
    """How many lots the service picks each week and follows from receipt to end; 0: none."""
    drill_months: int = 12
    """Lots with an entry in the last so many months are picked first."""

    @property
    def store_url(self) -> str:
        """The database's address, with the SQLite default filled in."""
        name = "practice.db" if self.practice else "traceability.db"
        return self.database_url or f"sqlite:///{self.var_dir.resolve() / name}"

    @property
    def zone_info(self) -> ZoneInfo:
        """The unit's zone as an object."""
        return ZoneInfo(self.zone)


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Return the settings of the given or the process's environment.

    Raises:
        WrongSetting: an unknown name with our prefix, or a value that cannot be read.
    """
    given = os.environ if environment is None else environment
    known = {field.name: field.default for field in fields(Settings)}
    values: dict[str, object] = {}
    for name, text in given.items():
        if not name.startswith(PREFIX):
            continue
        field = name[len(PREFIX) :].lower()
        if field not in known:
            allowed = ", ".join(PREFIX + each.upper() for each in known)
            raise WrongSetting(f"{name} is not a setting. Settings are: {allowed}")
        values[field] = _parse(name, text, known[field])
    settings = Settings(**values)  # type: ignore[arg-type]
    if settings.label_dpi not in RESOLUTIONS:
        allowed = ", ".join(map(str, RESOLUTIONS))
        raise WrongSetting(f"{PREFIX}LABEL_DPI: {settings.label_dpi} is none of {allowed}")
    if settings.own_prefix and not re.fullmatch(r"[0-9]{4,12}", settings.own_prefix):
        raise WrongSetting(f"{PREFIX}OWN_PREFIX: write the 4 to 12 digits GS1 gave the unit")
    for name in ("own_location", "own_document"):
        if not re.fullmatch(r"([0-9]{13})?", getattr(settings, name)):
            raise WrongSetting(f"{PREFIX}{name.upper()}: write the 13 digits, check digit included")
    try:
        ZoneInfo(settings.zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise WrongSetting(
            f"{PREFIX}ZONE: {settings.zone!r} is not a time zone. Write it as Area/City."
        ) from None
    return settings


def _parse(name: str, text: str, default: object) -> object:
    if isinstance(default, bool):
        if text not in {"0", "1"}:
            raise WrongSetting(f"{name}: write 1 for yes or 0 for no, not {text!r}")
        return text == "1"
    if isinstance(default, int):
        if not text.isascii() or not text.isdigit():
            raise WrongSetting(f"{name}: write a whole number, not {text!r}")
        return int(text)
    return Path(text) if isinstance(default, Path) else text
