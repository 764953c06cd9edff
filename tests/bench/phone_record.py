"""From a tap to "saved": the app's own record against a bare strict put of the same event."""

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.bench.figures import Figure, middle, spread
from tests.browser import PHONE, browser_arguments, find_chromium, serve_core

TRIES, EACH = 7, 40
SCRIPT = """async (each) => {
  const { record } = await import("/store/record.js");
  const lot = crypto.randomUUID();
  const bare = await new Promise((done, fail) => {
    const asked = indexedDB.open("bare", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("events", { keyPath: "id" });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
  const put = (event) => new Promise((done, fail) => {
    const tx = bare.transaction(["events"], "readwrite", { durability: "strict" });
    tx.objectStore("events").add(event);
    tx.oncomplete = () => done(undefined);
    tx.onerror = () => fail(tx.error);
  });
  const data = { as_expected: true, moisture: 3, fungus: "none", sprouted_percent: 0 };
  const sample = await record("looked", lot, data);
  const time = async (act) => {
    const since = performance.now();
    await act();
    return performance.now() - since;
  };
  const middle = (times) => times.sort((a, b) => a - b)[Math.floor(times.length / 2)];
  const [own, put_] = [[], []];
  // By turns, so that whatever else the machine does falls on both.
  for (let n = 0; n < each; n += 1) {
    own.push(await time(() => record("looked", lot, data)));
    put_.push(await time(() => put({ ...sample, id: crypto.randomUUID() })));
  }
  const [ours, theirs] = [middle(own), middle(put_)];
  bare.close();
  return { ours, theirs };
}"""


def measure(tries: int = TRIES, each: int = EACH) -> list[Figure]:
    """Return the ratio of the two, in a real Chromium whose profile is on the disk."""
    server = serve_core()
    ratios, ours = [], []
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as running:
        context = running.chromium.launch_persistent_context(
            str(Path(folder) / "profile"),
            executable_path=find_chromium(running),
            args=browser_arguments(),
            **PHONE,
        )
        page = context.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/empty.html")
        page.evaluate(SCRIPT, 3)
        for _ in range(tries):
            found = page.evaluate(SCRIPT, each)
            ratios.append(found["ours"] / found["theirs"])
            ours.append(found["ours"])
        context.close()
    server.shutdown()
    return [
        Figure("record to durable, against a bare strict put", middle(ratios), "times", 2,
               note=spread(ratios)),
        Figure("one record to durable", middle(ours), "ms", note=spread(ours)),
    ]  # fmt: skip
