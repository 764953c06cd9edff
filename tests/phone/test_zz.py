import time
from tests.phone.test_record import MANY_TAPS
def test_dbg(open_phone, network):
    first, second = open_phone(), open_phone()
    for tab in (first, second):
        tab.page.evaluate(f"() => {{ window.taps = ({MANY_TAPS})(40); }}")
    for tab in (first, second):
        tab.run("() => window.taps")
        print(tab.run("() => [phone.sync.state, phone.house.contact.value, phone.house.pending.value.length, phone.house.confirming.value.length]"))
    for i in range(3):
        first.page.wait_for_timeout(1000)
        for tab in (first, second):
            print(tab.run("() => [phone.sync.state.doing, phone.sync.state.failures, phone.house.contact.value, phone.house.pending.value.length, phone.house.confirming.value.length]"))
    print([(r.method, r.path, r.status, len((r.body or {}).get("events", []))) for r in network.requests if "/api" in r.path])
    print(len(network.stored()))
def test_quota(persistent_phone, network, open_phone):
    context = persistent_phone("full").open()
    app = open_phone(context, still=1)
    d = context.new_cdp_session(app.page)
    d.send("Storage.overrideQuotaForOrigin", {"origin": network.address, "quotaSize": 1000000})
    print(app.run("""async () => {
      const out = [];
      for (let n = 0; n < 60; n += 1) {
        const bytes = new Uint8Array(300_000); for (let i=0;i<5;i++) crypto.getRandomValues(bytes.subarray(i*60000,(i+1)*60000));
        let note = ""; for (const b of bytes) note += String.fromCharCode(b);
        try { await phone.record.record("noted", null, {note: btoa(note)}); out.push(n); } catch (e) { return [out.length, e.constructor.name, e.message, e.cause?.name]; }
      }
      return [out.length, await navigator.storage.estimate()];
    }"""))
