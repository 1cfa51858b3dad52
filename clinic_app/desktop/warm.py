"""What is brought in once the window stands, so that no page waits for it later."""

from __future__ import annotations

import importlib

from models.progress import Report

HEAVY = ("sklearn.linear_model", "scipy.stats", "matplotlib.backends.backend_agg", "clinic_app.figures.forecast_check")


def warm_up(report: Report) -> None:
    """Bring in what is slow to bring in; it stops between two of them."""
    for place, name in enumerate(HEAVY):
        report(place / len(HEAVY), name)
        importlib.import_module(name)
