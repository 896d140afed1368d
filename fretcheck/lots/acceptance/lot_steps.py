"""The steps of a lot: opened, drawn, inspected, closed.

Conventions: a lot is never edited in place: each step gives a new record. The sample can be drawn once only; a second draw
would be picking. Which necks are drawn follows from the recorded seed alone, for ever and on every machine: a neck's rank is
the SHA-256 of "seed/serial", and the lowest ranks are the sample.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from secrets import randbelow

from fretcheck.errors import UsageError
from fretcheck.lots.acceptance.lot_record import Lot, PlanPart, ReadPart, that_counts

LARGEST_RANGE = 10_000
LONGEST_SERIAL = 100
_RANGE = re.compile(r"(?P<prefix>.*?)(?P<first>[0-9]+)\.\.(?P<prefix2>.*?)(?P<last>[0-9]+)")
_NAME = re.compile(r"[\w][\w .+-]{0,79}")


def check_name(name: str) -> None:
    """Raise UsageError for the name of a lot or a study with strange characters, or none."""
    if not _NAME.fullmatch(name):
        raise UsageError(f"the name {name!r} will not do: up to 80 letters, digits, blanks, or . + - _")


def open_lot(*, name: str, serials: Sequence[str], plan: PlanPart, template: str | None = None, now: datetime) -> Lot:
    """A new lot.

    Raises UsageError for a name with strange characters, no serials, a serial given twice, or a plan larger than the lot.
    """
    check_name(name)
    check_serials(serials)
    if plan.sample > len(serials):
        raise UsageError(f"the plan draws {plan.sample} necks but the lot has only {len(serials)}: check every neck instead")
    if plan.accept is not None and plan.accept >= plan.sample:
        raise UsageError(f"a plan that allows {plan.accept} bad of {plan.sample} necks drawn refuses no lot: allow fewer")
    return Lot(name=name, opened_at=_moment(now), template=template, serials=tuple(serials), plan=plan)


def draw_sample(lot: Lot, *, seed: int | None = None) -> Lot:
    """Draw the sample. A seed is chosen at random when none is given; it is recorded either way.

    Raises UsageError when the sample has been drawn before, or the lot is closed.
    """
    refuse_closed(lot)
    if lot.sample:
        raise UsageError(f"the sample of lot {lot.name!r} was drawn already (seed {lot.seed}): drawing again would be picking")
    chosen = randbelow(1_000_000_000) if seed is None else seed
    drawn = set(sorted(lot.serials, key=lambda serial: rank(serial, seed=chosen))[: lot.plan.sample])
    return lot.model_copy(update={"seed": chosen, "sample": tuple(s for s in lot.serials if s in drawn)})


def rank(serial: str, *, seed: int) -> str:
    """A neck's place in the draw: the smaller, the earlier."""
    return sha256(f"{seed}/{serial}".encode()).hexdigest()


def add_inspections(lot: Lot, taken: Mapping[str, Sequence[ReadPart]]) -> Lot:
    """Put inspections on the lot's record; which of a neck's counts is told by `lot_record.that_counts`.

    `taken`: in the order in which they were taken; those on record already are left as they are.
    Raises UsageError for a serial that is not in the lot, a lot without a sample, or one that is decided or closed.
    """
    _refuse_settled(lot)
    if not lot.sample:
        raise UsageError(f"lot {lot.name!r} has no sample yet: draw it before inspecting, so that the choice stays random")
    if strangers := sorted(set(taken) - set(lot.serials)):
        raise UsageError(f"serial {strangers[0]!r} is not in lot {lot.name!r}")
    reads = dict(lot.reads)
    for serial, fresh in taken.items():
        known = {one.id for one in reads.get(serial, ())}
        reads[serial] = (*reads.get(serial, ()), *(one for one in fresh if one.id not in known))
    return _counted(lot, reads)


def spoil(lot: Lot, inspection_id: str, *, why: str) -> Lot:
    """Mark an inspection as spoiled: it stays on record with the reason, and the neck's next one counts.

    Raises UsageError without a reason, for an inspection that is not on the lot's record, or a lot that is decided or closed.
    """
    _refuse_settled(lot)
    if not why.strip():
        raise UsageError("say why the inspection is spoiled: --why, a string that broke, the wrong neck on the bench")
    for serial, reads in lot.reads.items():
        if any(one.id == inspection_id for one in reads):
            marked = tuple(one.model_copy(update={"spoiled": why}) if one.id == inspection_id else one for one in reads)
            return _counted(lot, {**lot.reads, serial: marked})
    raise UsageError(f"inspection {inspection_id!r} is not on the record of lot {lot.name!r}")


def _counted(lot: Lot, reads: dict[str, tuple[ReadPart, ...]]) -> Lot:
    inspections = {serial: number for serial, number in lot.inspections.items() if serial not in reads}
    counting = {serial: that_counts(reads[serial]) for serial in lot.serials if serial in reads}
    inspections |= {serial: one.id for serial, one in counting.items() if one is not None}
    return lot.model_copy(update={"reads": reads, "inspections": inspections})


def _refuse_settled(lot: Lot) -> None:
    refuse_closed(lot)
    if lot.state == "decided":
        raise UsageError(f"lot {lot.name!r} is decided: later inspections cannot change its sample")


def close_lot(lot: Lot, *, note: str | None = None, now: datetime) -> Lot:
    """Close a lot; one without a decision needs a note that says why.

    Raises UsageError when closed already, or undecided without a note.
    """
    refuse_closed(lot)
    if lot.state != "decided" and not note:
        raise UsageError(f"lot {lot.name!r} is not decided: decide it first, or close it with --note and the reason")
    return lot.model_copy(update={"closed_at": _moment(now), "closing_note": note})


def refuse_closed(lot: Lot) -> None:
    """Raise when the lot is closed."""
    if lot.closed_at is not None:
        raise UsageError(f"lot {lot.name!r} was closed at {lot.closed_at}: open a new one")


def serials_from(words: Iterable[str]) -> tuple[str, ...]:
    """Serials from words such as ``WT-001`` or ``WT-001..WT-060``.

    >>> serials_from(["WT-09..11", "X1"])
    ('WT-09', 'WT-10', 'WT-11', 'X1')
    """
    serials: list[str] = []
    for word in words:
        if ".." not in word:
            serials.append(word.strip())
            continue
        found = _RANGE.fullmatch(word.strip())
        first, last = (int(found["first"]), int(found["last"])) if found else (1, 0)
        if found is None or found["prefix2"] not in ("", found["prefix"]) or not 0 <= last - first < LARGEST_RANGE:
            raise UsageError(f"{word!r} is no range of serials: write it as WT-001..WT-060")
        serials += [f"{found['prefix']}{number:0{len(found['first'])}d}" for number in range(first, last + 1)]
    return tuple(serial for serial in serials if serial)


def check_serials(serials: Sequence[str]) -> None:
    """Raise for none at all, for one that is no serial, or for one given twice."""
    if not serials:
        raise UsageError("a lot needs the serials of its necks: WT-001..WT-060, or a file with one a line")
    for serial in serials:
        if len(serial) > LONGEST_SERIAL or not serial.isprintable():
            raise UsageError(f"serial {serial[:LONGEST_SERIAL]!r} will not do: up to {LONGEST_SERIAL} printable characters")
    twice, count = Counter(serials).most_common(1)[0]
    if count > 1:
        raise UsageError(f"serial {twice!r} is given twice")


def _moment(now: datetime) -> str:
    return now.astimezone().isoformat(timespec="seconds")
