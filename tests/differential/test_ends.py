"""Passages that end in a source, or begin in the atmosphere. No file has them, but both meanings must read them alike."""

from __future__ import annotations

import pytest

from bandproof.encoding.circuit import Circuit
from bandproof.encoding.system import StepRule
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.semantics import at_rest, may_fall, may_rise, settled
from bandproof.machine.story import State
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Part, Passage, Volume, VolumeKind
from bandproof.model.conditions import AtLeast
from tests.differential.drawn import ATMOSPHERIC, BAR, HIGHEST


def store_and_line(end: str, *, one_way: bool, into: bool, kind: VolumeKind) -> Layout:
    """A store `t` with a dead-end line `v`, and a passage between the store and `end`."""
    ends = (end, "t") if into else ("t", end)
    passages = (
        Passage("t", "v", one_way=False, open_in=frozenset({"open"})),
        Passage(*ends, one_way=one_way, open_in=frozenset({"open"})),
    )
    part = Part("p", "by hand", ("open",), passages)
    volumes = (Volume("t", kind), Volume("v", VolumeKind.LINE))
    arrangement = Arrangement("by hand", "bar", ATMOSPHERIC, HIGHEST, volumes, (part,))
    return lay_out(arrangement, [AtLeast("t", 4 * BAR, 4 * BAR)])


def facts(layout: Layout, store: int, line: int) -> tuple[list[bool], list[bool]]:
    """May the store rise, may it fall, is the state settled, is it at rest: executable, then encoded."""
    state = State((store, line), ("open",), ())
    executable = [
        may_rise(layout, state, "t"),
        may_fall(layout, state, "t"),
        settled(layout, state),
        at_rest(layout, state),
    ]
    rule = StepRule(layout)
    circuit: Circuit = rule.circuit
    roots = [
        circuit.any_of(rule.can_rise["t"]),
        circuit.any_of(rule.can_fall["t"]),
        rule.final.settled(),
        rule.final.at_rest(),
    ]
    values = {rule.encoding.levels[name][0] >> 1: bool(band) for name, band in (("t", store), ("v", line))}
    return executable, circuit.evaluate(roots, values)


@pytest.mark.parametrize("kind", [VolumeKind.TANK, VolumeKind.CHAMBER])
@pytest.mark.parametrize("one_way", [False, True])
def test_a_source_takes_no_air(kind: VolumeKind, one_way: bool) -> None:
    """The full store has only a dead-end line, as full, and a way into a source: it does not fall."""
    layout = store_and_line(SOURCE, one_way=one_way, into=False, kind=kind)
    executable, encoded = facts(layout, 1, 1)
    assert executable == encoded
    assert executable[1] is False


@pytest.mark.parametrize("kind", [VolumeKind.TANK, VolumeKind.CHAMBER])
@pytest.mark.parametrize("one_way", [False, True])
def test_the_atmosphere_gives_no_air(kind: VolumeKind, one_way: bool) -> None:
    """The empty store has only a dead-end line, as empty, and a way out of the atmosphere: it does not rise."""
    layout = store_and_line(ATMOSPHERE, one_way=one_way, into=True, kind=kind)
    executable, encoded = facts(layout, 0, 0)
    assert executable == encoded
    assert executable[0] is False


@pytest.mark.parametrize("end", [SOURCE, ATMOSPHERE])
@pytest.mark.parametrize("one_way", [False, True])
@pytest.mark.parametrize("into", [False, True])
@pytest.mark.parametrize("store", [0, 1])
@pytest.mark.parametrize("line", [0, 1])
def test_both_meanings_read_every_end_alike(end: str, one_way: bool, into: bool, store: int, line: int) -> None:
    for kind in VolumeKind:
        executable, encoded = facts(store_and_line(end, one_way=one_way, into=into, kind=kind), store, line)
        assert executable == encoded
