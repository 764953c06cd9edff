"""Crops: names to choose from, and one whole protocol, the nursery's own before the shipped one."""

from typing import Any

from flask.views import MethodView
from flask_smorest import Blueprint

from lathhouse.domain.protocols import load_crops, load_sources
from lathhouse.errors import NotFound
from lathhouse.store.config import data_of, rows_of_kind
from lathhouse.store.work import looking
from lathhouse.web.requests import allow, now, site_id

bp = Blueprint("crops", "crops", url_prefix="/api/v1/crops", description="Crop protocols")

NAMES = ("id", "botanical", "common", "family")


@bp.route("")
class Crops(MethodView):
    """Every crop there is to choose from."""

    @bp.response(200, description="Ids and names, to choose from")
    @allow("owner", "worker", "viewer")
    def get(self) -> dict[str, Any]:
        """Return the id and names of every shipped crop, and of the nursery's own."""
        own = looking(site_id(), now(), lambda work: rows_of_kind(work, "protocol"))
        every = {**load_crops(), **own}
        return {"crops": [{name: every[crop].get(name) for name in NAMES} for crop in every]}


@bp.route("/<string:crop_id>")
class Crop(MethodView):
    """One crop."""

    @bp.response(200, description="The protocol, with the sources that it names")
    @allow("owner", "worker", "viewer")
    def get(self, crop_id: str) -> dict[str, Any]:
        """Return a crop's whole protocol and the sources of its figures."""
        own = looking(site_id(), now(), lambda work: data_of(work, "protocol", crop_id))
        crop = own or load_crops().get(crop_id)
        if crop is None:
            raise NotFound(f"There is no crop called {crop_id}.")
        named = {step.get("source") for step in crop["stages"]} & load_sources().keys()
        return {"crop": crop, "sources": {name: load_sources()[name] for name in sorted(named)}}
