"""Explanations: causes ranked by the ledger, with evidence for and against.

A share is the cause's own balance over everything that was weighed, so the weight a
contrary fact removes never goes to a rival: the shares then add up to less than one. A
cause that brings another about takes from the other's share. No share condemns a part.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import prod

from bankwise.signals.clues import Clue, Raised, Signals, gather
from bankwise.signals.code_marks import known_codes
from bankwise.signals.columns import Columns
from bankwise.signals.frame import Frame
from bankwise.signals.ledger import (
    CANNOT_TELL_WEIGHT,
    CONSEQUENCES,
    EXPLANATIONS,
    NO_FAULT_WEIGHT,
    Consequence,
    Weight,
    Where,
)
from bankwise.signals.next_check import DRIVE_ON, NOTHING_MORE, said, words_for
from bankwise.signals.seen import (
    DIESEL,
    diesel,
    far_trims,
    seen_share,
    unjudged,
    unseen,
)
from bankwise.signals.severity import Severity
from bankwise.signals.weights import WEIGHTS

LEAST_SHARE = 0.05
"""Causes below this are not shown. Source: our choice, because noise is not news."""

READ_FRAME = "Read the freeze frame of {codes} and drive its conditions."

LEAST_TOLD = 0.25
"""What is left of a code's weight when nothing of the drive was seen. Source: our
choice: "cannot tell" then outweighs the strongest code alone."""

_BY_EVIDENCE: Mapping[str, tuple[Weight, ...]] = {
    kind: tuple(row for row in WEIGHTS if row.evidence == kind)
    for kind in {row.evidence for row in WEIGHTS}
}


@dataclass(frozen=True, slots=True)
class Explanation:
    """One cause at one place.

    Attributes:
        id: one of `ledger.EXPLANATIONS`.
        about: bank, sensor or engine.
        share: 0 to 1, its part of everything weighed.
        for_: facts that speak for it, strongest first.
        against: facts that speak against it, strongest first.
        next: the check that best separates it from its strongest rival.
    """

    id: str
    about: str
    share: float
    for_: tuple[str, ...]
    against: tuple[str, ...]
    next: str


@dataclass(slots=True)
class _Balance:
    plus: float = 0.0
    minus: float = 0.0
    for_: list[tuple[float, str]] = field(default_factory=list)
    against: list[tuple[float, str]] = field(default_factory=list)
    coded: bool = False
    """A trouble code speaks for it, so what contradicts the code must be shown."""
    shown: bool = False
    """Something in this drive speaks for it, not codes alone."""

    @property
    def value(self) -> float:
        return max(0.0, self.plus - self.minus)


_Key = tuple[str, str]


def seen_from(about: str, where: Where) -> str:
    """The place `where` means, seen from a bank, sensor or the engine."""
    bank = about[:2] if about[:1] == "B" and about[1:2].isdigit() else "B1"
    other = "B2" if bank == "B1" else "B1"
    return {
        Where.SAME: about,
        Where.BANK: bank,
        Where.FRONT: f"{bank}S1",
        Where.REAR: f"{bank}S2",
        Where.OTHER: other,
        Where.OTHER_FRONT: f"{other}S1",
        Where.ENGINE: "engine",
        Where.ANY: about,
    }[where]


def weigh(clues: Iterable[Clue]) -> dict[str, dict[str, float]]:
    """Share of every cause that the clues speak for, by place, by id.

    What is missing to 1 is doubt: "cannot tell", and weight that facts contradict.
    """
    shares: dict[str, dict[str, float]] = defaultdict(dict)
    for (name, about), share in _shares(_balances(clues)).items():
        shares[about][name] = share
    return dict(shares)


def _balances(clues: Iterable[Clue]) -> dict[_Key, _Balance]:
    balances: dict[_Key, _Balance] = defaultdict(_Balance)
    for clue in clues:
        for row in _BY_EVIDENCE.get(clue.kind, ()):
            balance = balances[row.explanation, seen_from(clue.about, row.where)]
            words = f"{clue.words}: {row.reason}"
            if row.weight > 0:
                balance.plus += row.weight
                told = clue.kind.startswith("code")
                balance.coded |= told
                balance.shown |= not told
                balance.for_.append((row.weight, words))
            else:
                balance.minus -= row.weight
                balance.against.append((-row.weight, words))
    return {key: balance for key, balance in balances.items() if balance.plus > 0}


def _only_told(balances: Mapping[_Key, _Balance], seen: float) -> None:
    """Lets codes alone weigh as much as the drive had the time to contradict them.

    A stored code is about another moment. Source: our choice, because a code read at
    the start must not look like a verdict on a drive of which nothing was seen yet.
    """
    for balance in balances.values():
        if balance.coded and not balance.shown:
            part = LEAST_TOLD + (1.0 - LEAST_TOLD) * seen
            balance.plus, balance.minus = balance.plus * part, balance.minus * part


def _roots(balances: Mapping[_Key, _Balance]) -> dict[_Key, tuple[float, str, _Key]]:
    """What each cause loses to a root that brings it about: share, reason, root."""
    found: dict[_Key, tuple[float, str, _Key]] = {}
    for (name, about), root in balances.items():
        for row in CONSEQUENCES:
            if row.root != name or root.value <= 0:
                continue
            for key in _followers(balances, row, about):
                stands = root.plus > balances[key].plus
                if stands and row.share < found.get(key, (1.0, "", key))[0]:
                    found[key] = row.share, row.reason, (name, about)
    return found


def _followers(
    balances: Mapping[_Key, _Balance], row: Consequence, about: str
) -> list[_Key]:
    """The causes a root at a place would bring about, of those weighed."""
    if row.where is Where.ANY:
        return [key for key in balances if key[0] == row.follows]
    key = row.follows, seen_from(about, row.where)
    return [key] if key in balances else []


def _shares(balances: Mapping[_Key, _Balance]) -> dict[_Key, float]:
    total = CANNOT_TELL_WEIGHT + sum(b.plus for b in balances.values())
    roots = _roots(balances)
    return {
        key: balance.value * roots.get(key, (1.0,))[0] / total
        for key, balance in balances.items()
    }


def explain(
    signals: Frame, flags: Iterable[Raised], columns: Columns
) -> list[Explanation]:
    """Causes of what was seen so far, the largest share first.

    "Cannot tell" or "no fault seen" is always among them when nothing better is.
    """
    raised = list(flags)
    clues = gather(signals, raised, columns)
    balances = _balances(clues)
    _only_told(balances, seen_share(signals))
    shares = _shares(balances)
    told = [
        (share, key)
        for key, share in shares.items()
        if share >= LEAST_SHARE or balances[key].coded
    ]
    told.sort(key=lambda item: (-item[0], item[1]))
    if not told:
        return _without_cause(signals, raised, columns)
    roots = _roots(balances)
    keys = [key for _, key in told]
    found = []
    for rank, (share, key) in enumerate(told):
        name, about = key
        rival = next((k for k in keys[: rank + 2] if k != key), None)
        against = _told(balances[key].against)
        if key in roots:
            _, reason, (root, place) = roots[key]
            against = (
                f"{said(root)} on {place} would bring it about: {reason}",
                *against,
            )
        found.append(
            Explanation(
                name,
                about,
                round(share, 3),
                _told(balances[key].for_),
                against,
                words_for(name, rival[0] if rival else None),
            )
        )
    total = CANNOT_TELL_WEIGHT + sum(b.plus for b in balances.values())
    doubt = CANNOT_TELL_WEIGHT / total
    found.append(_cannot_tell(doubt, signals, found[0].next))
    found.sort(key=lambda e: -e.share)
    return found


def _told(facts: list[tuple[float, str]]) -> tuple[str, ...]:
    ordered = sorted(facts, key=lambda fact: -fact[0])
    return tuple(dict.fromkeys(words for _, words in ordered))


def _cannot_tell(share: float, signals: Signals, check: str) -> Explanation:
    missing = unseen(signals)
    words = (f"Not seen yet: {', '.join(missing)}",) if missing else ()
    return Explanation("cannot-tell", "engine", round(share, 3), words, (), check)


def _without_cause(
    signals: Frame, flags: list[Raised], columns: Columns
) -> list[Explanation]:
    missing = unseen(signals)
    worry = [
        f.text
        for f in flags
        if f.severity > Severity.INFO and f.id != "answers-forcing"
    ]
    worry += far_trims(signals)
    # What the unit found is there, even if this drive did not show it.
    codes = known_codes(columns)
    other = diesel(signals)
    if missing or worry or codes or other:
        for_: tuple[str, ...] = (DIESEL,) if other else ()
        for_ += tuple(f"Not seen yet: {what}" for what in missing)
        for_ += tuple(f"Seen, but explained by nothing known: {w}" for w in worry)
        for_ += tuple(f"Code {code} is {when}" for code, when in codes.items())
        check = DRIVE_ON.format(missing=", ".join(missing)) if missing else ""
        if codes:
            check = f"{READ_FRAME.format(codes=', '.join(codes))} {check}".strip()
        return [Explanation("cannot-tell", "engine", 1.0, for_, (), check)]
    open_ = unjudged(signals)
    weight = NO_FAULT_WEIGHT * prod(one.part for one in open_)
    whole = weight + CANNOT_TELL_WEIGHT
    lacking = tuple(one.words for one in open_)
    notes = lacking + tuple(dict.fromkeys(f.text for f in flags))
    doubts = ("A fault may show only in driving that was not seen", *lacking)
    return [
        Explanation(
            "no-fault-seen",
            "engine",
            round(weight / whole, 3),
            ("Warm, closed loop, idle, cruise and a fuel cut were seen",),
            notes,
            NOTHING_MORE,
        ),
        Explanation(
            "cannot-tell",
            "engine",
            round(CANNOT_TELL_WEIGHT / whole, 3),
            doubts,
            (),
            NOTHING_MORE,
        ),
    ]


__all__ = ["EXPLANATIONS", "Explanation", "explain", "unseen", "weigh"]
