"""The front door: where the parts are joined."""

import logging
import os
from pathlib import Path

from flask import Flask, Response, jsonify
from flask_migrate import Migrate, upgrade

from lathhouse.domain.instants import to_text
from lathhouse.folder import make_folder
from lathhouse.reminders.mail import BadMailSettings, read_server
from lathhouse.reminders.sender import Ways
from lathhouse.reminders.webpush import own_key
from lathhouse.settings import BODY_MAX_BYTES, Settings
from lathhouse.store import access, engine, sites, walls
from lathhouse.store.archive import schema_version
from lathhouse.store.kept_files import put_ready
from lathhouse.store.models import db
from lathhouse.store.restore import epoch_of
from lathhouse.store.site_clock import SiteClock, last_trusted_ms
from lathhouse.sync.server_events import ServerDevice
from lathhouse.web import (
    alerts,
    calculations,
    calendar,
    crops,
    description,
    events,
    files,
    forecasts,
    morning,
    name_move,
    operations,
    phones,
    photos,
    problems,
    readings,
    reminders,
    saved_files,
    session,
    sign_in,
    sync,
    tokens,
    watches,
)
from lathhouse.web.cookies import NamedRequest
from lathhouse.web.gate import check_access
from lathhouse.web.meter import Meter
from lathhouse.web.pace import Pace
from lathhouse.web.requests import allow

MIGRATIONS = Path(__file__).parent / "store" / "migrations"

log = logging.getLogger(__name__)


def create_app(settings: Settings) -> Flask:
    """Return the server's application on its database, with the tables brought up to date."""
    app = database_app(settings)
    with app.app_context():
        app.config["SITE_ID"] = sites.open_site(to_text(settings.now_ms()), settings.site)
        # What a restore that was cut off at the very end has left to do.
        put_ready(settings.data, epoch_of(app.config["SITE_ID"]))
    app.config["WAYS"] = ways_of(settings)
    Meter().attach(app)
    app.extensions["pace"] = Pace(settings.requests_a_minute)
    app.before_request(check_access)
    _add_routes(app, settings)
    problems.register(app)
    return app


def database_app(settings: Settings) -> Flask:
    """Return an application that has its database, brought up to date, and no nursery open yet."""
    app = Flask("lathhouse", static_folder=None)
    app.request_class = NamedRequest
    make_folder(settings)
    app.config.update(
        LATHHOUSE=settings,
        SERVER_DEVICE=ServerDevice(),
        MAX_CONTENT_LENGTH=BODY_MAX_BYTES,
        SQLALCHEMY_DATABASE_URI=settings.url,
        # A fault of the database is told without the values, which may be somebody's secret.
        SQLALCHEMY_ENGINE_OPTIONS={**engine.options(settings.url), "hide_parameters": True},
        API_TITLE="Lathhouse",
        API_VERSION="v1",
        OPENAPI_VERSION="3.1.0",
    )
    app.json.sort_keys = False  # type: ignore[attr-defined]
    # An address written oddly is not found, rather than led to the right one: no redirects here.
    app.url_map.merge_slashes = False
    db.init_app(app)
    Migrate(app, db, directory=str(MIGRATIONS))
    with app.app_context():
        engine.prepare(db.engine)
        upgrade(directory=str(MIGRATIONS))
        with engine.reading(db.engine) as connection:
            app.config["SCHEMA"] = schema_version(connection)
            if isinstance(settings.now_ms, SiteClock):
                settings.now_ms.begin(last_trusted_ms(connection))
            if walls.is_bypassed(connection):
                log.warning("the database role passes row-level security: give it one of its own")
    return app


def ways_of(settings: Settings) -> Ways:
    """Return by what messages leave this server."""
    server = None
    try:
        server = read_server(settings.data, os.environ)
    except BadMailSettings as error:
        # A nursery without mail still runs; the screen of reminders says that none is set.
        log.error("mail is off: %s", error)
    return Ways(
        key=own_key(settings.data),
        server=server,
        address=settings.address,
        contact=settings.contact,
        inner=settings.push_inner,
        trusted=settings.push_trusted,
    )


def _add_routes(app: Flask, settings: Settings) -> None:
    api = problems.ProblemApi(app)
    for module in (
        sync,
        events,
        alerts,
        session,
        sign_in,
        tokens,
        calculations,
        crops,
        readings,
        forecasts,
        phones,
        name_move,
        watches,
        reminders,
        saved_files,
        photos,
    ):
        api.register_blueprint(module.bp)
    for out in (morning, calendar):
        api.register_blueprint(out.bp)

    @app.get("/api/openapi.json")
    @allow(*access.ROLES)
    def openapi() -> Response:
        """Return the description of this API, made from its code."""
        return jsonify(description.describe(app, api))

    app.register_blueprint(operations.bp)
    app.register_blueprint(files.blueprint(settings))
