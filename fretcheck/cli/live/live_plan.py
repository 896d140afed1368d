"""What a live session asks for, by its options; `--more ID` and `--after ID` ask for notes of an inspection that was kept."""

from collections import Counter
from dataclasses import dataclass

from fretcheck.cli.live.live_options import LiveOptions
from fretcheck.diagnosis.conclude.deciding import MOST_PLUCKS
from fretcheck.diagnosis.conclude.next_notes import LOOK_FOR_MM
from fretcheck.diagnosis.conclude.verdict import FEWEST_STRINGS
from fretcheck.errors import UsageError
from fretcheck.inspection.document import InspectionDocument
from fretcheck.inspection.joined import plucks_wanted
from fretcheck.neck.description import Neck
from fretcheck.register.store import open_register
from fretcheck.session.plan import (
    DECIDING,
    SPOT,
    Growth,
    Plan,
    deciding_plan,
    make_plan,
    parse_numbers,
    plan_of_notes,
    until_the_verdict,
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Earlier:
    """An inspection as it was kept, and how often each of its notes is to be plucked now."""

    document: InspectionDocument
    plucks: dict[tuple[int, int], int]
    after_work: bool

    def plan(self, neck: Neck, *, order: str) -> Plan:
        """The plan; after work, one that asked only what decides goes on to do so.

        Raises UsageError when this neck has not got those notes.
        """
        for string, fret in self.plucks:
            if not 1 <= string <= len(neck.strings) or fret not in neck.frets_of(string):
                raise UsageError(f"inspection {self.document.id} is of another neck ({self.document.neck.name!r})")
        how = self.document.conditions
        if not self.after_work:
            return plan_of_notes(self.plucks, order=order)
        growth = None
        if how.plan == DECIDING and how.look_for_mm is not None:
            judged = tuple((one.string, one.fret) for one in self.document.frets if one.fret > 0)
            least = MOST_PLUCKS + max(0, sum(self.plucks.values()) - MOST_PLUCKS // 2)
            growth = Growth(judged=judged, look_for_mm=how.look_for_mm, most_plucks=least)
        return plan_of_notes(self.plucks, order=order, name=how.plan, growth=growth)


def earlier_of(more: str | None, after: str | None, *, every_note: bool, register: str | None) -> Earlier | None:
    """The inspection named by ``--more`` or ``--after``; None where none was.

    Raises UsageError when both are named, it is not in the register, or there is nothing to pluck.
    """
    if more is None and after is None:
        return None
    if more is not None and after is not None:
        raise UsageError("--more joins plucks to an inspection, and --after begins a new one: leave one out")
    with open_register(register, create=False) as store:
        document = store.load(more or after or "")
    if after is not None:
        heard = Counter((one.string, one.fret) for one in document.readings if one.used and one.press is None and one.fret > 0)
        if not heard:
            raise UsageError(f"inspection {after} heard no fretted note: leave --after out")
        return Earlier(document=document, plucks=dict(heard), after_work=True)
    if document.coverage is None:
        raise UsageError(f"inspection {more} was judged by version 0.1, which named no doubtful notes: inspect the neck anew")
    if every_note:
        plucks = {(one.string, one.fret): 1 for one in document.frets if one.fret > 0 and one.plucks == 0}
        if not plucks:
            raise UsageError(f"every note of inspection {more} was heard; leave --every-note out")
        return Earlier(document=document, plucks=plucks, after_work=False)
    plucks = plucks_wanted(document)
    if not plucks:
        if document.verdict.decision != "undecided":
            raise UsageError(f"inspection {more} is decided: there is no note to pluck again; --every-note hears the others")
        raise UsageError(
            f"inspection {more} is too close to call under this hand, its doubtful notes heard four times each: "
            "accept it, or judge it against another --tolerance"
        )
    return Earlier(document=document, plucks=plucks, after_work=False)


def plan_chosen(neck: Neck, options: LiveOptions, earlier: Earlier | None) -> Plan:
    """What is asked for; notes of an earlier inspection where one was named. Raises UsageError: what does not go together."""
    order = options.order or "low-first"
    if earlier is not None:
        named = "--more" if options.more is not None else "--after"
        for name in options.chosen():
            if name in ("--plan", "--frets", "--strings", "--repeats", "--one-of-each-pair", "--look-for", "--most-plucks"):
                raise UsageError(f"{named} asks for notes of the inspection before; leave {name} out")
        return earlier.plan(neck, order=order)
    strings = None if options.strings is None else parse_numbers(options.strings, what="--strings")
    enough = len(strings or neck.strings) >= min(FEWEST_STRINGS, len(neck.strings))
    if options.decides and (enough or options.plan is not None):
        return deciding_plan(
            neck,
            look_for_mm=LOOK_FOR_MM if options.look_for is None else options.look_for,
            most_plucks=MOST_PLUCKS if options.most_plucks is None else options.most_plucks,
            strings=strings,
            order=order,
            one_of_each_pair=options.one_of_each_pair,
            every_note=options.every_note,
        )
    spot = options.plan == SPOT
    for name in ("--look-for", "--every-note", *([] if spot else ["--most-plucks"])):
        if name in options.chosen():
            raise UsageError(f"{name} is for the plan deciding; leave it out")
    plan = make_plan(
        neck,
        name=options.plan or "full",
        frets=None if options.frets is None else parse_numbers(options.frets, what="--frets"),
        strings=strings,
        repeats=options.repeats or 1,
        order=order,
        one_of_each_pair=options.one_of_each_pair,
    )
    return until_the_verdict(plan, most_plucks=options.most_plucks or MOST_PLUCKS) if spot and enough else plan
