"""The door for forecasts: a few nights' lows and days' highs, in the plain form of our own."""

import json
from typing import Any

from flask import g, request
from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.sync.forecasts import take_forecast
from lathhouse.web.requests import allow, moment, read_object, site_id

bp = Blueprint("forecasts", "forecasts", url_prefix="/api/v1/forecasts", description="Forecasts")


@bp.route("")
class Forecasts(MethodView):
    """Forecasts of the nursery's weather."""

    @bp.response(
        200, description="Which figures were stored, which were known, what was unreadable"
    )
    @allow("owner", "worker", "sensor")
    def post(self) -> dict[str, Any]:
        """Take a forecast as JSON, or as CSV with Content-Type text/csv."""
        is_csv = request.mimetype == "text/csv"
        text = request.get_data(as_text=True) if is_csv else json.dumps(read_object())
        return take_forecast(site_id(), g.actor["name"] or "forecast", text, moment().ms)
