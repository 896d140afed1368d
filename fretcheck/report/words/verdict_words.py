"""The result of an inspection in a few sentences, the same on screen, on paper and in the terminal."""

from collections import defaultdict

from fretcheck.diagnosis.conclude.words import listed_notes, listed_numbers
from fretcheck.diagnosis.result import Correction
from fretcheck.inspection.document import InspectionDocument
from fretcheck.report.words.finding_words import clause, sentence_of

DECISION_WORDS: dict[str | None, str] = {
    "pass": "Within tolerance", "fail": "Out of tolerance", "undecided": "Undecided", None: "Not judged",
}  # fmt: skip


def reason_of(document: InspectionDocument) -> str:
    """Why the verdict is what it is."""
    return document.verdict.reason or f"Judged against ±{document.verdict.limit_cents:g} cents."


def heard_words(document: InspectionDocument) -> str:
    """How much was listened to: ``52 of 120 notes heard``."""
    if document.coverage is not None:
        return f"{document.coverage.heard} of {document.coverage.asked} notes heard"
    asked = [(one.string, one.fret) for one in document.frets if one.fret > 0]
    heard = sum(one.plucks > 0 for one in document.frets if one.fret > 0)
    return f"{heard} of {len({*asked, *(place for place in document.missing if place[1] > 0)})} notes heard"


def headline(document: InspectionDocument) -> str:
    """The verdict in few words, with how much it rests on where that is not everything."""
    word, coverage = DECISION_WORDS[document.verdict.decision], document.coverage
    return word if coverage is None or coverage.heard >= coverage.asked else f"{word}, {heard_words(document)}"


def looked_for(document: InspectionDocument) -> str:
    """What size was looked for and what follows from the notes heard; empty where every note was asked for."""
    # 30 and 20 simulated necks a row, careful and mildly real, hand 0.8 c, looked for 0.30 mm: 90 and 87 %, 65 and 45 %.
    size = document.conditions.look_for_mm
    if size is None:
        return ""
    return (
        "The rest follows from their frets and strings, and is in the verdict with its doubt. Every fret was looked at for "
        f"{size:.2f} mm and more: this way one 0.40 mm out is found in nine of ten cases, one 0.25 mm out in about half. A dent "
        "under a single note that was not plucked is not seen (--every-note hears them all)."
    )


def not_listened_to(document: InspectionDocument) -> str:
    """The frets where no note was heard, and the chance that one there is out; empty where there are none."""
    coverage = document.coverage
    if coverage is None or not coverage.frets_not_listened_to:
        return ""
    frets = coverage.frets_not_listened_to
    one = len(frets) == 1
    text = f"{'Fret' if one else 'Frets'} {listed_numbers(frets)} {'was' if one else 'were'} not listened to"
    if coverage.probability_out_there is None:
        return f"{text}."
    return f"{text}: as far as the rest of the neck tells, a note there is out with {sureness(coverage.probability_out_there)}."


def in_short(document: InspectionDocument) -> str:
    """All findings in one sentence, each with its certainty; empty where none is needed."""
    if not document.findings:
        return "" if document.verdict.decision == "pass" else "No single fret, nor nut, nor saddle stands out as the cause."
    return sentence_of([f"{clause(one)} ({sureness(one.probability)} sure)" for one in document.findings])


def worst_sentence(document: InspectionDocument) -> str:
    """Which note is furthest out; empty where none was judged."""
    worst = document.verdict.worst
    if worst is None:
        return ""
    way = "sharp" if worst.deviation_cents > 0 else "flat"
    place = "open" if worst.fret == 0 else f"at fret {worst.fret}"
    return f"The note furthest out is string {worst.string} {place}: {abs(worst.deviation_cents):.1f} cents {way}."


def predicted_sentence(document: InspectionDocument) -> str:
    """What the work should bring, with its certainty; empty where there is none."""
    after = document.predicted_after
    if after.worst_cents is None or not works(document):
        return ""
    text = f"With this work done the worst note should lie at {abs(after.worst_cents):.1f} cents"
    if after.worst_90 is not None:
        text += f" (90 % interval {after.worst_90[0]:.1f} to {after.worst_90[1]:.1f})"
    if after.probability_within is None:
        return f"{text}."
    return f"{text}, all notes within ±{document.verdict.limit_cents:g} cents with {sureness(after.probability_within)}."


def works(document: InspectionDocument) -> list[Correction]:
    """The steps that change the neck; measurements left out."""
    return [one for one in document.corrections if one.kind != "measure"]


def first_step(document: InspectionDocument) -> str:
    """What to do first; empty where there is nothing to do."""
    if document.corrections:
        return document.corrections[0].text
    if document.verdict.decision == "pass" or not document.pluck_again:
        return ""
    again = f"inspect NECK --more {document.id}" if document.id else "inspect NECK --more ID"
    return f"Pluck again, for they would decide: {listed_notes(document.pluck_again)} ({again})."


def step_words(step: Correction) -> str:
    """What is to be expected once a step and those before it are done: ``worst note 4.4 cents, all within 12 %``."""
    parts = []
    if step.predicted.worst_cents is not None:
        parts.append(f"worst note {abs(step.predicted.worst_cents):.1f} cents")
    if step.predicted.probability_within is not None:
        parts.append(f"all within with {sureness(step.predicted.probability_within)}")
    return ", ".join(parts)


def set_aside_by_reason(document: InspectionDocument) -> list[tuple[str, str]]:
    """Sounds that were not used: each reason, fit to stand within a sentence, and where it was met."""
    places: dict[str, dict[int | None, list[str]]] = defaultdict(lambda: defaultdict(list))
    for one in document.set_aside:
        reason = one.reason[:1].lower() + one.reason[1:].rstrip(".")
        places[reason][one.string].append(f"{one.start_s:.1f}")
    return [
        (reason, "; ".join(f"{_string(string)} at {', '.join(moments)} s" for string, moments in by_string.items()))
        for reason, by_string in places.items()
    ]


def _string(number: int | None) -> str:
    return "unknown string" if number is None else f"string {number}"


def sureness(probability: float) -> str:
    """A probability as a person would say it, never a false 0 or 100 %, nor cut at a line's end.

    >>> sureness(0.87), sureness(0.9999), sureness(0.001)
    ('87\xa0%', '>\xa099\xa0%', '<\xa01\xa0%')
    """
    percent = 100.0 * probability
    words = "> 99 %" if percent > 99.0 else "< 1 %" if percent < 1.0 else f"{percent:.0f} %"
    return words.replace(" ", "\N{NO-BREAK SPACE}")
