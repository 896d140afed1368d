"""Where every fret should be: speaking lengths, distances from the nut, and what rounding them costs.

Conventions: as in `fretcheck.neck.description`, which tells where a fret belongs; cents positive is sharp. The scale length
carries no compensation. Fret 0 is the nut line or, where the neck has one, the zero fret, which stands on the same line.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from fretcheck.errors import UsageError
from fretcheck.neck.description import Neck, distance_mm
from fretcheck.neck.temperament import length_error_cents
from fretcheck.units import MM_PER_INCH


@dataclass(frozen=True, kw_only=True)
class Rounding:
    """A rule's smallest step: `step` in `unit`, so 0.5 mm, or 1/64 of an inch as 0.015625."""

    step: float
    unit: str

    @property
    def step_mm(self) -> float:
        return self.step * MM_PER_INCH if self.unit == "in" else self.step

    def nearest_mm(self, length_mm: float) -> float:
        """`length_mm` rounded to the nearest whole step."""
        return round(length_mm / self.step_mm) * self.step_mm


def parse_rounding(text: str, *, unit: str) -> Rounding:
    """A rounding step as typed: ``0.5``, or a fraction such as ``1/64``.

    Raises UsageError: not a number, not positive, or coarser than 10 mm.
    """
    numerator, _, denominator = text.partition("/")
    try:
        step = float(numerator) / (float(denominator) if denominator else 1.0)
    except (ValueError, ZeroDivisionError):
        raise UsageError(f'rounding step "{text}" is no number: write 0.5, or a fraction such as 1/64') from None
    rounding = Rounding(step=step, unit=unit)
    if not 1e-4 <= rounding.step_mm <= 10.0:
        raise UsageError(f"rounding step {text} {unit} lies outside 0.0001 to 10 mm")
    return rounding


@dataclass(frozen=True, kw_only=True)
class Slot:
    """One fret on one scale length."""

    fret: int
    from_nut_mm: float  # Exact
    marked_mm: float  # As it can be marked with the chosen rule; equal to `from_nut_mm` without rounding
    from_previous_mm: float | None  # Between this mark and the one before; for checking only. None at the nut.
    speaking_length_mm: float
    rounding_cents: float  # Pitch change that the rounding makes: positive is sharp


@dataclass(frozen=True, kw_only=True)
class Scale:
    """The slots along one scale length, and the numbers of the strings that share it."""

    scale_length_mm: float
    nut_offset_mm: float
    strings: tuple[int, ...]
    slots: tuple[Slot, ...]  # Fret 0 first

    @property
    def worst_rounding_cents(self) -> float:
        """Largest effect of the rounding, unsigned."""
        return max(abs(slot.rounding_cents) for slot in self.slots)


@dataclass(frozen=True, kw_only=True)
class Layout:
    """A neck's slots and target notes."""

    neck: Neck
    rounding: Rounding | None
    scales: tuple[Scale, ...]  # One a scale length, string 1's first: more than one where frets are fanned

    @cached_property
    def targets_hz(self) -> tuple[tuple[float | None, ...], ...]:
        """Row per fret, column per string (string 1 first); None where a short string has no such fret.

        The open note of a short string stands in the row of the fret it starts at.
        """
        neck = self.neck

        def target(fret: int, number: int) -> float | None:
            if fret == neck.string(number).first_fret:
                return neck.open_hz(number)
            return neck.target_hz(number, fret) if fret in neck.frets_of(number) else None

        numbers = range(1, len(neck.strings) + 1)
        return tuple(tuple(target(fret, number) for number in numbers) for fret in range(neck.frets + 1))


def slots_for(fret_cents: Sequence[float], *, scale_length_mm: float, rounding: Rounding | None = None) -> tuple[Slot, ...]:
    """Slots of the nut and all frets on one scale length, marked to `rounding`.

    Each mark is rounded by itself from the nut, so it is never off by more than half a step.
    """
    slots: list[Slot] = []
    for fret, cents in enumerate(fret_cents):
        exact = distance_mm(cents, scale_length_mm=scale_length_mm)
        marked = exact if rounding is None else rounding.nearest_mm(exact)
        length = scale_length_mm - exact
        slots.append(
            Slot(
                fret=fret,
                from_nut_mm=exact,
                marked_mm=marked,
                from_previous_mm=marked - slots[-1].marked_mm if slots else None,
                speaking_length_mm=length,
                rounding_cents=length_error_cents(marked - exact, speaking_length_mm=length),
            )
        )
    return tuple(slots)


def layout_of(neck: Neck, *, rounding: Rounding | None = None) -> Layout:
    """Slots and target notes of `neck`.

    `rounding`: smallest step of the rule that slots are marked with; None keeps exact lengths.
    """
    numbers_by_scale: dict[float, list[int]] = {}
    for number, string in enumerate(neck.strings, start=1):
        numbers_by_scale.setdefault(string.scale_length_mm, []).append(number)
    return Layout(
        neck=neck,
        rounding=rounding,
        scales=tuple(
            Scale(
                scale_length_mm=length,
                nut_offset_mm=neck.nut_offset_mm(numbers[0]),
                strings=tuple(numbers),
                slots=slots_for(neck.fret_cents, scale_length_mm=length, rounding=rounding),
            )
            for length, numbers in numbers_by_scale.items()
        ),
    )
