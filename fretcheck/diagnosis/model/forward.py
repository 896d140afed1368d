"""The forward model: how a built neck reads, at every string and fret, and how each of its parts changes that.

Conventions: θ holds the values of `Parameters`, in mm, cents, or logarithms of a factor; cells as in `as_designed`. The
derivatives of one stopped string are exact (`stopped_string.partials`); a parameter acts on it linearly, through its pattern.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretcheck.arrays import Reals
from fretcheck.diagnosis.model.as_designed import AsDesigned, as_designed
from fretcheck.diagnosis.model.parameters import Parameters, parameters_of
from fretcheck.diagnosis.model.stopped_string import LOCALS, Stop, partials, sharpness_cents
from fretcheck.neck.description import Neck

Cells = slice | NDArray[np.intp]
ALL = slice(None)


@dataclass(frozen=True, kw_only=True)
class ForwardModel:
    """The cells of a neck and the parameters that move them. `fret_shift_mm` (per cell) is a layout other than designed."""

    design: AsDesigned
    parameters: Parameters
    fret_shift_mm: Reals | None = None

    @cached_property
    def _of_local(self) -> dict[str, NDArray[np.intp]]:
        names = np.array(self.parameters.local)
        return {name: np.flatnonzero(names == name) for name in LOCALS}

    @cached_property
    def _designed(self) -> Stop:
        stop = self.design.stop
        return stop if self.fret_shift_mm is None else replace(stop, fret=stop.fret + self.fret_shift_mm)

    @cached_property
    def _designed_open_mm(self) -> Reals:
        stop = self.design.stop
        return np.asarray(stop.scale + stop.saddle - stop.nut)

    def moved(self, theta: Reals, columns: NDArray[np.intp], before: dict[str, Reals], cells: Cells = ALL) -> dict[str, Reals]:
        """The local quantities `before` of `cells` with these columns of θ added, shape (…, parameters), to each."""
        wanted = set(columns.tolist())
        after = dict(before)
        for name, own in self._of_local.items():
            here = [column for column in own.tolist() if column in wanted]
            if here:
                after[name] = after[name] + theta[..., here] @ self.parameters.matrix[here][:, cells]
        return after

    @property
    def designed(self) -> dict[str, Reals]:
        """The local quantities of every cell as designed."""
        return {name: getattr(self._designed, name) for name in LOCALS}

    def stop(self, theta: Reals) -> Stop:
        """The cells as built."""
        return self.strung(self.moved(theta, np.arange(len(self.parameters.keys)), self.designed))

    def strung(self, moved: dict[str, Reals], cells: Cells = ALL) -> Stop:
        """Cells of these local quantities, strings tuned to their pitch: a longer one is tighter, which lowers its κ and β0."""
        scale, ratio = self._designed.scale[cells], self._designed.ratio[cells]
        longer = 2.0 * np.log((scale + moved["saddle"] - moved["nut"]) / self._designed_open_mm[cells])
        tighter = {"log_kappa": moved["log_kappa"] - longer, "log_beta": moved["log_beta"] - longer}
        return Stop(scale=scale, ratio=ratio, **{**moved, **tighter})

    def cents(self, theta: Reals) -> Reals:
        """Deviation of every cell, shape (cells,); of many θ, shape (…, parameters), at once (…, cells)."""
        return np.asarray(sharpness_cents(self.stop(theta)))

    def depth_slope(self, theta: Reals) -> Reals:
        """Rise of every cell in cents for a mm of the finger's depth."""
        return partials(self.stop(theta))["depth"]

    def jacobian(self, theta: Reals) -> Reals:
        """Its derivative by every parameter, shape (cells, parameters)."""
        stop = self.stop(theta)
        slopes = partials(stop)
        by_length = -2.0 * (slopes["log_kappa"] + slopes["log_beta"]) / (stop.scale + stop.saddle - stop.nut)
        slopes["saddle"] = slopes["saddle"] + by_length
        slopes["nut"] = slopes["nut"] - by_length
        matrix = np.empty(self.parameters.matrix.shape)
        for name, columns in self._of_local.items():
            matrix[columns] = self.parameters.matrix[columns] * slopes[name]
        return matrix.T


def played_cents(neck: Neck) -> Reals:
    """What a neck built exactly as described reads under a usual hand: every parameter at its prior mean.

    Beyond `expected_cents` it holds the finger's depth and the usual relief; shape and signs are the same.
    """
    design = as_designed(neck)
    parameters = parameters_of(design, open_u_cents=[0.0] * len(neck.strings))
    model = ForwardModel(design=design, parameters=parameters)
    return design.table(model.cents(parameters.prior_mean))
