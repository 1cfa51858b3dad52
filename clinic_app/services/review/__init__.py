"""Review: forecast beside seen over a period."""

from clinic_app.services.review.whole import review

__all__ = ["review"]
