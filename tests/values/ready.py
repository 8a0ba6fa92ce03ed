"""Readiness, stock and stand-by."""

from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from tests.values.forms import BadValue, Form, Given, aware, day, local, number, whole, zone
from traceability.domain.readiness import Candidate, Readiness, RequiredPlace, Why, standing
from traceability.domain.standby import (
    Team,
    at_least,
    chance_none_ready,
    largest_demand,
    load,
    no_demand,
    smallest_number,
)
from traceability.domain.stock import (
    Fitness,
    ShelfLot,
    fitness,
    full_primes,
    in_order_of_use,
    part_bag_left,
    to_order,
    usable,
    used_by_prime,
)

_NOW: Final = datetime(2027, 5, 20, 12, 0, tzinfo=UTC)
_RIGHT, _WRONG = "right type", "another type"


def _candidate(number_: int, one: Given) -> Candidate:
    signers = one.get("signers")
    if signers is None:
        signers = [f"signer {n}" for n in range(whole(one, "signed") if "signed" in one else 0)]
    use_by = _NOW + timedelta(days=14)
    if one.get("past_use_by"):
        use_by = _NOW
    for key in one:
        if "hours" in key or key.endswith("_h"):
            use_by = _NOW + timedelta(hours=number(one, key))
    missing = one.get("not_fitted", ())
    return Candidate(
        circuit=f"circuit {number_:04}",
        place=one.get("post", one.get("place")),
        circuit_type=_RIGHT if one.get("type_ok", True) else _WRONG,
        primed=one.get("primed", True) and not one.get("priming", False),
        signers=tuple(signers),
        use_by=use_by,
        on_hold=bool(one.get("on_hold", False)),
        taken=any(one.get(key) for key in ("taken", "away", "connected", "on_patient")),
        discarded=any(one.get(key) for key in ("discarded", "ended", "transferred_out")),
        not_fitted=("part",) if missing is True else tuple(missing or ()),
    )


def _readiness(given: Given) -> dict[str, Any]:
    circuits = given["circuits"]
    if not isinstance(circuits, list) or not all(isinstance(one, dict) for one in circuits):
        raise BadValue("circuits should be a list of circuits")
    target = whole(given, "target") if "target" in given else 2
    posts = ["mounted", "boxed"]
    places = [
        RequiredPlace(
            name=name,
            target=target - target // 2 if name == "mounted" else target // 2,
            accepts=frozenset({_RIGHT}),
        )
        for name in posts
    ]
    found = standing([_candidate(n, one) for n, one in enumerate(circuits)], places, _NOW)
    return _shown(found)


def _shown(found: Readiness) -> dict[str, Any]:
    soon = len(found.soon)
    reasons = [str(reason) for one in found.not_counted for reason in one.reasons]
    return {
        "ready": found.ready,
        "target": found.target,
        **{place.place: len(place.ready) for place in found.places},
        "flagged": soon,
        "soon": soon,
        "within_24h": soon,
        "missing": sum(place.missing for place in found.places),
        "reasons": [reason for reason in reasons if reason != Why.NO_REQUIRED_PLACE],
    }


READINESS: Final = (Form(("circuits",), _readiness),)


def _counts(given: Given, key: str) -> dict[str, int]:
    counts = given[key]
    if not isinstance(counts, dict):
        raise BadValue(f"{key} should name counts by product")
    return {product: whole(counts, product, least=-(10**9)) for product in counts}


def _full(given: Given) -> dict[str, Any]:
    found = full_primes(_counts(given, "stock"), _counts(given, "per_prime"))
    return {"full_primes": found.count, "limits": list(found.limiting)}


_LEFT_OUT: Final = ("hold", "on_hold", "expired", "too_short")


def _usable_units(given: Given) -> dict[str, int]:
    """Lay the counts out as lots, so that the product's own fitness decides."""
    product = _product(given)
    out = {key: whole(given, key) for key in _LEFT_OUT if key in given}
    soon, past = (_NOW + timedelta(days=10)).date(), (_NOW - timedelta(days=10)).date()
    good = whole(given, product) - sum(out.values())
    if good < 0:
        raise BadValue("more is held or expired than there is")
    lots = [ShelfLot(product=product, lot="good", quantity=good, expiry=None)]
    for key, count in out.items():
        lots.append(
            ShelfLot(
                product=product,
                lot=key,
                quantity=count,
                expiry={"expired": past, "too_short": soon}.get(key),
                on_hold="hold" in key,
            )
        )
    planned = _NOW + timedelta(days=30)
    units = usable(lots, at=_NOW, zone=ZoneInfo("UTC"), planned_use_by=planned)[product]
    per_prime = {product: whole(given, "per_prime", least=1)}
    primes = full_primes({product: units}, per_prime).count
    return {"usable": units, "primes": primes, "full_primes": primes}


def _product(given: Given) -> str:
    others = {*_LEFT_OUT, "per_prime", "par_primes", "dropped"}
    names = [key for key in given if key not in others]
    if len(names) != 1:
        raise BadValue("one product's count is needed beside what one prime takes")
    return names[0]


def _is_expired(given: Given) -> str:
    lot = ShelfLot(product="part", lot="A", quantity=1, expiry=day(given["expiry"]))
    use_by = local(given, "planned_use_by_local") if "planned_use_by_local" in given else None
    found = fitness(lot, at=local(given, "at_local"), zone=zone(given), planned_use_by=use_by)
    return {
        Fitness.USABLE: "usable",
        Fitness.EXPIRED: "expired",
        Fitness.TOO_SHORT: "too short for a stored circuit",
        Fitness.ON_HOLD: "on hold",
    }[found]


def _planned(given: Given) -> datetime | None:
    for key in ("planned_use_by", "use_by", "outlive"):
        if given.get(key) is not None:
            text = given[key]
            return (
                aware(text)
                if "T" in text
                else datetime.combine(day(text), datetime.min.time(), tzinfo=UTC)
            )
    return None


def _pick(given: Given) -> str | None:
    held = {lot for key in ("hold", "held", "on_hold") for lot in given.get(key, ())}
    planned = _planned(given)
    here = zone(given) if "zone" in given else ZoneInfo("UTC")
    today = given.get("today", given.get("at"))
    at = datetime.min.replace(tzinfo=UTC) + timedelta(days=2)
    if today is not None:
        at = (
            aware(today)
            if "T" in today
            else datetime.combine(day(today), datetime.min.time(), tzinfo=here)
        )
    elif planned is not None:
        at = planned - timedelta(days=30)
    lots = [
        ShelfLot(
            product="part",
            lot=lot,
            quantity=1,
            expiry=None if expiry is None else day(expiry),
            on_hold=lot in held,
        )
        for lot, expiry in given["lots"].items()
    ]
    row = in_order_of_use(lots, at=at, zone=here, planned_use_by=planned)
    return row[0].lot if row else None


def _order(given: Given) -> dict[str, int]:
    product = _product(given)
    need = {product: whole(given, "per_prime", least=1)}
    missing = to_order({product: whole(given, product)}, need, whole(given, "par_primes"))
    return {"order_at_least": missing.get(product, 0)}


def _dropped(given: Given) -> dict[str, int]:
    fitted = whole(given, "per_prime")
    return {
        "stock_used": used_by_prime(fitted, whole(given, "dropped")),
        "in_circuit": fitted,
    }


STOCK: Final = (
    Form(("stock", "per_prime"), _full),
    Form(("expiry", "at_local", "zone"), _is_expired),
    Form(("lots",), _pick),
    Form(("left_ml",), lambda g: "keep" if part_bag_left(number(g, "left_ml")) else "discard"),
    Form(("per_prime", "dropped"), _dropped),
    Form(("par_primes", "per_prime"), _order),
    Form(("per_prime",), _usable_units),
)


def _team(given: Given) -> Team:
    told = str(given.get("model", "")).lower()
    single = ("one team", "one at a time", "one after", "single team", "m/m/1", "serial")
    return Team.ONE_AFTER_ANOTHER if any(word in told for word in single) else Team.SIDE_BY_SIDE


def _digits(value: float) -> float:
    """Return six digits that count, as the values are told."""
    return float(f"{value:.6g}")


def _none_ready(given: Given) -> dict[str, float]:
    a = load(number(given, "demand_per_week"), number(given, "reprime_hours"))
    chance = chance_none_ready(whole(given, "n"), a, _team(given))
    return {"a": round(a, 6), "probability": _digits(chance)}


def _several(given: Given) -> dict[str, float]:
    mean = load(number(given, "demand_per_week"), number(given, "hours"))
    return {
        "mean": round(mean, 6),
        "probability": _digits(at_least(whole(given, "at_least"), mean)),
    }


def _nobody(given: Given) -> dict[str, float]:
    return {
        "probability": _digits(no_demand(number(given, "demand_per_week"), number(given, "days")))
    }


def _most_demand(given: Given) -> dict[str, float]:
    most = largest_demand(
        whole(given, "n"), number(given, "reprime_hours"), number(given, "risk"), _team(given)
    )
    return {"demand_per_week": round(most, 4)}


def _fewest(given: Given) -> dict[str, int | None]:
    a = load(number(given, "demand_per_week"), number(given, "reprime_hours"))
    return {"n": smallest_number(a, number(given, "risk"), _team(given))}


STANDBY: Final = (
    Form(("n", "demand_per_week", "reprime_hours"), _none_ready),
    Form(("demand_per_week", "hours", "at_least"), _several),
    Form(("demand_per_week", "days"), _nobody),
    Form(("n", "reprime_hours", "risk"), _most_demand),
    Form(("demand_per_week", "reprime_hours", "risk"), _fewest),
)
