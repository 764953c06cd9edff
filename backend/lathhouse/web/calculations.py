"""Calculations, under the names of the check values."""

import json
from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.amounts import CannotCalculate
from lathhouse.domain.calculations import CALCULATIONS
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
            says = f"There is no calculation called {name}; there are {', '.join(CALCULATIONS)}."
            raise NotFound(says)
        return worked_out(name, read_object())


def worked_out(name: str, inputs: dict[str, Any]) -> dict[str, Any]:
    """Return a calculation's answer.

    Raises:
        BadField: an input cannot be right, or it leads beyond what can be reckoned with.
    """
    _finite(inputs)
    try:
        said = CALCULATIONS[name](inputs)
    except CannotCalculate as error:
        raise BadField(str(error)) from error
    except OverflowError as error:
        raise BadField("A number is too large to reckon with.") from error
    _finite(said)
    return said


def _finite(value: Any) -> None:
    try:
        json.dumps(value, allow_nan=False)
    except ValueError as error:
        raise BadField("A number is too large to reckon with.") from error
