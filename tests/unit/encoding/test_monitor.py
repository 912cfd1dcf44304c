"""A monitor as data, as formulas, and followed along a run: the same in all three, whatever its shape."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.bits import BitSort
from bandproof.encoding.circuit import FALSE, TRUE
from bandproof.encoding.encode import Encoding
from bandproof.encoding.final import FinalRule
from bandproof.encoding.flow import FlowRule
from bandproof.encoding.monitor import encode_monitor
from bandproof.machine.layout import lay_out
from bandproof.machine.monitor import applies, bad, watch
from bandproof.machine.story import State
from bandproof.model.conditions import AtLeast, Condition, InPosition
from bandproof.properties.monitors import Change, Every, Fails, Formula, Holds, Monitor, Remembers, Some, Stillness
from tests.conformance.case import BAR, load

ARRANGEMENT = load(
    """
volumes.v = { is = "line" }
controls.handle = { positions = ["a", "b", "c"] }
starts.start = { says = "all at zero" }
"""
)

#: A setting anywhere between one bar and two: in the middle band of three it is open whether the line has it.
SETTING: Condition = AtLeast("v", Fraction(BAR), Fraction(2 * BAR))
LAYOUT = lay_out(ARRANGEMENT, [SETTING])
STATES = [State((band,), (), (position,)) for band, position in product(range(3), "abc")]

NAMES = ("calm", "once", "twice", "done")

facts: st.SearchStrategy[Formula] = st.one_of(
    st.sampled_from([Holds(InPosition("handle", frozenset({at}))) for at in "abc"]),
    st.builds(Holds, st.just(SETTING), st.booleans()),
    st.sampled_from(Stillness),
)


def formulas(leaves: st.SearchStrategy[Formula]) -> st.SearchStrategy[Formula]:
    """Formulas over these leaves."""
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.builds(Fails, inner),
            st.builds(Every, st.lists(inner, max_size=3).map(tuple)),
            st.builds(Some, st.lists(inner, max_size=3).map(tuple)),
        ),
        max_leaves=5,
    )


#: Formulas over the arrangement alone, and, for each number of states, over the first so many of the monitor's too.
PLAIN = formulas(facts)
REMEMBERING = [formulas(st.one_of(facts, st.sampled_from(NAMES[:n]).map(Remembers))) for n in range(1, len(NAMES) + 1)]


@st.composite
def monitors(draw: st.DrawFn) -> Monitor:
    """Automata of up to four states, changes anywhere between them, the last state final or not."""
    number = draw(st.integers(1, len(NAMES)))
    states = NAMES[:number]
    over = states[-1] if number > 1 and draw(st.booleans()) else None
    sources = st.sampled_from([state for state in states if state != over])
    wrong = draw(REMEMBERING[number - 1])
    changes = [
        Change(draw(sources), draw(st.sampled_from(states)), draw(PLAIN)) for _ in range(draw(st.integers(0, 4)))
    ]
    return Monitor(
        bad=wrong if over is None else Every((wrong, Fails(Remembers(over)))),
        words=(),
        applies=draw(PLAIN) if draw(st.booleans()) else None,
        states=states,
        changes=tuple(changes),
        over=over,
    )


@pytest.mark.slow
@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(monitors(), st.lists(st.sampled_from(STATES), min_size=1, max_size=6))
def test_formulas_and_the_judge_follow_a_monitor_alike(monitor: Monitor, run: list[State]) -> None:
    encoding = Encoding(LAYOUT)
    encoded = encode_monitor(encoding, FinalRule(encoding, FlowRule(encoding)), monitor)
    assert len(encoded.bits) == len(monitor.states) - 1
    assert all(bit.sort is BitSort.MONITOR for bit in encoded.bits)
    memory = {bit.literal >> 1: False for bit in encoded.bits}
    seen = monitor.states[0]
    for state in run:
        seen = watch(LAYOUT, monitor, seen, state)
        values = {**memory, **arrangement_bits(encoding, state)}
        roots = [encoded.bad, encoded.applies, *encoded.after]
        wrong, says, *after = encoding.circuit.evaluate(roots, values)
        assert wrong == bad(LAYOUT, monitor, seen, state)
        assert says == applies(LAYOUT, monitor, state)
        assert after == [bit.subject == seen for bit in encoded.bits]
        memory = dict(zip(memory, after, strict=True))


def arrangement_bits(encoding: Encoding, state: State) -> dict[int, bool]:
    """The state as values of the encoding's nodes."""
    return {
        bit.literal >> 1: state.bands[0] > bit.rank if bit.sort is BitSort.VOLUME else state.controls[0] == bit.value
        for bit in encoding.bits
    }


def test_what_holds_for_some_pressure_need_not_hold_for_all() -> None:
    middle = State((1,), (), ("a",))
    for sure in (True, False):
        monitor = Monitor(bad=Holds(SETTING, sure), words=())
        assert bad(LAYOUT, monitor, "watching", middle) is not sure


def test_a_monitor_without_memory_has_no_bits_and_always_applies() -> None:
    encoding = Encoding(LAYOUT)
    encoded = encode_monitor(encoding, FinalRule(encoding, FlowRule(encoding)), Monitor(bad=Holds(SETTING), words=()))
    assert (encoded.bits, encoded.applies, encoded.over) == ((), TRUE, FALSE)


B = Holds(InPosition("handle", frozenset({"b"})))
CALM = Every((Remembers("calm"), B))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"bad": Remembers("nowhere")}, "speaks of others"),
        ({"bad": B, "over": "calm"}, "speaks of others"),
        ({"bad": B, "changes": (Change("calm", "nowhere", B),)}, "speaks of others"),
        ({"bad": CALM, "over": "once", "changes": (Change("once", "calm", B),)}, "a change leaves it"),
        ({"bad": B, "over": "once"}, "could be bad"),
        ({"bad": Every((Remembers("once"), B)), "over": "once"}, "could be bad"),
        ({"bad": B, "applies": Remembers("once")}, "hang on the arrangement alone"),
        ({"bad": B, "changes": (Change("calm", "once", Remembers("calm")),)}, "hang on the arrangement alone"),
    ],
)
def test_a_monitor_that_makes_no_sense_is_refused(given: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Monitor(**{"words": (), "states": ("calm", "once"), **given})  # type: ignore[arg-type]
