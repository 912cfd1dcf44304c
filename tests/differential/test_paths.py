"""Where a tank's air can come from and go to, proved by hand, in both meanings."""

from __future__ import annotations

from bandproof.encoding.circuit import Circuit
from bandproof.encoding.system import StepRule, pose
from bandproof.machine.layout import lay_out
from bandproof.machine.semantics import may_fall, may_rise
from bandproof.machine.story import State
from tests.conformance.case import Case, load, never, proven, stands
from tests.differential.compare import bit_values, node_values

#: A tank with a mark at 2 bar, a line that ends at it, and another line that a source feeds and a vent empties.
LINES = """
volumes.tank = { is = "tank" }
volumes.dead = { is = "line" }
volumes.fed = { is = "line" }
parts.mark = { kind = "lifts", ports = { a = "tank" }, settings = { limit = "2 bar" } }
parts.end = { kind = "joint", ports = { a = "dead", b = "tank" } }
parts.way = { kind = "joint", ports = { a = "fed", b = "tank" } }
parts.feed = { kind = "feed", ports = { a = "fed" } }
parts.drain = { kind = "vent", ports = { a = "fed" } }
starts.start = { says = "all at zero" }
"""


def both_say(dead: int, fed: int, tank: int) -> tuple[bool, bool]:
    """The tank may rise, and may fall, where the volumes are in these bands: the same in both meanings."""
    case: Case = proven("paths", "", LINES, never(stands("mark", "tripped")))
    arrangement = load(LINES)
    layout = lay_out(arrangement, ())
    bands = {"dead": dead, "fed": fed, "tank": tank}
    parts = tuple("tripped" if part.name == "mark" and tank else part.states[0] for part in arrangement.parts)
    state = State(tuple(bands[volume.name] for volume in arrangement.volumes), parts, ())
    rule = StepRule(layout)
    problem = pose(rule, case.property())
    circuit: Circuit = rule.circuit
    roots = [circuit.any_of(rule.can_rise["tank"]), circuit.any_of(rule.can_fall["tank"])]
    rises, falls = circuit.evaluate(roots, node_values(problem, bit_values(problem, state)))
    assert (rises, falls) == (may_rise(layout, state, "tank"), may_fall(layout, state, "tank"))
    return rises, falls


def test_a_line_fills_a_tank_only_while_it_is_above_the_mark_itself() -> None:
    """Either line does, one that ends at the tank too; the feed behind the other brings nothing from below the mark."""
    assert both_say(dead=0, fed=0, tank=0) == (False, False)
    assert both_say(dead=1, fed=0, tank=0) == (True, False)
    assert both_say(dead=0, fed=1, tank=0) == (True, False)


def test_a_line_empties_a_tank_only_while_it_is_below_the_mark_itself() -> None:
    """Either line does, one that ends at the tank too; the vent behind the other takes nothing from above the mark."""
    assert both_say(dead=1, fed=1, tank=1) == (False, False)
    assert both_say(dead=0, fed=1, tank=1) == (False, True)
    assert both_say(dead=1, fed=0, tank=1) == (False, True)
