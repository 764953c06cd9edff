"""Events that the server writes for a person who acts through it: the same log, the same rules."""

import os
import threading
import uuid
from typing import Any

from lathhouse.domain.ids import uuid7
from lathhouse.domain.instants import to_text
from lathhouse.sync.push import push


class ServerDevice:
    """This process as a device: its own id and its own numbers, so that no two ever share one."""

    def __init__(self) -> None:
        self.id = str(uuid.uuid4())
        self.seq = 0
        self._turn = threading.Lock()

    def write(
        self,
        site_id: str,
        kind: str,
        lot: str | None,
        data: dict[str, Any],
        by: Any,
        now_ms: int,
        *,
        keep_empty: bool = False,
    ) -> dict[str, Any]:
        """Record an event now; return the push's answer.

        Args:
            keep_empty: fields without a value say that there is none, and are not left out.
        """
        event = {
            "id": uuid7(now_ms, os.urandom(10)),
            "kind": kind,
            "lot": lot,
            "observed_at": to_text(now_ms),
            "by": by,
            "data": {n: value for n, value in data.items() if keep_empty or value is not None},
        }
        with self._turn:
            self.seq += 1
            numbered = [{**event, "seq": self.seq}]
            known = {"name": "server", "role": "owner", "silent_ok": True}
            return push(site_id, self.id, numbered, to_text(now_ms), now_ms, known)
