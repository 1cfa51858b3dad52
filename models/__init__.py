"""A risk-model library for the practice: fit, judge, watch and update forecasts of cloudy corneas on day one.

Names are fetched when first used, so that `import models` and `import models.codebook` stay light.
"""

from __future__ import annotations

import importlib
from types import MappingProxyType
from typing import TYPE_CHECKING

from models.errors import ModelError, Separation
from models.progress import Cancelled, Report, silent

if TYPE_CHECKING:
    from models.adequacy import (
        SampleSize,
        Tier,
        r2_from_c_statistic,
        sample_size,
        shrinkage_estimate,
        tier,
        wilson,
    )
    from models.alarm import (
        Cusum,
        cusum,
        cusum_false_alarm,
        cusum_limit,
        cusum_run_length,
        cusum_year_limit,
    )
    from models.batch import Scores
    from models.card import Card, read_card
    from models.discrimination import Difference, compare_c_statistics
    from models.fit import LogisticFit, fit_logistic, range_covariance
    from models.forecast import Forecast
    from models.judging import Judgement, Performance, judge, performance
    from models.measure import Measure
    from models.missing import Filled, Normal, averaged_risk, learn_normal, likely_answers
    from models.monitor import (
        FunnelRow,
        Tally,
        exact_limits,
        funnel,
        looks_words,
        outside_by_chance,
        running_tally,
        shrunken_ratio,
    )
    from models.prior import Prior
    from models.ranges import MODEL_FORM_SD, logit_variance, risk_range
    from models.refit import refit_many
    from models.spline import curve_term, quantile_knots, restricted_cubic
    from models.stability import Stability, coefficient_stability, forecast_stability
    from models.subgroups import SubgroupRow, SubgroupTable, UnlikeOurs, subgroup_table, unlike_ours
    from models.update import ClosedTest, Shift, Verdict, closed_test, forward_verdict, level_shift, log_loss
    from models.usefulness import BenefitBand, Usefulness, net_benefit, net_benefit_band
    from models.usual import learn_usual, usual_range
    from models.watching import Watch, watch

_HOME = MappingProxyType(
    {
        "adequacy": (
            "SampleSize",
            "Tier",
            "r2_from_c_statistic",
            "sample_size",
            "shrinkage_estimate",
            "tier",
            "wilson",
        ),
        "alarm": ("Cusum", "cusum", "cusum_false_alarm", "cusum_limit", "cusum_run_length", "cusum_year_limit"),
        "batch": ("Scores",),
        "card": ("Card", "read_card"),
        "discrimination": ("Difference", "compare_c_statistics"),
        "fit": ("LogisticFit", "fit_logistic", "range_covariance"),
        "forecast": ("Forecast",),
        "judging": ("Judgement", "Performance", "judge", "performance"),
        "measure": ("Measure",),
        "missing": ("Filled", "Normal", "averaged_risk", "learn_normal", "likely_answers"),
        "monitor": (
            "FunnelRow",
            "Tally",
            "exact_limits",
            "funnel",
            "looks_words",
            "outside_by_chance",
            "running_tally",
            "shrunken_ratio",
        ),
        "prior": ("Prior",),
        "ranges": ("MODEL_FORM_SD", "logit_variance", "risk_range"),
        "refit": ("refit_many",),
        "spline": ("curve_term", "quantile_knots", "restricted_cubic"),
        "stability": ("Stability", "coefficient_stability", "forecast_stability"),
        "subgroups": ("SubgroupRow", "SubgroupTable", "UnlikeOurs", "subgroup_table", "unlike_ours"),
        "update": ("ClosedTest", "Shift", "Verdict", "closed_test", "forward_verdict", "level_shift", "log_loss"),
        "usefulness": ("BenefitBand", "Usefulness", "net_benefit", "net_benefit_band"),
        "usual": ("learn_usual", "usual_range"),
        "watching": ("Watch", "watch"),
    }
)

__all__ = [
    "MODEL_FORM_SD",
    "BenefitBand",
    "Cancelled",
    "Card",
    "ClosedTest",
    "Cusum",
    "Difference",
    "Filled",
    "Forecast",
    "FunnelRow",
    "Judgement",
    "LogisticFit",
    "Measure",
    "ModelError",
    "Normal",
    "Performance",
    "Prior",
    "Report",
    "SampleSize",
    "Scores",
    "Separation",
    "Shift",
    "Stability",
    "SubgroupRow",
    "SubgroupTable",
    "Tally",
    "Tier",
    "UnlikeOurs",
    "Usefulness",
    "Verdict",
    "Watch",
    "averaged_risk",
    "closed_test",
    "coefficient_stability",
    "compare_c_statistics",
    "curve_term",
    "cusum",
    "cusum_false_alarm",
    "cusum_limit",
    "cusum_run_length",
    "cusum_year_limit",
    "exact_limits",
    "fit_logistic",
    "forecast_stability",
    "forward_verdict",
    "funnel",
    "judge",
    "learn_normal",
    "learn_usual",
    "level_shift",
    "likely_answers",
    "log_loss",
    "logit_variance",
    "looks_words",
    "net_benefit",
    "net_benefit_band",
    "outside_by_chance",
    "performance",
    "quantile_knots",
    "r2_from_c_statistic",
    "range_covariance",
    "read_card",
    "refit_many",
    "restricted_cubic",
    "risk_range",
    "running_tally",
    "sample_size",
    "shrinkage_estimate",
    "shrunken_ratio",
    "silent",
    "subgroup_table",
    "tier",
    "unlike_ours",
    "usual_range",
    "watch",
    "wilson",
]


def __getattr__(name: str) -> object:
    for module, names in _HOME.items():
        if name in names:
            found = getattr(importlib.import_module(f"models.{module}"), name)
            globals()[name] = found
            return found
    raise AttributeError(f"module 'models' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
