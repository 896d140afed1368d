"""Template errors: what every neck of a template has in common, what each neck adds, and which necks depart.

A slot's error on a neck is the template's error at that fret (the same on every neck), plus the neck's own shift, plus
scatter of the single slot, plus the measurement's uncertainty, which is known from the neck's diagnosis. Model:

    error[neck, fret] = template[fret] + trend[neck](fret) + scatter[neck, fret] + measurement[neck, fret]

The template's errors are FIXED effects (these frets are the ones asked about); the necks' trends and the slots' scatter
are RANDOM effects (these necks stand for all the template will cut). A trend is what nut, saddle, scale or hand do to all
frets of a neck at once: in cents 1, γ − 1 and 1/(γ − 1), γ = 2^(fret/12), so in mm these over γ. With one row a string, random
effects of the slot and of the string within its neck are added. Components by REML (`variance_components`).

Such a trend that all necks share (the same hand pressed all of them) cannot be told from a template that is out at all frets
in the same pattern. It is fitted through the frets' errors so robustly that single frets do not bend it (least median of
squares, P. J. Rousseeuw, J. Am. Stat. Assoc. 79, 871 (1984), then bisquare weights), given apart, and the template's errors
are what stands out from it.

A neck departs when its slots do, its own trend aside: a nut or a heavy hand is no matter of the template. One bad neck must
not speak for the template. The fit starts from the half of the necks that agree best with the medians,
takes in all that fit it, and refits until nothing changes (forward search: A. C. Atkinson & M. Riani, "Robust
Diagnostic Regression Analysis", 2000, from memory). A neck left out is named with the fret where it departs most.

Conventions
-----------
mm on the neck's axis, positive toward the bridge. Intervals hold 90 % unless told otherwise and use Student's t with
necks − 1 degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fretcheck.errors import DiagnosisRefusedError, UsageError
from fretcheck.lots.trend import FEWEST_FRETS, NAMES, common_trend, trend_shapes
from fretcheck.lots.variance_components import RESIDUAL, Codes, ComponentFit, Floats, fit_components

FEWEST_NECKS = 3
FEWEST_TO_SCREEN = 5
PRACTICAL_MM = 0.05
FALSE_NAMING = 0.01
"""Chance that any neck of a clean lot is named."""
FALSE_TEMPLATE_ERRORS = 0.05
"""Expected share of wrongly blamed frets among the blamed ones (Benjamini & Hochberg, J. R. Stat. Soc. B 57, 289, 1995)."""

Mask = NDArray[np.bool_]
Quantity = Literal["position", "tilt"]


@dataclass(frozen=True, kw_only=True)
class SlotError:
    """One slot of one neck as its diagnosis sees it; `string` only when rows are told apart by string."""

    neck: str
    fret: int
    error_mm: float
    u_mm: float
    string: int | None = None


@dataclass(frozen=True, kw_only=True)
class FretError:
    """The template's error at one fret."""

    fret: int
    error_mm: float
    u_mm: float
    interval: tuple[float, float]
    necks: int
    blamed: bool
    """True when the error is both beyond chance and beyond the practical size."""
    text: str


@dataclass(frozen=True, kw_only=True)
class Departure:
    """A neck that does not follow the template, and where it departs most."""

    neck: str
    probability: float
    """Of so large a departure by chance on a neck that follows the template."""
    worst_fret: int
    worst_mm: float
    text: str


@dataclass(frozen=True, kw_only=True)
class TemplateResult:
    """What a lot says about its template."""

    quantity: Quantity
    frets: tuple[FretError, ...]
    trend_mm: tuple[float, ...] | None
    """What all frets of all necks share beside the single errors, fret by fret; None when too few frets were read to see it."""
    neck_scatter_mm: float
    """Root mean square over the frets of the necks' own trends."""
    slot_scatter_mm: float
    string_scatter_mm: float | None
    departures: tuple[Departure, ...]
    necks: int
    necks_used: int
    confidence: float
    warnings: tuple[str, ...]
    effects: str = (
        "the same on every neck (fixed): the template's error at each fret; "
        "different from neck to neck (random): the neck's trend over its frets, the scatter of the single slot"
    )


def template_errors(
    slots: Sequence[SlotError], *, quantity: Quantity = "position", confidence: float = 0.90, practical_mm: float = PRACTICAL_MM
) -> TemplateResult:
    """Separate the template's errors from the necks' and the measurement's.

    Parameters
    ----------
    slots : sequence of SlotError
        Any number a neck; frets may be missing here and there.
    quantity : {'position', 'tilt'}
        What the errors are, for the words only.
    confidence : float
        Of the intervals.
    practical_mm : float
        Errors smaller than this are not worth a new template.

    Raises
    ------
    DiagnosisRefusedError
        With fewer than three necks, which cannot tell a template's error from a neck's.
    UsageError
        When rows with and without a string are mixed, or an uncertainty is not positive.
    """
    table = _Table(slots)
    used, fit = table.screen()
    chances = table.departure_chances(fit, used)
    count = int(used.sum())
    half_width = _student(confidence, count - 1)
    trend = common_trend(fit.fixed, fit.fixed_covariance, table.shapes) if table.with_trend else None
    errors = fit.fixed if trend is None else trend.rest
    spreads = np.sqrt(np.diag(fit.fixed_covariance if trend is None else trend.covariance_of_rest))
    beyond_chance = _beyond_chance(errors, spreads, count - 1)
    frets = tuple(
        _fret_error(fret, float(e), float(s), half_width, table.readings_of(fret, used), bool(b), quantity, practical_mm, count)
        for fret, e, s, b in zip(table.frets, errors, spreads, beyond_chance, strict=True)
    )
    departures = tuple(
        table.departure(neck, fit, float(chances[neck]), quantity) for neck in np.argsort(chances) if not used[neck]
    )
    warnings = []
    if len(table.necks) < FEWEST_TO_SCREEN:
        warnings.append(f"{len(table.necks)} necks are too few to tell a bad neck from the template: none was set aside")
    if count < 10:
        warnings.append(f"{count} necks: the scatter between necks is known only roughly")
    if trend is None:
        warnings.append(
            f"fewer than {FEWEST_FRETS} frets were read: what nut, saddle or hand do to all frets could not be taken out"
        )
    return TemplateResult(
        quantity=quantity,
        frets=frets,
        trend_mm=None if trend is None else tuple(float(value) for value in trend.values),
        neck_scatter_mm=float(np.sqrt(np.mean(np.diag(table.neck_covariance(fit, np.arange(len(table.frets))))))),
        slot_scatter_mm=fit.scatter("slot" if "slot" in fit.variances else RESIDUAL),
        string_scatter_mm=fit.scatter("string") if "string" in fit.variances else None,
        departures=departures,
        necks=len(table.necks),
        necks_used=count,
        confidence=confidence,
        warnings=tuple(warnings),
    )


class _Table:
    """The rows as arrays, sorted by neck, with the model's matrices."""

    def __init__(self, slots: Sequence[SlotError]) -> None:
        rows = sorted(slots, key=lambda row: (row.neck, row.fret, row.string or 0))
        with_string = {row.string is not None for row in rows}
        if len(with_string) > 1:
            raise UsageError("some slot errors name a string and some do not: give them all or none")
        if any(not row.u_mm > 0 for row in rows):
            raise UsageError("a slot error without a positive uncertainty cannot be weighed: u_mm must be above 0")
        self.by_string = with_string == {True}
        self.necks = [name for name, _ in groupby(row.neck for row in rows)]
        if len(self.necks) < FEWEST_NECKS:
            raise DiagnosisRefusedError(
                f"{len(self.necks)} necks cannot tell a template's error from a neck's: read at least {FEWEST_NECKS}"
            )
        self.frets = sorted({row.fret for row in rows})
        self.error = np.array([row.error_mm for row in rows])
        self.u = np.array([row.u_mm for row in rows])
        number = {name: i for i, name in enumerate(self.necks)}
        self.neck = np.array([number[row.neck] for row in rows])
        self.fret = np.searchsorted(self.frets, [row.fret for row in rows])
        self.string = np.array([row.string or 0 for row in rows])
        self.with_trend = len(self.frets) >= FEWEST_FRETS
        self.shapes = trend_shapes(self.frets) if self.with_trend else np.ones((len(self.frets), 1))
        self.shape_names = NAMES if self.with_trend else ("neck",)
        self.starts = np.searchsorted(self.neck, np.arange(len(self.necks) + 1))

    def rows_of(self, neck: int) -> slice:
        return slice(self.starts[neck], self.starts[neck + 1])

    def readings_of(self, fret: int, used: Mask) -> int:
        """Number of used necks on which a fret was read."""
        return len(set(self.neck[(self.fret == self.frets.index(fret)) & used[self.neck]].tolist()))

    def fit(self, used: Mask, *, start: ComponentFit | None = None) -> ComponentFit:
        keep = used[self.neck]
        neck, fret, string = self.neck[keep], self.fret[keep], self.string[keep]
        factors = dict.fromkeys(self.shape_names, _codes(neck))
        patterns = {name: self.shapes[fret, column] for column, name in enumerate(self.shape_names)}
        if self.by_string:
            factors["slot"] = _codes(neck * 1000 + fret)
            factors["string"] = _codes(neck * 1000 + string)
        return fit_components(
            self.error[keep],
            fixed=np.eye(len(self.frets))[fret],
            factors=factors,
            patterns=patterns,
            known_u=self.u[keep],
            blocks=neck,
            start=None if start is None else start.variances,
        )

    def screen(self) -> tuple[Mask, ComponentFit]:
        """Which necks follow the template, by forward search from the best half, and the fit to them."""
        everyone = np.ones(len(self.necks), dtype=bool)
        if len(self.necks) < FEWEST_TO_SCREEN:
            return everyone, self.fit(everyone)
        medians = np.array([np.median(self.error[self.fret == f]) for f in range(len(self.frets))])
        size = np.array([self._away(neck, medians) for neck in range(len(self.necks))])
        used: Mask = size <= np.sort(size)[len(size) // 2]
        if not np.array_equal(np.unique(self.fret[used[self.neck]]), np.arange(len(self.frets))):
            used = everyone
        limit = FALSE_NAMING / len(self.necks)
        fit = self.fit(used)
        for _ in range(20):
            chances = self.departure_chances(fit, used)
            following: Mask = chances > limit
            if following.sum() <= len(self.necks) // 2:  # never judge by a minority
                following = chances >= np.sort(chances)[(len(self.necks) - 1) // 2]
            if np.array_equal(following, used):
                break
            used = following
            fit = self.fit(used, start=fit)
        return used, fit

    def departure_chances(self, fit: ComponentFit, used: Mask) -> Floats:
        """For each neck the chance of departing so far as a whole, or at its worst slot (Bonferroni)."""
        from scipy.special import fdtrc, stdtr

        freedom = max(1.0, float(used[self.neck].sum() - len(self.frets)))
        chances = np.ones(len(self.necks))
        for neck in range(len(self.necks)):
            left, spread = self.own_errors(neck, fit, used=bool(used[neck]))
            shapes = self.shapes[self.fret[self.rows_of(neck)]]
            room = len(left) - shapes.shape[1]
            if room < 1:
                continue  # its own trend explains all of it
            free = np.linalg.qr(shapes, mode="complete")[0][:, shapes.shape[1] :]
            without = free.T @ left
            whole = float(without @ np.linalg.solve(free.T @ spread @ free, without)) / room
            single, u = _detrended(left, spread, shapes)
            slots = len(set(self.fret[self.rows_of(neck)].tolist()))
            by_whole = float(fdtrc(room, freedom, whole))
            by_slot = 2 * slots * float(stdtr(freedom, -float(np.max(np.abs(single) / u))))
            chances[neck] = min(1.0, 2 * min(by_whole, by_slot))
        return chances

    def _away(self, neck: int, medians: Floats) -> float:
        """How far a neck lies from the medians, its own trend taken out, in uncertainties."""
        rows = self.rows_of(neck)
        weight = 1.0 / self.u[rows]
        away = (self.error[rows] - medians[self.fret[rows]]) * weight
        shapes = self.shapes[self.fret[rows]] * weight[:, None]
        return float(np.sqrt(np.mean((away - shapes @ np.linalg.lstsq(shapes, away, rcond=None)[0]) ** 2)))

    def own_errors(self, neck: int, fit: ComponentFit, *, used: bool) -> tuple[Floats, Floats]:
        """A neck's errors less the template's, and their covariance (its own trend aside) if the neck follows the template."""
        rows = self.rows_of(neck)
        fret, string = self.fret[rows], self.string[rows]
        left = self.error[rows] - fit.fixed[fret]
        spread = np.diag(self.u[rows] ** 2 + fit.variances[RESIDUAL])
        if self.by_string:
            spread = (
                spread + fit.variances["slot"] * (fret[:, None] == fret) + fit.variances["string"] * (string[:, None] == string)
            )
        of_template = fit.fixed_covariance[np.ix_(fret, fret)]
        return left, spread if used else spread + of_template

    def neck_covariance(self, fit: ComponentFit, fret: Codes) -> Floats:
        """Covariance of a neck's own trend at these frets."""
        shapes = self.shapes[fret]
        return np.asarray((shapes * [fit.variances[name] for name in self.shape_names]) @ shapes.T)

    def departure(self, neck: int, fit: ComponentFit, chance: float, quantity: Quantity) -> Departure:
        left, spread = self.own_errors(neck, fit, used=False)
        fret_codes = self.fret[self.rows_of(neck)]
        left, _ = _detrended(left, spread, self.shapes[fret_codes])
        by_fret = {int(f): float(np.mean(left[fret_codes == f])) for f in np.unique(fret_codes)}
        worst = max(by_fret, key=lambda f: abs(by_fret[f]))
        fret, size = self.frets[worst], by_fret[worst]
        name = self.necks[neck]
        text = f"neck {name} departs from the template, most at fret {fret}: {_where(size, quantity)} of where it should be"
        return Departure(neck=name, probability=chance, worst_fret=fret, worst_mm=size, text=text)


def _detrended(left: Floats, spread: Floats, shapes: Floats) -> tuple[Floats, Floats]:
    """Errors of a neck with its own trend taken out, and their uncertainties."""
    inverse = np.linalg.inv(spread)
    covariance = np.linalg.inv(shapes.T @ inverse @ shapes)
    rest = left - shapes @ (covariance @ (shapes.T @ inverse @ left))
    variance = np.diag(spread) - np.einsum("ij,jk,ik->i", shapes, covariance, shapes)
    return np.asarray(rest), np.sqrt(np.maximum(variance, 1e-3 * np.diag(spread)))


def _fret_error(
    fret: int,
    error: float,
    u: float,
    t: float,
    necks: int,
    beyond_chance: bool,
    quantity: Quantity,
    practical_mm: float,
    used: int,
) -> FretError:
    half = t * u
    blamed = beyond_chance and abs(error) >= practical_mm
    if blamed:
        verb = "sits" if quantity == "position" else "is tilted"
        text = f"fret {fret} {verb} {_where(error, quantity, half)} on every neck: correct the template"
    elif error - half > practical_mm or error + half < -practical_mm or half > practical_mm:
        text = f"fret {fret}: {error:+.2f} ± {half:.2f} mm, not settled by {used} necks: read more before touching the template"
    else:
        text = f"fret {fret}: {error:+.2f} ± {half:.2f} mm, nothing to correct"
    return FretError(
        fret=fret, error_mm=error, u_mm=u, interval=(error - half, error + half), necks=necks, blamed=blamed, text=text
    )


def _where(size_mm: float, quantity: Quantity, half: float | None = None) -> str:
    amount = f"{abs(size_mm):.2f}" + ("" if half is None else f" ± {half:.2f}") + " mm"
    if quantity == "tilt":
        return f"{amount}, its treble end toward the {'bridge' if size_mm > 0 else 'nut'}"
    return f"{amount} toward the {'bridge' if size_mm > 0 else 'nut'}"


def _beyond_chance(errors: Floats, spreads: Floats, freedom: int) -> Mask:
    """Benjamini–Hochberg over the frets."""
    from scipy.special import stdtr

    chance = 2 * stdtr(freedom, -np.abs(errors) / spreads)
    order = np.argsort(chance)
    allowed = FALSE_TEMPLATE_ERRORS * np.arange(1, len(chance) + 1) / len(chance)
    passing = np.nonzero(chance[order] <= allowed)[0]
    beyond = np.zeros(len(chance), dtype=bool)
    if len(passing):
        beyond[order[: passing[-1] + 1]] = True
    return beyond


def _student(confidence: float, freedom: int) -> float:
    from scipy.special import stdtrit

    if not 0.5 <= confidence < 1:
        raise UsageError(f"confidence = {confidence:g} lies outside 0.5 to 1: 0.90 is usual")
    return float(stdtrit(freedom, (1 + confidence) / 2))


def _codes(labels: Codes) -> Codes:
    return np.unique(labels, return_inverse=True)[1]
