"""A script done to vehicles: when each step comes, and how an expectation stands by moments and margins."""

from __future__ import annotations

import pytest

from bandproof.findings.performance import Seen
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.scripts import Step, When
from bandproof.witness.performing import judged, perform
from tests.cli.samples import ARRANGEMENT
from tests.unit.test_scripts import read

#: A margin by moments: it holds from 2 s to 5 s and from 8 s on.
SEEN = [(0.0, -1.0), (1.0, -1.0), (2.0, 1.0), (4.0, 1.0), (5.0, -1.0), (8.0, 1.0), (10.0, 1.0)]


@pytest.mark.parametrize(
    ("looked", "within", "holds_for", "expected"),
    [
        (3.0, None, None, Seen(3.0, holds=True, since=3.0)),
        (1.5, None, None, Seen(1.5, holds=False, since=2.0)),
        (5.0, None, None, Seen(5.0, holds=False, since=8.0)),
        (0.0, 2.0, None, Seen(0.0, holds=True, since=2.0)),
        (0.0, 1.9, None, Seen(0.0, holds=False, since=2.0)),
        (2.0, None, 2.9, Seen(2.0, holds=True, since=2.0, lost=5.0)),
        (2.0, None, 3.0, Seen(2.0, holds=False, since=2.0, lost=5.0)),
        (1.0, None, 1.0, Seen(1.0, holds=False, since=2.0, lost=1.0)),
        (8.0, None, 2.0, Seen(8.0, holds=True, since=8.0)),
        (8.0, None, 2.5, Seen(8.0, holds=False, since=8.0)),  # the run ends before that
        (None, None, None, Seen(None, holds=False)),
    ],
)
def test_an_expectation_stands_as_its_margins_say(
    looked: float | None, within: float | None, holds_for: float | None, expected: Seen
) -> None:
    step = Step("", When(), within=within, holds_for=holds_for)
    assert judged(step, looked, SEEN, 10.0) == expected


def test_steps_come_when_they_should_in_every_vehicle() -> None:
    """The brake of 1 L fills in well under a second; the step once settled comes after that, the next 2 s later."""
    steps = """
[[step]]
at = "30 s"
turn = { lever = "forward" }
[[step]]
once = "settled"
expect = "brake is at least 5 psi"
[[step]]
after = "2 s"
turn = { lever = ["back", "forward"] }
times = 2
every = "3 s"
[[step]]
expect = "valve is feeding"
"""
    runs = perform(load_arrangement_text(ARRANGEMENT), read(steps), count=5, seed=3)
    for run in runs:
        at, settled, after, last = (time or 0.0 for time in run.came)
        assert at == pytest.approx(30.0, abs=1e-9)
        assert at + 0.1 < settled < at + 20
        assert after == pytest.approx(settled + 2, abs=1e-6)
        assert last == pytest.approx(after + 9, abs=0.01)  # four strokes, 3 s apart, each answered within milliseconds
        assert run.seen[1].holds
        assert run.seen[3].looked == last


def test_the_same_seed_gives_the_same_runs_and_another_one_others() -> None:
    arrangement, steps = (
        load_arrangement_text(ARRANGEMENT),
        read('[[step]]\nat = "5 s"\nexpect = "valve is venting"\n'),
    )
    one, again, other = (perform(arrangement, steps, count=3, seed=seed) for seed in (7, 7, 8))
    assert one == again
    assert [run.numbers for run in one][1:] != [run.numbers for run in other][1:]
    assert one[0].numbers == other[0].numbers


def test_a_step_that_waits_in_vain_is_not_seen() -> None:
    """The tank is filled for as long as the run lasts; what waits for the brake alone is not held up by that."""
    steps = read(
        '[[step]]\nat = "59.95 s"\nturn = { lever = "forward" }\n[[step]]\nonce = "settled"\nexpect = "valve is feeding"\n'
    )
    for run in perform(load_arrangement_text(ARRANGEMENT), steps, count=2, seed=1):
        assert run.came[1] is None
        assert run.seen[1] == Seen(None, holds=False)
