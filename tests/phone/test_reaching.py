"""Reminders go on by themselves after the server was restored without its keys."""

import base64

import pytest

from tests.phone.conftest import OpenPhone
from tests.phone.network import Network

SUBSCRIPTIONS = "/api/v1/reminders/subscriptions"
# Headless browsers reach no push service: what it would keep stands in for it.
BROWSER = """
window.subscribed = [];
Object.defineProperty(Notification, "permission", { get: () => "granted" });
const made = (key) => ({
  options: { applicationServerKey: key },
  unsubscribe: async () => { window.held = null; return true; },
  toJSON: () => ({ endpoint: "https://93.184.216.34/x", keys: { p256dh: "a", auth: "b" } }),
});
window.held = made(Uint8Array.from(atob(OLD_KEY), (one) => one.charCodeAt(0)).buffer);
const pushManager = {
  getSubscription: async () => window.held,
  subscribe: async ({ applicationServerKey }) => {
    window.subscribed.push(applicationServerKey);
    window.held = made(applicationServerKey);
    return window.held;
  },
};
const ready = { get: async () => ({ pushManager }) };
Object.defineProperty(ServiceWorkerContainer.prototype, "ready", ready);
"""


@pytest.mark.parametrize("same", [False, True])
def test_a_phone_subscribes_again_where_the_servers_key_is_another(
    open_phone: OpenPhone, network: Network, phone, same: bool
):
    """Under the key of old, and known to the server, it is left alone."""
    key = network.app.config["WAYS"].public_key
    raw = base64.urlsafe_b64decode(key + "=" * (-len(key) % 4)) if same else b"\x04" * 65
    phone.add_init_script(f"const OLD_KEY = '{base64.b64encode(raw).decode()}';{BROWSER}")
    if same:
        own = {"key": key, "push_ready": True, "mail_ready": False, "subscriptions": ["one"]}
        answer = lambda route: route.fulfill(json={**own, "to": "phone:x"})  # noqa: E731
        phone.route("**/api/v1/reminders", answer)
    app = open_phone()
    app.until_in_touch()
    if not same:
        app.until("window.subscribed.length === 1")
        assert app.run("() => window.subscribed") == [key]
    sent = [one for one in network.requests if one.path == SUBSCRIPTIONS]
    app.until("performance.getEntriesByName(location.origin + '/api/v1/reminders').length > 0")
    assert app.run("() => window.subscribed.length") == (0 if same else 1), sent
