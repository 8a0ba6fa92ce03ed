"""Loaders of the unit's policy, version by version."""

import json
from collections.abc import Mapping
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.scan_checks import checks_of
from traceability.domain.trolley import DEFAULT_CHECKS, Finding, Verdict
from traceability.domain.use_by import Limits
from traceability.storage.site import Policy


def policy_in_force(session: Session, site_id: UUID) -> Policy | None:
    """Return the newest version as it is stored; None where none was set."""
    rows = select(Policy).filter_by(site_id=site_id).order_by(Policy.version.desc()).limit(1)
    return session.scalar(rows)


def newest_policy(session: Session, site_id: UUID) -> tuple[int, Limits]:
    """Return the version and the limits in force; the defaults where none was set."""
    stored = policy_in_force(session, site_id)
    if stored is None:
        return 0, Limits()
    return stored.version, read_limits(stored.body)


def limits_and_checks(session: Session, site_id: UUID) -> tuple[Limits, Mapping[Finding, Verdict]]:
    """Return the limits in force and how hard each check of a scan is, in one question."""
    stored = policy_in_force(session, site_id)
    if stored is None:
        return Limits(), DEFAULT_CHECKS
    return read_limits(stored.body), read_checks(stored.body)


def read_checks(body: str) -> Mapping[Finding, Verdict]:
    """Return the checks of a stored policy; versions that say nothing of them mean the defaults."""
    return checks_of(json.loads(body).get("checks", {}))


def read_limits(body: str) -> Limits:
    """Return the limits of a stored policy."""
    plain = json.loads(body)
    opened = plain["opened_fluid_minutes"]
    return Limits(
        wet_closed_days=plain["wet_closed_days"],
        dry_days=plain["dry_days"],
        wet_open_days=plain["wet_open_days"],
        blood_hours=plain["blood_minutes"] / 60,
        opened_fluid_hours=None if opened is None else opened / 60,
        parts_expiry_counts=plain["parts_expiry_counts"],
        # Policies of the first version say neither of these.
        plasticiser_days=plain.get("plasticiser_days", Limits().plasticiser_days),
        check_hours=plain.get("check_hours", Limits().check_hours),
        keep_pictures=plain.get("keep_pictures", Limits().keep_pictures),
    )


def limits_of(session: Session, site_id: UUID, version: int) -> Limits:
    """Return the limits of one version of the policy; the defaults where there is none."""
    stored = session.get(Policy, (site_id, version))
    return Limits() if stored is None else read_limits(stored.body)
