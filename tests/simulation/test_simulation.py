"""Three weeks of the simulated nursery: nothing missed, untrue or said twice, and few rings."""

import pytest

from lathhouse.domain.watches import load_rules
from tests.simulation import load, verdict
from tests.simulation.episodes import Key, Spans, minus, union
from tests.simulation.report import lines
from tests.simulation.run import Run
from tests.simulation.yard import COLD_C

# Of the first seeds the one with a cold reading over bare stock as well.
DAYS, SEED = 21, 3


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A phone off for a week, the fridge's door ajar, its thermostat adrift, its probe dead."""
    return Run(tmp_path_factory.mktemp("world"), DAYS, SEED, "shed").go()


@pytest.fixture(scope="module")
def judged(run: Run) -> list[verdict.Line]:
    """What became of each watch, with the seed in the message where it is not as it should be."""
    print(f"seed {SEED}, {DAYS} days")
    return verdict.judge(run)


def test_nothing_that_was_true_went_unraised(judged: list[verdict.Line]):
    assert [missed for line in judged for missed in line.unraised] == []


def test_nothing_untrue_was_raised_but_for_records_that_were_still_on_a_phone(
    judged: list[verdict.Line],
):
    assert [wrong for line in judged for wrong in line.untrue] == []
    assert sum(line.on_a_phone_that_was_off for line in judged) > 0, "the week was simulated"


def test_every_watch_that_ships_is_judged_or_the_table_says_why_not(judged: list[verdict.Line]):
    lines = {line.watch: line for line in judged}
    assert lines.keys() == {rule["id"] for rule in load_rules()}
    assert {name for name, line in lines.items() if not line.modelled} == verdict.NO_TRUTH.keys()
    assert {name for name in verdict.NEVER_HERE if lines[name].raised} == set()


def test_nothing_was_raised_twice(run: Run, judged: list[verdict.Line]):
    assert [again for line in judged for again in line.repeated] == []
    assert verdict.raised_twice(run) == 0


def test_nobody_has_more_than_six_new_ones_on_nineteen_of_twenty_ordinary_days(run: Run):
    counts = [n for one in load.loads(run, run.mirror.ringing) for n in one.ordinary]
    assert len(counts) >= 8
    assert load.percentile(counts, 95) <= load.AIM


def test_the_first_in_line_has_messages_and_no_more_than_six_a_day(run: Run):
    days = [day for day in range(DAYS) if day not in run.out_of_order]
    counted = run.post.counts(days)
    assert sum(sum(values) for values in counted.values()) > 0
    assert max(max(values) for values in counted.values()) <= load.AIM


def test_whoever_is_dry_and_unseen_for_longer_than_a_look_may_take_has_somebody_sent(run: Run):
    assert len(run.world.nature.dry_spells) > 0
    assert verdict.unseen_dry(run) == []


def test_the_faults_of_the_story_happened_and_were_told(run: Run, judged: list[verdict.Line]):
    raised = {line.watch: line.raised for line in judged}
    for watch in ("phone-silent", "chamber-silent", "chamber-band", "round-missing", "look-due"):
        assert raised[watch] > 0, watch


def test_nights_of_frost_and_the_mornings_after_them_were_lived_through(
    run: Run, judged: list[verdict.Line]
):
    assert any(low_c <= COLD_C for low_c in run.world.weather.lows[:DAYS])
    true = {line.watch: line.true for line in judged}
    for watch in ("frost-tonight", "frost-now", "cover-left-on"):
        assert true[watch] > 0, watch


def test_the_table_says_every_aim(run: Run):
    said, missed = lines(run)
    assert missed == sum("MISSED" in line for line in said) == 0, "\n".join(said)


def test_time_that_is_true_and_not_raised_is_what_is_left_of_it():
    assert union([(5, 9), (1, 3), (3, 4)]) == [(1, 4), (5, 9)]
    assert minus([(0, 10)], [(2, 3), (5, 7)]) == [(0, 2), (3, 5), (7, 10)]
    assert minus([(0, 10)], [(0, 10)]) == []


def test_what_becomes_true_ends_when_it_is_done_and_begins_anew():
    truth, key = Spans(), Key("look-due", "lot", "one")
    truth.foresee(key, (10, 99), 0)
    truth.foresee(key, (20, 99), 15)
    truth.foresee(key, None, 30)
    assert truth.done[key] == [(10, 15), (20, 30)]
    assert not truth.is_true(key, 31)
