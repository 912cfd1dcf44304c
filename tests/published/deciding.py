"""Reads an arrangement and a rule pack of this folder, and decides claims about them, also changed ones.

The packs in `rules/` are test modules themselves: the pytest plugin decides every claim of each on every arrangement it
names. What is here serves the tests that vary a claim or an arrangement, or look into a story.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from bandproof.deciding.cases import Case
from bandproof.encoding.system import StepRule
from bandproof.engines.run import Decision, decide
from bandproof.machine.layout import Layout
from bandproof.machine.story import Occurred, State, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.properties.claim import Property
from bandproof.properties.language import resolve_pack
from bandproof.properties.packs import load_pack

HERE = Path(__file__).parent
ARRANGEMENTS = HERE / "arrangements"
RULES = HERE / "rules"


@dataclass(frozen=True, slots=True)
class Posed:
    """An arrangement encoded with the claims of one pack."""

    layout: Layout
    rule: StepRule
    claims: Mapping[str, Property]

    def decide(self, claim: str, *, mishaps: Iterable[str] | None = None) -> Decision:
        """The answer to one claim, with other mishaps allowed if given."""
        posed = self.claims[claim]
        return decide(self.rule, posed if mishaps is None else replace(posed, mishaps=frozenset(mishaps)))


def pose(arrangement: Arrangement, rules: str) -> Posed:
    """The applicable claims of `rules/<rules>.toml` on an arrangement."""
    case = Case(arrangement, resolve_pack(load_pack(RULES / f"{rules}.toml"), arrangement))
    layout = case.layout()
    return Posed(layout, StepRule(layout), {claim.id: claim for claim in case.properties})


@cache
def posed(name: str, rules: str) -> Posed:
    """The claims of `rules/<rules>.toml` on `arrangements/<name>.toml`."""
    return pose(load_arrangement(ARRANGEMENTS / f"{name}.toml"), rules)


def with_setting(name: str, setting: str, value: str) -> Arrangement:
    """`arrangements/<name>.toml` with another value of one setting."""
    written = tomllib.loads((ARRANGEMENTS / f"{name}.toml").read_text("utf-8"))
    assert setting in written["settings"]
    text = f'format = "bandproof/1"\nextends = "{name}.toml"\n[settings]\n{setting} = "{value}"\n'
    return load_arrangement_text(text, f"{name} with {setting} {value}", base=ARRANGEMENTS)


def last(decision: Decision) -> State:
    """The state in which a story ends."""
    assert decision.story is not None
    return decision.story.states[-1]


def done(story: Story) -> list[str]:
    """What the driver and the surroundings did, in order: `control position` or the mishap's name."""
    events = [event for step in story.steps for event in step.events]
    return [
        f"{event.control} {event.target}" if isinstance(event, Turned) else event.mishap
        for event in events
        if isinstance(event, Turned | Occurred)
    ]
