"""The order in which events arrive means nothing, and each id counts once."""

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from lathhouse.domain.corrections import fold_order
from lathhouse.domain.lot import fold, plain_copy
from lathhouse.domain.overlay import follow, grow, overlay, snapshot
from tests.parity.logs import LOT
from tests.parity.stories import make_log
from tests.parity.twins import about

SEEDS = st.integers(min_value=0, max_value=50_000)


@settings(max_examples=300, deadline=None)
@given(seed=SEEDS, shuffling=st.randoms(use_true_random=False))
def test_any_order_of_arrival_gives_the_same_lot(seed: int, shuffling: random.Random):
    events = about(LOT, make_log(seed)[0])
    arrived = list(events)
    shuffling.shuffle(arrived)
    assert fold(LOT, arrived) == fold(LOT, events)


@settings(max_examples=200, deadline=None)
@given(seed=SEEDS, data=st.data())
def test_what_arrives_twice_counts_once(seed: int, data: st.DataObject):
    events = about(LOT, make_log(seed)[0])
    again = data.draw(st.lists(st.sampled_from(events), max_size=8))
    assert fold(LOT, [*again, *events]) == fold(LOT, events)


@settings(max_examples=200, deadline=None)
@given(seed=SEEDS, shuffling=st.randoms(use_true_random=False))
def test_two_phones_that_sync_in_either_order_make_the_same_lot(
    seed: int, shuffling: random.Random
):
    """The stored row, with either phone's events folded first, ends as the same lot."""
    events = about(LOT, make_log(seed)[0])
    mine = [event for event in events if shuffling.random() < 0.5]
    theirs = [event for event in events if event not in mine]
    for first, second in ((mine, theirs), (theirs, mine)):
        over = overlay(snapshot(LOT, first), second)
        if not over["unconfirmed"]:
            assert over["lot"] == fold(LOT, events)


@settings(max_examples=200, deadline=None)
@given(seed=SEEDS, cuts=st.randoms(use_true_random=False))
def test_following_a_row_gives_what_folding_it_again_gives(seed: int, cuts: random.Random):
    """Event by event in fold order, as a phone that syncs every day sends them."""
    events = sorted(about(LOT, make_log(seed)[0]), key=fold_order)
    first = cuts.randint(1, len(events))
    row = snapshot(LOT, events[:first])
    for start in range(first, len(events), 3):
        added = events[start : start + 3]
        whole = grow(row["checkpoint"], [*row["tail"], *added], row["checkpoint_at"])
        if row["lot"]:
            kept = {name: row[name] for name in ("checkpoint", "checkpoint_at", "tail")}
            followed = follow(plain_copy(row["lot"]), kept, added)
            assert followed is None or followed == whole
        row = whole
