"""Every measurement runs, at a size at which its figures mean nothing: no time is asserted."""

from tests.bench import first_load, phone_record, push, tick
from tests.bench.figures import Figure


def test_each_measurement_gives_its_figures():
    found = [
        *phone_record.measure(tries=1, each=2),
        *push.measure(count=40, batch=20, lots=2, many=4, tries=1),
        *tick.measure(asleep=20, due=2, tries=1),
        *first_load.measure(lots=12, tries=1),
    ]
    assert len(found) == 15
    assert all(figure.value > 0 for figure in found)


def test_a_missed_aim_is_said():
    assert "MISSED" in Figure("slow", 3.0, "s", aim=2).line()
    assert "MISSED" not in Figure("fast", 1.0, "s", aim=2).line()
    assert not Figure("few", 0.01, "", aim=0.03, at_least=True).met
