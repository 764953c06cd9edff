"""What a schedule is made of: plain steps, drawn by hypothesis, kept as readable lines of JSON.

A step is `{"do": NAME, …}`. Most name a `phone`; `net` says what becomes of that step's requests in
order, `die_at` at which step of the app's own way (a request sent or answered, a transaction begun,
written in or complete) the phone dies.
"""

from typing import Any

from hypothesis import strategies as st

Step = dict[str, Any]
PHONES = 3
ASKED = (
    "none lose_request lose_reply cut_request cut_reply twice late unheard one_way slow"
    " 503 500 502 413 400 401 portal"
).split()
ACTS = (
    "start old_start look look look batch split lose cold warm place read note bad drone amend undo"
    " earlier exact photo photo"
).split()
HOUR_MS = 3_600_000
PASSES_MS = [1_500, 21_000, 61_000, 9 * HOUR_MS]
# Minutes east of Greenwich; and minutes of a day, half an hour to either side of midnight.
ZONES_MIN = [780, -480, 345, 0]
NIGHT_MIN = [23 * 60 + 30, 30]
SETS_MS = [-HOUR_MS, HOUR_MS, -400 * 24 * HOUR_MS, 20_000 * HOUR_MS, 180_000]

# How far the server's own clock is off, or that it is put right.
DAY_MS = 24 * HOUR_MS
OFF_MS = [-26 * HOUR_MS, -365 * DAY_MS, 365 * DAY_MS, 0, 0]
BROUGHT = ["before", "after", "after", "never"]

phones = st.integers(0, PHONES - 1)
few = st.integers(0, 5)
nets = st.lists(st.sampled_from(ASKED), max_size=4)
deaths = st.one_of(st.just(0), st.integers(1, 14), st.integers(1, 30))


def step(name: str, **parts: Any) -> st.SearchStrategy[Step]:
    """Return a strategy of one kind of step."""
    return st.fixed_dictionaries({"do": st.just(name), **parts})


def on_the_way(name: str, **parts: Any) -> st.SearchStrategy[Step]:
    """Return a strategy of a step in which the app is at work, and may fail or die."""
    return step(name, phone=phones, net=nets, die_at=deaths, **parts)


# How often each kind of step is drawn, and what is in it.
STEPS: dict[str, tuple[int, st.SearchStrategy[Step]]] = {
    "record": (34, on_the_way("record", act=st.sampled_from(ACTS), lot=few)),
    "sync": (20, on_the_way("sync")),
    "open": (5, on_the_way("open")),
    "mend": (3, on_the_way("mend", give_up=st.booleans())),
    "close": (2, step("close", phone=phones)),
    "signal": (4, step("signal", phone=phones, there=st.booleans())),
    "answers": (3, on_the_way("answers")),
    "deliver": (3, step("deliver", which=st.lists(few, min_size=1, max_size=3))),
    "wait": (5, step("wait", ms=st.sampled_from(PASSES_MS), asleep=st.booleans())),
    "clock": (3, step("clock", phone=phones, ms=st.sampled_from(SETS_MS))),
    "zone": (
        3,
        step(
            "zone", phone=phones, east_min=st.sampled_from(ZONES_MIN), at=st.sampled_from(NIGHT_MIN)
        ),
    ),
    "disconnect": (
        3,
        step("disconnect", phone=phones, amid=st.sampled_from(["", "before", "after"])),
    ),
    "tab": (3, on_the_way("tab")),
    "leave": (2, step("leave", phone=phones, which=st.integers(0, 1))),
    "everywhere": (3, on_the_way("everywhere")),
    "save_file": (
        4,
        on_the_way(
            "save_file",
            act=st.sampled_from(["", "look", "start", "batch", "bad", "photo"]),
            lot=few,
            at_last=st.sampled_from(BROUGHT),
        ),
    ),
    "bring": (
        4,
        on_the_way(
            "bring",
            which=few,
            by=st.sampled_from(["phone", "phone", "worker", "owner"]),
            cut=st.sampled_from([False, False, False, True]),
        ),
    ),
    "full": (3, step("full", phone=phones, is_full=st.booleans())),
    "evict": (2, step("evict", phone=phones)),
    "age": (2, step("age", phone=phones)),
    "keep": (2, step("keep", phone=phones)),
    "roll_back": (2, step("roll_back", phone=phones)),
    "clone": (2, step("clone", of=st.integers(0, 1))),
    "cut_off": (2, step("cut_off", phone=phones)),
    "pair": (1, step("pair", phone=phones)),
    "copy": (4, step("copy", verified=st.booleans())),
    "restore": (4, step("restore", which=few, older=st.sampled_from([False, False, True]))),
    "restart": (3, step("restart")),
    "server_clock": (
        4,
        step("server_clock", ms=st.sampled_from(OFF_MS), restarts=st.booleans()),
    ),
    "server_dies": (3, step("server_dies", at=st.integers(1, 60))),
    "server_full": (1, step("server_full")),
    "server_locked": (1, step("server_locked")),
    "server_calm": (2, step("server_calm")),
}
NAMES = [name for name, (weight, _) in STEPS.items() for _ in range(weight)]
schedules = st.lists(
    st.sampled_from(NAMES).flatmap(lambda name: STEPS[name][1]), min_size=4, max_size=24
)
