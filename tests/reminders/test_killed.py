"""The server is killed (SIGKILL) while it sends, and started again: nothing lost, nothing repeated.

Before a message leaves, a kill loses nothing and repeats nothing. Between its leaving and the note
that it was taken nobody can know whether it was: it is sent once more under the same topic, so that
the push service, or the phone by its tag, puts it in the place of the first. After the note it is
never sent again.
"""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.reminders.carried import Phone, Told
from tests.reminders.endpoint import push_service
from tests.server import Clock, close_nursery, open_nursery

# The sender itself, one turn of it, in which one moment, where armed, is the process's last.
TURN = """
import os, signal, sys
from pathlib import Path
from lathhouse.app import create_app
from lathhouse.reminders import outside, sender
from lathhouse.settings import Settings
from lathhouse.store import claims

folder, url, now, point = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), sys.argv[4]

def die(where):
    if where == point:
        os.kill(os.getpid(), signal.SIGKILL)

def post(*asked, **more):
    die("claimed")
    answer = outside.post(*asked, **more)
    die("sent")
    return answer

finish = claims.finish

def noted(*asked):
    finish(*asked)
    die("noted")

claims.finish = noted
app = create_app(Settings(data=folder, database_url=url, now_ms=lambda: now))
ways = app.config["WAYS"]
ways.post = post
with app.app_context():
    print(sender.send_due(app.config["SITE_ID"], ways, lambda: now))
"""
# Where it dies, how often the push service has then heard of it, and how often in the end.
POINTS = {"claimed": (0, 1), "sent": (1, 2), "noted": (1, 1)}


@pytest.mark.parametrize("point", POINTS)
def test_a_sender_killed_at_any_point_loses_no_message_and_shows_none_twice(
    database_url: str, tmp_path: Path, point: str
):
    clock, folder = Clock(), tmp_path / "data"
    began = open_nursery(database_url, folder, clock)
    with push_service(tmp_path) as service:
        told = Told(began, service)
        phone = Phone(began, "owner", told.person("Orla"))
        phone.subscribe(service)
        told.soaking(25)
        environment = {**os.environ, "LATHHOUSE_PUSH_INNER": "1", "LATHHOUSE_CONTACT": "o@ex.org",
                       "LATHHOUSE_PUSH_TRUSTED": str(service.authority)}  # fmt: skip

        clock.forward(seconds=30)
        command = [sys.executable, "-c", TURN, str(folder), database_url, str(clock.ms), point]
        killed = subprocess.run(command, env=environment, check=False)
        assert killed.returncode == -signal.SIGKILL
        heard, in_the_end = POINTS[point]
        assert len(service.heard) == heard
        # At once nothing is sent: for all that anybody knows it is still under way.
        assert told.turn() == 0
        assert [told.turn(minutes=3) for _ in range(3)] == [in_the_end - heard, 0, 0]
        assert len(service.heard) == in_the_end
        assert len(set(service.topics())) == 1
        shown = {phone.browser.open(body) for _, _, body in service.heard}
        assert len(shown) == 1
        (row,) = told.log()
        assert row["state"] == "taken"
    close_nursery(began)
