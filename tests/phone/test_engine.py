"""The sync engine, pure: a seeded world of lost replies, kills, full disks and restores."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.phone.network import Network

SEEDS = 2000
SIMULATE = """async (seeds) => {
  const { simulate } = await import("/simulate.js");
  const wrong = {};
  for (let seed = 1; seed <= seeds; seed += 1) {
    const found = simulate(seed);
    if (found.length) wrong[seed] = found.slice(0, 5);
  }
  return wrong;
}"""


@pytest.fixture
def page(phone: BrowserContext, network: Network) -> Iterator[Page]:
    opened = phone.new_page()
    opened.goto(f"{network.address}/core/ids.js")
    yield opened
    opened.close()


def engine(page: Page, script: str) -> object:
    return page.evaluate(f"() => import('/store/engine.js').then((engine) => ({script})(engine))")


def test_nothing_is_lost_or_stuck_whatever_goes_wrong(page: Page):
    """Invariants I1, I3, I4 and I6 of the simulated world, seed by seed."""
    wrong = page.evaluate(SIMULATE, SEEDS)
    assert wrong == {}, "seeds that went wrong, with what did"


@pytest.mark.parametrize(
    ("right", "planted"),
    [
        ("return otherEpoch || ", "return "),
        ("return divide(state, events, failure);", "return giveUpPass(state, failure, random);"),
        ('{ do: "wait", ms: backoffMs(failures, random, failure.retryAfterMs) }', ""),
    ],
    ids=["restore unnoticed", "bad event holds up", "no retry"],
)
def test_the_simulated_world_notices_a_planted_fault(
    phone: BrowserContext, network: Network, right: str, planted: str
):
    source = (network.front / "store" / "engine.js").read_text()
    assert right in source
    network.change_file("/store/engine.js", source.replace(right, planted))
    opened = phone.new_page()
    opened.goto(f"{network.address}/core/ids.js")
    assert opened.evaluate(SIMULATE, 300) != {}


def test_retries_come_later_and_later_but_never_later_than_half_a_minute(page: Page):
    waits = engine(
        page, "({ backoffMs }) => [1, 2, 3, 6, 60].map((failures) => backoffMs(failures, 1))"
    )
    assert waits == [1000, 2000, 4000, 30_000, 30_000]


def test_a_server_that_asks_for_a_minute_is_given_it(page: Page):
    assert engine(page, "({ backoffMs }) => backoffMs(1, 0, 60_000)") == 60_000


def test_a_tap_does_not_hammer_a_server_that_is_out_of_reach(page: Page):
    effects = engine(
        page,
        """({ begin, next }) => {
          const tired = { ...begin(), failures: 3 };
          const of = (why) => next(tired, { type: "nudge", why }).effects.map((one) => one.do);
          return [of("recorded"), of("online"), of("timer")];
        }""",
    )
    assert effects == [[], ["lock"], ["lock"]]


def test_a_late_answer_of_a_pass_that_was_given_up_changes_nothing(page: Page):
    same = engine(
        page,
        """({ begin, next }) => {
          const state = { ...begin(), doing: "push", pass: 7 };
          const late = { type: "pushed", pass: 6, answer: {}, events: [] };
          return next(state, late).state === state;
        }""",
    )
    assert same is True


def test_f11_a_phone_with_nothing_to_send_notices_that_what_it_sent_is_forgotten(page: Page):
    """The revision may have caught up since; a server of before tells no number in a pull."""
    asked = engine(
        page,
        """({ begin, next }) => {
          const memory = { epoch: "a", revision: 5, next_seq: 3, cursor: "0", afresh: false };
          const state = { ...begin(), doing: "pull", memory };
          const server = { epoch: "a", revision: 9 };
          return [{ next_seq: 2 }, { next_seq: 3 }, {}].map((known) => {
            const page = { ...server, ...known, rows: {} };
            const [effect] = next(state, { type: "pulled", page }).effects;
            return [effect.do, effect.server?.next_seq];
          });
        }""",
    )
    assert asked == [["offer", 2], ["apply", None], ["apply", None]]


def test_f11_a_gap_below_all_that_is_unsent_is_asked_about_once(page: Page):
    """A server copied back by hand keeps its epoch, and its revision may have caught up since."""
    asked = engine(
        page,
        """({ begin, next }) => {
          const memory = { epoch: "a", revision: 5, next_seq: 3, cursor: "0", afresh: false };
          const server = { epoch: "a", revision: 9, next_seq: 4 };
          const state = { ...begin(), doing: "settle", memory, server };
          const first = next(state, { type: "settled", count: 1, accounted: 8 });
          const again = { ...first.state, doing: "settle", server };
          const second = next(again, { type: "settled", count: 1, accounted: 8 });
          return [first, second].map((one) => one.effects[0].do);
        }""",
    )
    assert asked == ["offer", "readQueue"]
