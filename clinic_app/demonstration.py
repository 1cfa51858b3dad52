"""The acts with which the invented practice is brought about; commands and window hand the same ones in."""

from __future__ import annotations

from clinic_app.services.decisions import adopt
from clinic_app.services.demo import Acts
from clinic_app.services.forecasts import forecast_practice
from clinic_app.services.intake import import_files
from clinic_app.services.training import train_candidate

ACTS = Acts(import_files=import_files, train=train_candidate, adopt=adopt, forecast=forecast_practice)
