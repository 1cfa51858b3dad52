"""Is there enough data, and what may be shown on the strength of it?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from models.errors import ModelError
from models.fit import LogisticFit


@dataclass(frozen=True)
class SampleSize:
    """Eyes needed to develop a model from own data alone, by criterion; `required` is the largest.

    shrinkage_n: coefficients need shrinking by less than 1 - shrinkage; optimism_n: apparent and adjusted R2 differ by
    at most 0.05; intercept_n: the average chance is known to within the margin; error_n: a new eye's chance is off by
    at most `error` on average; r2: the Cox-Snell R2 assumed, max_r2: the largest possible at this share.
    """

    shrinkage_n: int
    optimism_n: int
    intercept_n: int
    error_n: int
    required: int
    r2: float
    max_r2: float


def sample_size(
    *,
    prevalence: float,
    parameters: int,
    r2: float | None = None,
    c_statistic: float | None = None,
    shrinkage: float = 0.9,
    margin: float = 0.05,
    error: float = 0.05,
) -> SampleSize:
    """Eyes needed for `parameters` coefficients at the given share of cloudy eyes.

    Either r2 (Cox-Snell) or the expected C statistic is given. Sources: Riley RD et al. Stat Med 2019;38:1276 and
    BMJ 2020;368:m441; the mean absolute error of the chance: van Smeden M et al. Stat Methods Med Res 2019;28:2455
    (from memory; made for shares up to one half and up to 30 coefficients).
    """
    _refuse_outside("share of cloudy eyes", prevalence, 0.0, 1.0)
    _refuse_outside("shrinkage", shrinkage, 0.0, 1.0)
    _refuse_outside("margin", margin, 0.0, 1.0)
    _refuse_outside("error", error, 0.0, 1.0)
    if not (parameters >= 1 and parameters % 1 == 0):
        raise _refusal("The number of coefficients must be a whole number, one or more.")
    if (r2 is None) == (c_statistic is None):
        raise _refusal("Give either the R2 or the C statistic, not both.")
    explained = r2 if r2 is not None else r2_from_c_statistic(float(c_statistic or 0.0), prevalence)
    largest = 1.0 - (prevalence**prevalence * (1.0 - prevalence) ** (1.0 - prevalence)) ** 2
    _refuse_outside("R2", explained, 0.0, min(largest, shrinkage))
    by_shrinkage = _eyes(parameters, explained, shrinkage)
    by_optimism = _eyes(parameters, explained, explained / (explained + 0.05 * largest))
    by_intercept = math.ceil((1.96 / margin) ** 2 * prevalence * (1.0 - prevalence))
    rarer = min(prevalence, 1.0 - prevalence)
    log_eyes = (-0.508 + 0.259 * math.log(rarer) + 0.504 * math.log(parameters) - math.log(error)) / 0.544
    by_error = math.ceil(math.exp(log_eyes))
    required = max(by_shrinkage, by_optimism, by_intercept, by_error)
    return SampleSize(by_shrinkage, by_optimism, by_intercept, by_error, required, explained, largest)


def r2_from_c_statistic(c_statistic: float, prevalence: float) -> float:
    """Cox-Snell R2 that goes with a C statistic when the log-odds are normal in cloudy and in clear eyes.

    Source of the idea: Riley RD et al. Stat Med 2021;40:859 (by simulation there; here by quadrature).
    """
    _refuse_outside("C statistic", c_statistic, 0.5, 1.0)
    _refuse_outside("share of cloudy eyes", prevalence, 0.0, 1.0)
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(101)
    share = node_weights / node_weights.sum()
    d = math.sqrt(2.0) * float(ndtri(c_statistic))
    start = math.log(prevalence / (1.0 - prevalence)) - d * d / 2.0
    cloudy = -share @ np.logaddexp(0.0, -(start + d * (nodes + d)))
    clear = -share @ np.logaddexp(0.0, start + d * nodes)
    model = prevalence * float(cloudy) + (1.0 - prevalence) * float(clear)
    none = prevalence * math.log(prevalence) + (1.0 - prevalence) * math.log(1.0 - prevalence)
    return 1.0 - math.exp(-2.0 * (model - none))


def shrinkage_estimate(fit: LogisticFit) -> float:
    """Expected shrinkage 1 - effective_df / LR, LR the likelihood ratio against the intercept alone; at least 0.

    Van Houwelingen JC, Le Cessie S. Stat Med 1990;9:1303 (from memory), with effective for counted parameters.
    """
    ratio = 2.0 * (fit.log_likelihood - fit.null_log_likelihood)
    return max(0.0, 1.0 - fit.effective_df / ratio) if ratio > 0.0 else 0.0


@dataclass(frozen=True)
class Tier:
    """How far the training eyes carry: letter A to D, what may be shown, and that in words."""

    letter: str
    individual_forecasts: bool
    end_of_case_forecasts: bool
    depth_curve: bool
    further_fields: bool
    words: str


def tier(cloudy: float, eyes: float, patients: float) -> Tier:
    """The tier of `cloudy` cloudy eyes among `eyes` training eyes of `patients` patients (sums of weights allowed).

    The limits are this project's decision from its own simulations; no published source.
    """
    if not 0.0 <= cloudy <= eyes or patients < 0.0:
        raise _refusal("The counts contradict one another.")
    if cloudy < 15 or eyes < 100 or patients < 60:
        return Tier(
            "A", False, False, False, False,
            "Too few eyes for a chance of one eye: the practice's rate and the checklist are shown.",
        )  # fmt: skip
    if cloudy < 50:
        return Tier(
            "B", True, False, False, False,
            "Booking forecasts with their range, mostly published evidence; end-of-case forecasts only for study.",
        )  # fmt: skip
    if cloudy < 200:
        return Tier("C", True, True, cloudy >= 100, False, "Booking and end-of-case forecasts with their range.")
    return Tier(
        "D", True, True, True, True,
        "Booking and end-of-case forecasts with their range; further fields may be proposed, one at a time.",
    )  # fmt: skip


def wilson(k: float, n: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson interval of a share k of n. Wilson EB. J Am Stat Assoc 1927;22:209."""
    if not 0.0 <= k <= n or n <= 0.0:
        raise _refusal("A share needs at least one eye, and no more cloudy eyes than eyes.")
    z = float(ndtri(0.5 + level / 2.0))
    share = k / n
    centre = (share + z * z / (2.0 * n)) / (1.0 + z * z / n)
    half = z / (1.0 + z * z / n) * math.sqrt(share * (1.0 - share) / n + z * z / (4.0 * n * n))
    low = 0.0 if k == 0 else max(0.0, centre - half)
    high = 1.0 if k == n else min(1.0, centre + half)
    return low, high


def _eyes(parameters: int, r2: float, shrinkage: float) -> int:
    return math.ceil(parameters / ((shrinkage - 1.0) * math.log1p(-r2 / shrinkage)))


def _refuse_outside(name: str, value: float, low: float, high: float) -> None:
    if not low < value < high:
        raise _refusal(f"The {name} must lie between {low:g} and {high:g}.")


def _refusal(why: str) -> ModelError:
    return ModelError("The number of eyes needed cannot be worked out.", why, "Correct the figures.")
