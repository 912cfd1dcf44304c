"""The NTSB's recommendation after the crash of 21 October 1999 (via a press report).

An inspection that parts both lines but skips the final brake application cannot tell a truck without tractor protection
from a sound one. Two scripts are run on the executable machine, on both trucks; what is compared is what a person at
the truck can see and hear. That no run tells more is claimed, and decided, in `rules/apply_after_break.toml`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from bandproof.machine.rig import Rig
from bandproof.machine.semantics import at_rest, start_states
from bandproof.machine.story import State
from bandproof.properties.claim import Pace
from bandproof.text.units import parse_pressure
from tests.published.deciding import posed

pytestmark = pytest.mark.slow

SOUND, BARE = "combination", "combination_no_protection"

#: One pound-force per square inch, in pascals.
PSI = parse_pressure("1 psi")

#: Before, after parting the service line (step 8: no loss), after parting the supply line (step 9: knob out, 20 psi kept).
PARTED = [("in", True), ("in", True), ("out", True)]

PART_BOTH = ("service_parted", "supply_parted")


class Inspection:
    """A truck on which a script is run, one act at a time, waiting after each until the air is at rest."""

    def __init__(self, name: str) -> None:
        layout = posed(name, "apply_after_break").layout
        self.rig = Rig(layout, next(start_states(layout, layout.arrangement.start("charged"))))
        self.wait()

    def wait(self) -> None:
        """Take steps of the air and the parts, to where the run has been least, until all is at rest."""
        visits: Counter[State] = Counter()
        while not at_rest(self.rig.layout, self.rig.state):
            visits[self.rig.state] += 1
            self.rig.step(min((after for _, after in self.rig.options(Pace.HANDS_OFF)), key=visits.__getitem__))

    def part(self, mishap: str) -> None:
        """Part a line."""
        self._act(replace(self.rig.state, mishaps=self.rig.state.mishaps | {mishap}))

    def brake(self) -> None:
        """Make a foot application, and hold it."""
        controls = zip(self.rig.layout.arrangement.controls, self.rig.state.controls, strict=True)
        turned = tuple("applied" if control.name == "pedal" else at for control, at in controls)
        self._act(replace(self.rig.state, controls=turned))

    def _act(self, after: State) -> None:
        self.rig.step(after, Pace.AFTER_SETTLING, frozenset(PART_BOTH))
        self.wait()

    def noticed(self) -> tuple[str, bool]:
        """What a person notices once all is at rest: where the knob is, and whether the gauge has kept 20 psi."""
        reading = self.rig.reading()
        return reading.part["trailer_control"], reading.low("tractor_tank") >= 20 * PSI


def inspect(name: str, *, final_application: bool) -> list[tuple[str, bool]]:
    """What is noticed after each act of the script."""
    truck = Inspection(name)
    seen = [truck.noticed()]
    for line in PART_BOTH:
        truck.part(line)
        seen.append(truck.noticed())
    if final_application:
        truck.brake()
        seen.append(truck.noticed())
    return seen


def test_without_the_application_both_trucks_look_alike() -> None:
    assert inspect(SOUND, final_application=False) == inspect(BARE, final_application=False) == PARTED


def test_with_the_application_the_bare_truck_loses_its_air() -> None:
    assert inspect(SOUND, final_application=True) == [*PARTED, ("out", True)]
    assert inspect(BARE, final_application=True) == [*PARTED, ("out", False)]
