"""What is measured of a running server, as Prometheus reads it.

Requests are counted by the template of their route, never by their address. What concerns the
record is asked of the record itself at each scrape: it is the same whichever process answers.
"""

import logging
import os
import time
from collections.abc import Iterator
from typing import Any

from flask import Flask, Response, g, request

from lathhouse.logs import REQUESTS

# Seconds. A push of a thousand events takes a few on a small machine.
BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
SHARED_BY = "PROMETHEUS_MULTIPROC_DIR"
UNKNOWN = "none"

log = logging.getLogger(REQUESTS)


class Meter:
    """How many requests there were, and how long they took."""

    def __init__(self) -> None:
        # Only now: the library settles at its import whether processes count together.
        from prometheus_client import CollectorRegistry, Histogram

        self.own = CollectorRegistry()
        self.seconds = Histogram(
            "lathhouse_request_seconds",
            "Requests by route, and the seconds until they were answered",
            ["method", "route", "status"],
            buckets=BUCKETS,
            registry=self.own,
        )

    def attach(self, app: Flask) -> None:
        """Measure every request of an application."""
        app.before_request(self._begin)
        app.after_request(self._end)
        app.extensions["meter"] = self

    def _begin(self) -> None:
        g.began = time.perf_counter()

    def _end(self, response: Response) -> Response:
        took = time.perf_counter() - g.get("began", time.perf_counter())
        route = request.url_rule.rule if request.url_rule else UNKNOWN
        # A method is the caller's own text: none that the house does not know makes a series.
        method = request.method if request.url_rule else UNKNOWN
        self.seconds.labels(method, route, str(response.status_code)).observe(took)
        fields = {"method": method, "route": route, "status": response.status_code}
        fields["ms"] = round(took * 1000, 1)
        log.info("%s %s %d", method, route, response.status_code, extra={"fields": fields})
        return response

    def text(self, figures: dict[str, Any], disk_free_bytes: int) -> tuple[bytes, str]:
        """Return what Prometheus reads, of all processes together, and its media type."""
        from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest
        from prometheus_client.multiprocess import MultiProcessCollector

        whole = CollectorRegistry()
        if SHARED_BY in os.environ:
            MultiProcessCollector(whole)  # type: ignore[no-untyped-call]
        else:
            whole.register(self.seconds)
        whole.register(Record({**figures, "disk_free_bytes": disk_free_bytes}))
        return generate_latest(whole), CONTENT_TYPE_LATEST


class Record:
    """The figures of the record, as the library collects them."""

    def __init__(self, figures: dict[str, Any]) -> None:
        self.figures = figures

    def collect(self) -> Iterator[Any]:
        """Yield each figure."""
        from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily

        found = self.figures
        for name, says, key in (
            ("events_stored", "Events on record", "events"),
            ("events_refused", "Items that were refused, each once", "refused"),
        ):
            yield CounterMetricFamily(f"lathhouse_{name}", says, value=found[key])
        for name, says, key in (
            ("refusals_waiting", "Refused items that nobody has mended", "refused_waiting"),
            ("subjects_due", "Watched subjects whose deadline has come", "due"),
            (
                "clock_lag_seconds",
                "How long the oldest of them has waited",
                "clock_lag_seconds",
            ),
            ("backup_age_seconds", "Since the last backup that was proved", "backup_age_seconds"),
            ("disk_free_bytes", "Free on the disk of the data folder", "disk_free_bytes"),
            ("photos", "Pictures that are kept", "photos"),
            ("photo_bytes", "Octets of the pictures that are kept", "photo_bytes"),
        ):
            if found[key] is not None:
                yield GaugeMetricFamily(f"lathhouse_{name}", says, value=found[key])
        for name, says, key in (
            ("messages_queued", "Messages to people that have not left", "queue"),
            ("alerts_standing", "Alerts whose condition holds", "alerts"),
        ):
            gauge = GaugeMetricFamily(f"lathhouse_{name}", says, labels=["state"])
            for state, number in sorted(found[key].items()):
                gauge.add_metric([state], number)
            yield gauge
