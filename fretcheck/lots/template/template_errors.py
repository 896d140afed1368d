"""Template errors: what every neck of a template has in common, what each neck adds, and which necks depart.

A slot's error on a neck is the template's error at that fret, plus the neck's own trend over its frets (nut, saddle, scale,
hand), plus scatter of the single slot, plus the reading's. A robust fit of frets and necks (`two_way`) tells them apart. The
template's errors are fixed effects (these frets are the ones asked about), necks and slots random ones (these stand for all the
template will cut).

What all necks share along the neck is told apart from single frets (`common_trend`). Of it, what grows toward the body moves all
slots alike, as a template of another scale does, and is judged as the template's; what is even in cents, or falls with the nut's
height, is what one hand or one nut file does to all necks, and is only told.

A neck departs when its slots do, its own trend aside: a nut or a heavy hand is no matter of the template. Departures are
squared and cut off at 2.5 standard deviations, so that a slot or two badly heard make no neck loose, and the necks are compared
with their own median.

Conventions: mm on the neck's axis, positive toward the bridge. Intervals hold 90 % unless told otherwise and use Student's t.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtr, ndtri, stdtrit

from fretcheck.arrays import Reals
from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.template.slot_errors import NeckSlots
from fretcheck.lots.template.two_way import FEWEST_FRETS, CommonTrend, TwoWay, common_trend, trend_shapes, two_way
from fretcheck.units import CENTS_PER_NEPER

FEWEST_NECKS = 3
FEWEST_TO_SCREEN = 5
PRACTICAL_MM = 0.05  # Half of the usual slot tolerance: less is not worth a new template
# Scatter of a neck's own slots from which it is called loose: with less, three of four lie within the usual tolerance
LOOSE_MM = 0.075
# Chance that any neck of a clean lot is named, were readings normal; heavy tails raise it (wanted: 2 of 100 lots)
FALSE_NAMING = 0.004
# Expected share of wrongly blamed frets among the blamed ones (Benjamini & Hochberg, J. R. Stat. Soc. B 57, 289, 1995).
FALSE_TEMPLATE_ERRORS = 0.05
# What one hand does to the first frets of all necks beyond the trend, where the string is stiffest under the finger: standard
# deviation at fret 1, and its share from fret to fret. Common practice, no source: a hard press there sharpens by a cent.
HAND_CENTS, HAND_FALLS = 0.5, 0.3
# How well it is known from fret to fret what a perfect neck reads: stretch and stiffness of all strings one standard uncertainty
# off (5 to 40 %, what makers tell of cores and windings) leave 0.01 to 0.03 cent beside the trend on the ready-made steel,
# electric and bass descriptions; doubled for what a model of a string leaves out
DESIGN_CENTS = 0.05
_CUT_OFF, _KEPT_SQUARE = 2.5**2, 0.978  # and the mean of a normal deviate's square cut off there

# A hand plucking each of six strings twice at fret 7 of a 650 mm scale (common practice, no source)
USUAL_HAND_CENTS, USUAL_NOTES, CENTS_PER_MM = 0.8, 12, 4.0

Mask = NDArray[np.bool_]
Quantity = Literal["position", "tilt"]


@dataclass(frozen=True, kw_only=True)
class FretError:
    """The template's error at one fret."""

    fret: int
    error_mm: float
    u_mm: float
    interval: tuple[float, float]
    necks: int
    blamed: bool  # True when the error is both beyond chance and beyond the practical size
    text: str


@dataclass(frozen=True, kw_only=True)
class Departure:
    """A neck that does not follow the template, and where it departs most."""

    neck: str
    probability: float  # Of so large a departure by chance on a neck that follows the template
    worst_fret: int
    text: str


@dataclass(frozen=True, kw_only=True)
class WholeError:
    """What grows along all frets of all necks, at the last fret: mm, its interval, and whether that lies beyond tolerance."""

    fret: int
    error_mm: float
    interval: tuple[float, float]
    blamed: bool
    text: str


@dataclass(frozen=True, kw_only=True)
class TemplateResult:
    """What a lot says about its template."""

    quantity: Quantity
    frets: tuple[FretError, ...]
    whole: WholeError | None  # None when too few frets were read to see a trend
    trend_mm: tuple[float, ...] | None  # What all frets of all necks share beside the single errors, fret by fret
    neck_scatter_mm: float  # Root mean square over the frets of the necks' own trends
    slot_scatter_mm: float  # Of the single slot, the readings' own scatter taken out
    slot_freedom: float  # Degrees of freedom of that scatter: few when the readings scatter more than the slots
    reading_scatter_mm: float
    departures: tuple[Departure, ...]
    necks: int
    necks_used: int
    confidence: float
    power: str  # What these necks could find, and what twice as many could
    warnings: tuple[str, ...]
    # By neck: its slots' own errors fret by fret, all trends taken out; NaN where not read
    slots_mm: dict[str, tuple[float, ...]]


def template_errors(
    necks: Sequence[NeckSlots],
    *,
    quantity: Quantity = "position",
    confidence: float = 0.90,
    tolerance_mm: float = 2 * PRACTICAL_MM,
) -> TemplateResult:
    """Separate the template's errors from the necks' and the readings'.

    `necks`: frets may be missing here and there. `confidence`: of the intervals. `tolerance_mm`: ± of a slot; half of it is not
    worth a new template.
    Raises DiagnosisRefusedError with fewer than three necks, which cannot tell a template's error from a neck's; UsageError
    when the necks' frets do not belong to one design.
    """
    if not 0.5 <= confidence < 1:
        raise UsageError(f"confidence = {confidence:g} lies outside 0.5 to 1: 0.90 is usual")
    names, frets, gamma, values, u = _table(necks, quantity)
    shapes = trend_shapes(gamma)
    used, fit, chances = _screen(values, u, shapes)
    count = int(used.sum())
    hand = (HAND_CENTS * HAND_FALLS ** np.arange(len(gamma)) + DESIGN_CENTS) / CENTS_PER_NEPER * necks[0].scale_mm / gamma
    of_necks = fit.columns_covariance[:, 0, 0]
    variance = of_necks + (hand**2 if quantity == "position" else 0.0)
    trend = common_trend(fit.columns[:, 0], variance, shapes) if len(frets) >= FEWEST_FRETS else None
    errors = fit.columns[:, 0] + shapes[:, 0] * fit.rows.mean() if trend is None else trend.rest
    spreads = np.sqrt(variance if trend is None else np.diag(trend.covariance_of_rest))
    slots = np.full(values.shape, np.nan)
    free = 1.0 - np.einsum("fi,if->f", shapes, np.linalg.pinv(shapes))
    slots[used] = errors + fit.left / free
    departures = []
    for neck in np.flatnonzero(~used)[np.argsort(chances[~used])]:
        left = _residuals(values[neck : neck + 1], u[neck : neck + 1], fit, shapes)[0] / free
        slots[neck] = errors + left
        worst = int(np.nanargmax(np.abs(left)))
        out = f"most at fret {frets[worst]}: {_where(float(left[worst]), quantity)} of where it should be"
        text = f"neck {names[neck]} departs from the template, {out}"
        departures.append(Departure(neck=names[neck], probability=float(chances[neck]), worst_fret=frets[worst], text=text))
    warnings = []
    if len(names) < FEWEST_TO_SCREEN:
        warnings.append(f"{len(names)} necks are too few to tell a bad neck from the template: none was set aside")
    if count < 10:
        warnings.append(f"{count} necks: the scatter between necks is known only roughly")
    if trend is None:
        warnings.append(
            f"fewer than {FEWEST_FRETS} frets were read: what nut, saddle or hand do to all frets could not be taken out"
        )
    stated = float(np.mean(u[used][np.isfinite(values[used])] ** 2))
    scatter = max(fit.added, 0.0)
    return TemplateResult(
        quantity=quantity,
        frets=_fret_errors(frets, errors, spreads, fit, quantity, confidence, tolerance_mm / 2),
        whole=None if trend is None or quantity == "tilt" else _whole(trend, fit, frets, gamma, shapes, confidence, tolerance_mm),
        trend_mm=None if trend is None else tuple((shapes @ (trend.coefficients + fit.rows.mean(axis=0))).tolist()),
        neck_scatter_mm=float(np.sqrt(np.mean(((fit.rows - fit.rows.mean(axis=0)) @ shapes.T) ** 2) * count / (count - 1))),
        slot_scatter_mm=scatter**0.5,
        slot_freedom=fit.freedom * (scatter / (scatter + stated)) ** 2,
        reading_scatter_mm=stated**0.5,
        departures=tuple(departures),
        necks=len(names),
        necks_used=count,
        confidence=confidence,
        power=power_in_words(
            count,
            scatter_mm=float(np.median(of_necks * count)) ** 0.5,
            fixed_mm=float(np.median(np.maximum(spreads**2 - of_necks, 0.0))) ** 0.5,
            frets=len(frets),
            tolerance_mm=tolerance_mm,
        ),
        warnings=tuple(warnings),
        slots_mm={name: tuple(row) for name, row in zip(names, slots.tolist(), strict=True)},
    )


def power(necks: int, *, scatter_mm: float, fixed_mm: float, frets: int, error_mm: float, practical_mm: float) -> float:
    """Chance that so many necks find an error of one fret: beyond chance among so many frets (the first step of Benjamini &
    Hochberg) and beyond the practical size. `scatter_mm` falls with the root of the necks, `fixed_mm` stays."""
    u = (scatter_mm**2 / necks + fixed_mm**2) ** 0.5
    least = max(practical_mm, u * float(ndtri(1 - FALSE_TEMPLATE_ERRORS / (2 * frets))))
    return float(ndtr((abs(error_mm) - least) / u))


def power_in_words(
    necks: int,
    *,
    scatter_mm: float | None = None,
    fixed_mm: float = DESIGN_CENTS / CENTS_PER_MM,
    frets: int = 20,
    tolerance_mm: float = 2 * PRACTICAL_MM,
) -> str:
    """What so many necks could find, and what twice as many could; without figures for a usual shop."""
    if scatter_mm is None:  # slots that keep their tolerance by three standard deviations
        scatter_mm = float(np.hypot(USUAL_HAND_CENTS / USUAL_NOTES**0.5 / CENTS_PER_MM, tolerance_mm / 3))
    chance = partial(
        power, scatter_mm=scatter_mm, fixed_mm=fixed_mm, frets=frets, error_mm=tolerance_mm, practical_mm=tolerance_mm / 2
    )
    return (
        f"a template fret that is {tolerance_mm:.2f} mm out is found by {100 * chance(necks):.0f} of 100 shops with {necks} necks"
        f" read, by {100 * chance(2 * necks):.0f} with {2 * necks}"
    )


def _table(necks: Sequence[NeckSlots], quantity: Quantity) -> tuple[list[str], list[int], Reals, Reals, Reals]:
    """Names, frets, their ratios; errors and uncertainties as (necks, frets) with NaN."""
    if len(necks) < FEWEST_NECKS:
        raise DiagnosisRefusedError(
            f"{len(necks)} necks cannot tell a template's error from a neck's: read at least {FEWEST_NECKS}"
        )
    frets = sorted({fret for neck in necks for fret in neck.frets})
    place = {fret: column for column, fret in enumerate(frets)}
    values, u, ratios = np.full((3, len(necks), len(frets)), np.nan)
    for row, neck in enumerate(necks):
        columns = [place[fret] for fret in neck.frets]
        values[row, columns] = neck.position_mm if quantity == "position" else neck.tilt_mm
        u[row, columns] = neck.u_position_mm if quantity == "position" else neck.u_tilt_mm
        ratios[row, columns] = neck.gamma
    gamma = np.nanmedian(ratios, axis=0)
    if np.any(np.nanmax(np.abs(ratios / gamma - 1.0), axis=1) > 0.01):  # a sixth of a semitone: another division, not a rounding
        raise UsageError("these necks have different fret layouts: a template is judged by necks of one design")
    known = np.isfinite(values)
    rows, columns = known.any(axis=1), known.sum(axis=0) >= 2
    if rows.sum() < FEWEST_NECKS:
        raise DiagnosisRefusedError(f"fewer than {FEWEST_NECKS} necks have frets read on enough strings for {quantity}")
    keep = np.ix_(rows, columns)
    names = [neck.neck for neck, good in zip(necks, rows, strict=True) if good]
    return names, [f for f, good in zip(frets, columns, strict=True) if good], gamma[columns], values[keep], u[keep]


def _screen(values: Reals, u: Reals, shapes: Reals) -> tuple[Mask, TwoWay, Reals]:
    """Which necks follow the template, the fit to them, and each neck's chance of departing so far."""
    following, chances = np.ones(len(values), dtype=bool), np.ones(len(values))
    for _ in range(10):
        used = following
        fit = two_way(values[used], u[used], shapes=shapes, across=np.ones((int(used.sum()), 1)))
        if len(values) < FEWEST_TO_SCREEN:
            break
        chances = _chances(values, u, fit, shapes)
        following = chances > FALSE_NAMING / len(values)
        if following.sum() <= len(values) // 2:  # never judge by a minority
            following = chances >= np.sort(chances)[(len(chances) - 1) // 2]
        if np.array_equal(following, used):
            break
    return used, fit, chances


def _chances(values: Reals, u: Reals, fit: TwoWay, shapes: Reals) -> Reals:
    """For each neck the chance of slots departing so far, as a whole or at its worst slot; 1 where it is too little to matter."""
    left = _residuals(values, u, fit, shapes)
    variance = np.maximum(u**2 + fit.added, 0.25 * u**2)
    square = np.minimum(left**2 / variance, _CUT_OFF)
    room = np.maximum(np.isfinite(left).sum(axis=1) - shapes.shape[1], 1)
    whole = np.nansum(square, axis=1) / _KEPT_SQUARE
    whole /= max(1.0, float(np.median(whole / room)))
    own = np.sqrt(np.maximum(np.nansum(np.minimum(left**2, _CUT_OFF * variance) - u**2, axis=1) / room, 0.0))
    return np.asarray(np.where(own >= LOOSE_MM, chdtrc(room, whole), 1.0))


def _residuals(values: Reals, u: Reals, fit: TwoWay, shapes: Reals) -> Reals:
    """Each neck's departures from the template, its own trend taken out robustly, as if it were alone."""
    none = np.zeros((len(values), 0))
    return two_way(values - fit.columns[:, 0], u, shapes=shapes, across=none, row_by_row=True).left


def _whole(
    trend: CommonTrend, fit: TwoWay, frets: Sequence[int], gamma: Reals, shapes: Reals, confidence: float, tolerance_mm: float
) -> WholeError:
    """The part that grows toward the body, at the last fret."""
    own = fit.rows[:, 1] * shapes[-1, 1]
    error = float(own.mean() + trend.coefficients[1] * shapes[-1, 1])
    u = float(np.hypot(own.std(ddof=1) / len(own) ** 0.5, trend.coefficients_covariance[1, 1] ** 0.5 * shapes[-1, 1]))
    half = float(stdtrit(len(own) - 1, (1 + confidence) / 2)) * u
    blamed = abs(error) - half > tolerance_mm
    scale = error * float(gamma[-1] / (gamma[-1] - 1.0))
    text = (
        "the template as a whole is out: its slots drift from 0 at the nut to "
        f"{error:+.2f} ± {half:.2f} mm at fret {frets[-1]}, as "
        f"with a scale {abs(scale):.2f} mm too {'long' if scale > 0 else 'short'}, or every saddle {abs(scale):.2f} mm too far "
        f"{'forward' if scale > 0 else 'back'}; measure nut to fret {frets[-1]} on one neck with a rule: that decides"
    )
    return WholeError(fret=frets[-1], error_mm=error, interval=(error - half, error + half), blamed=blamed, text=text)


def _fret_errors(
    frets: Sequence[int], errors: Reals, spreads: Reals, fit: TwoWay, quantity: Quantity, confidence: float, practical: float
) -> tuple[FretError, ...]:
    """What is beyond chance by Benjamini & Hochberg over the frets, and beyond the practical size."""
    from scipy.stats import false_discovery_control, t

    beyond = false_discovery_control(2 * t.sf(np.abs(errors) / spreads, fit.freedom)) <= FALSE_TEMPLATE_ERRORS
    halves, necks, found = float(stdtrit(fit.freedom, (1 + confidence) / 2)) * spreads, fit.kept.sum(axis=0), []
    rows = zip(frets, errors.tolist(), spreads.tolist(), halves.tolist(), necks.tolist(), beyond.tolist(), strict=True)
    for fret, error, u, half, heard, surely in rows:
        size = f"{error:+.2f} ± {half:.2f} mm"
        if blamed := surely and abs(error) >= practical:
            verb = "sits" if quantity == "position" else "is tilted"
            text = f"fret {fret} {verb} {_where(error, quantity, half)} on every neck: correct the template"
        elif abs(error) + half > 2 * practical or half > practical:
            text = f"fret {fret}: {size}, not settled by {len(fit.rows)} necks: read more before touching the template"
        else:
            text = f"fret {fret}: {size}, nothing to correct"
        ends = (error - half, error + half)
        found.append(FretError(fret=fret, error_mm=error, u_mm=u, interval=ends, necks=heard, blamed=blamed, text=text))
    return tuple(found)


def _where(size_mm: float, quantity: Quantity, half: float | None = None) -> str:
    amount = f"{abs(size_mm):.2f}" + ("" if half is None else f" ± {half:.2f}") + " mm"
    side = f"toward the {'bridge' if size_mm > 0 else 'nut'}"
    return f"{amount}, its treble end {side}" if quantity == "tilt" else f"{amount} {side}"
