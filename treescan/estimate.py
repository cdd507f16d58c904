"""A number with its low and high side: how every uncertain figure travels through the house."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Estimate:
    """Median with a low side (the 5th percentile, or the tolerance bound of it) and the 95th percentile; NaN in all three means *not seen*."""

    median: float
    p5: float
    p95: float

    @classmethod
    def of(cls, samples: np.ndarray, low_share: float = 0.05) -> Estimate:
        """Percentiles of a sample.

        Parameters
        ----------
        samples : (k,) float    Draws of one quantity, any unit; NaN draws make the estimate *not seen*.
        low_share : float       Share of the draws below the low side; less than 0.05 where few tests stand behind the draws.
        """
        s = np.sort(np.asarray(samples, float).ravel())  # the usual linear percentiles, without the general function's overhead
        if len(s) == 0 or np.isnan(s[-1]):
            return cls(float("nan"), float("nan"), float("nan"))
        low, mid, high = (_between(s, share * (len(s) - 1)) for share in (low_share, 0.50, 0.95))
        return cls(mid, low, high)

    def over(self, divisor: float) -> Estimate:
        """All three divided: a margin under so many times the stress.

        >>> Estimate(2.0, 1.0, 3.0).over(2.0)
        Estimate(median=1.0, p5=0.5, p95=1.5)
        """
        return Estimate(self.median / divisor, self.p5 / divisor, self.p95 / divisor)

    @property
    def known(self) -> bool:
        """False where the scan could not tell."""
        return bool(np.isfinite(self.median))


def quantile(samples: np.ndarray, share: float) -> float:
    """The usual linear quantile of a sample (k,), k > 0; NaN where one of it is.

    >>> quantile(np.array([3.0, 1.0, 2.0]), 0.25)
    1.5
    """
    s = np.sort(samples)  # without the general function's overhead
    return float("nan") if np.isnan(s[-1]) else _between(s, share * (len(s) - 1))


def _between(values: np.ndarray, at: float) -> float:
    """Value at a place between the rows."""
    i = int(at)
    low = float(values[i])
    return low if at == i else low + (at - i) * (float(values[i + 1]) - low)
