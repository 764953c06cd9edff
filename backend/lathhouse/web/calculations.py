"""Calculations, under the names of the check values."""

from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.calculations import CALCULATIONS, CannotCalculate
from lathhouse.errors import BadField, NotFound
from lathhouse.web.requests import allow, read_object

bp = Blueprint("calculations", "calculations", url_prefix="/api/v1/calculations")


@bp.route("/<string:name>")
class Calculation(MethodView):
    """One calculation."""

    @bp.response(200, description="The result, in words too, with its cautions and sources")
    @allow("owner", "worker", "viewer")
    def post(self, name: str) -> dict[str, Any]:
        """Work out a result from the inputs, which are the body itself."""
        if name not in CALCULATIONS:
            raise NotFound(f"There is no calculation called {name}.")
        try:
            return CALCULATIONS[name](read_object())
        except CannotCalculate as error:
            raise BadField(str(error)) from error
