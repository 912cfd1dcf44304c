"""The whole table: tiny arrangements whose verdicts were proved by hand, each with the reasoning in one line.

`TABLE` feeds every engine (`test_engines.py`), the oracles, the checks of story quality, and the mutation runs. What takes
more than a search of the bands (`Case.needs`) is in `DECIDED`, and asked of the decider alone.
"""

from __future__ import annotations

from tests.conformance.case import Case
from tests.conformance.table_acts import ACTS
from tests.conformance.table_edges import EDGES, NEEDS_ONE_NUMBER, NO_SUCH_AIR
from tests.conformance.table_flow import FLOW
from tests.conformance.table_holding import COMES_TO_REST, HOLDS_FOR_EVER, NEEDS_SILENCE
from tests.conformance.table_hunting import HUNTING, IN_ORDER
from tests.conformance.table_line_air import KEPT, LINE_AIR, NEEDS_ACCOUNT, NEEDS_FILLINGS
from tests.conformance.table_pace import PACE
from tests.conformance.table_reaction import REACTION
from tests.conformance.table_settled import SETTLED
from tests.conformance.table_shapes import SHAPES
from tests.conformance.table_sized import SIZED
from tests.conformance.table_steps import STEPS

TABLE: tuple[Case, ...] = (
    *STEPS,
    *ACTS,
    *FLOW,
    *SIZED,
    *PACE,
    *REACTION,
    *SETTLED,
    *SHAPES,
    *HUNTING,
    *IN_ORDER,
    *HOLDS_FOR_EVER,
    *COMES_TO_REST,
    *LINE_AIR,
    *KEPT,
    *NEEDS_FILLINGS,
    *EDGES,
)

#: Runs that only a search for vehicles makes real: pressures one by one, by the flow rule alone, do not bear them out.
SEARCHED_FOR: tuple[Case, ...] = (*HUNTING, *LINE_AIR, *NEEDS_FILLINGS)

#: Refuted by the bands, and by no vehicle found: undecided, with that reason.
NO_VEHICLE = frozenset(
    {
        # Only at one pressure, or one balance, to the last digit: a vehicle has to break a claim by more than the
        # simulator may err.
        "a start at a threshold",
        "fed and vented, sized: balanced",
        "fed and vented, sized: not too low",
        "perhaps lower",
        "perhaps not lower",
        "torn line against a wide feed",
        "up and down in turn",
        "a shuttle that chatters between equal tanks is at rest",
        # Parts of a vehicle that see the same pressure take the same time to move.
        "one of two parts reacts",
        # The run begins at a given pressure; a band begins anywhere in it. And sizes are rates at full choke.
        "a trailer that is quick enough wins the race",
        "a larger pilot line is slower",
        "a smaller port is slower",
        "a port without a size can be as slow as it likes",
        "one whole band is one",
        "two whole bands are two",
        "a pilot line whose feed shuts is not due any more",
        "a pilot line whose port shuts is not due any more",
        "a pilot line that has crossed a threshold begins anew",
        "trembling about one threshold takes no time",
        # Two valves of a vehicle that undo each other do so at once.
        "a part that watches a to and fro is bound by no reaction time",
        # A part that another one moves by the same pressure is not passed by.
        "a latch that is due again and again, and never takes",
    }
)

#: Refuted by a vehicle that only a long search finds.
TAKES_LONG = frozenset(
    {
        "the largest vent counts for falling",
        "the largest way back counts for falling",
        "a pilot line without litres can be as slow as it likes",
        "a pilot line that is to go the other way begins anew",
    }
)

#: A part here moves thousands of times a second, so that a search for a vehicle takes minutes.
HUNTS_QUICKLY = frozenset(
    {"a relay holds a leaking line at its pilot's pressure", "a patient driver acts beside a relay that holds"}
)

#: (Engine, case): the bound of the engine does not reach so far. It is then undecided, or is not asked at all (`ASLEEP`).
OUT_OF_REACH = {
    ("z3 bounded search", "latching control with both settings in the wrong order, toleranced"),
    ("z3 bounded search", "both knobs held, both in the wrong order"),
    ("k-induction", "latching control gives no more than its supply"),
    ("k-induction", "latching control in the wrong order gives no more than its supply"),
    ("k-induction", "ten strokes do not empty a tank"),
    ("k-induction", "one stroke does not trip a dump far below"),
}

#: (Engine, case): it would take the engine minutes.
ASLEEP = {
    ("diagrams", "both knobs held, both in the wrong order"),
    ("diagrams", "latching control with both settings in the wrong order, toleranced"),
}

DECIDED: tuple[Case, ...] = (*NEEDS_ACCOUNT, *NEEDS_ONE_NUMBER, *NO_SUCH_AIR, *NEEDS_SILENCE)
