"""The crops that ship with the program: names to choose from, and one whole protocol."""

from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.protocols import load_crops, load_sources
from lathhouse.errors import NotFound
from lathhouse.web.requests import allow

bp = Blueprint("crops", "crops", url_prefix="/api/v1/crops", description="Crop protocols")


@bp.route("")
class Crops(MethodView):
    """Every shipped crop."""

    @bp.response(200, description="Ids and names, to choose from")
    @allow("owner", "worker", "viewer")
    def get(self) -> dict[str, Any]:
        """Return the id and names of every crop that ships with the program."""
        names = ("id", "botanical", "common", "family")
        return {"crops": [{name: crop[name] for name in names} for crop in load_crops().values()]}


@bp.route("/<string:crop_id>")
class Crop(MethodView):
    """One crop."""

    @bp.response(200, description="The protocol, with the sources that it names")
    @allow("owner", "worker", "viewer")
    def get(self, crop_id: str) -> dict[str, Any]:
        """Return a crop's whole protocol and the sources of its figures."""
        crop = load_crops().get(crop_id)
        if crop is None:
            raise NotFound(f"There is no crop called {crop_id}.")
        named = {step["source"] for step in crop["stages"]} - {None}
        return {"crop": crop, "sources": {name: load_sources()[name] for name in sorted(named)}}
