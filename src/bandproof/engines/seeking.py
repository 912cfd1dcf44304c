"""Looks for the vehicle that does what a run of the bands says.

| what is known of the run                 | how far the search goes                                                  |
|------------------------------------------|--------------------------------------------------------------------------|
| that the bands allow it                  | `QUICKLY`: most such runs are what most vehicles do                      |
| that air accounts fit it, or may         | `AGAIN`, then `LONGER`, both also with other mishaps that the claim allows; between them and after them `PUMPING`: a control turned to and fro after the story |
| the same, and it would stay undecided    | `THOROUGHLY`: a thousand vehicles, then the best of them improved        |

Why a story may need its last turns many times: to the bands air that goes in and out of a line once, or a hundred times, is
one and the same crossing of a tank.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

from bandproof.findings.witness import NoWitness, Witness
from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import Pace, Property
from bandproof.witness.rechecking import acts_once_settled
from bandproof.witness.script_of import Plan, plan_of
from bandproof.witness.search import (
    AGAIN,
    ANYTHING,
    LONGER,
    PATIENTLY,
    PUMPING,
    QUICKLY,
    STROKES,
    THOROUGHLY,
    Budget,
    find_planned,
)
from bandproof.witness.telling import Unreadable, told

Check = Callable[[], None]


#: A search for a vehicle, of a seed: another seed mostly finds another vehicle.
Search = Callable[[int], Witness | NoWitness]

#: The bands may refuse to read a run, as where a pressure comes to rest on a threshold; then so many others are asked for.
OTHERS = 3


@dataclass(frozen=True, slots=True)
class Sought:
    """What came of a search: the witness and its story, or how many vehicles were tried. `unread`: why there is no story."""

    tried: int
    witness: Witness | None = None
    story: Story | None = None
    unread: str = ""


def witnessable(layout: Layout, claim: Property) -> bool:
    """Whether a vehicle can be asked for: its run begins where the claim does."""
    return layout.arrangement.start(claim.during).plain


def first_look(layout: Layout, claim: Property, story: Story, check: Check) -> Sought:
    """What a quick search comes to."""
    seek = _Seeker(layout, claim, check)
    return _told(layout, claim, [seek(plan_of(layout.arrangement, claim, story), QUICKLY)])


def second_look(layout: Layout, claim: Property, story: Story, check: Check, *, thorough: bool = True) -> Sought:
    """What a search comes to that goes on, where it is `thorough`, until there is hardly hope."""
    return _told(layout, claim, _tries(layout, claim, story, _Seeker(layout, claim, check), thorough=thorough))


def _tries(layout: Layout, claim: Property, story: Story, seek: _Seeker, *, thorough: bool) -> Iterator[Search]:
    plan = plan_of(layout.arrangement, claim, story)
    more = plan.with_mishaps(claim.mishaps)
    plans = [plan, more] if more.loose else [plan]
    yield from (seek(one, AGAIN) for one in plans)
    pumping = [list(_pumped(layout, claim, plans[-1], strokes)) for strokes in STROKES]
    yield from (seek(one, PUMPING) for one in pumping[0])
    yield from (seek(one, LONGER) for one in plans)
    if thorough:
        yield from (seek(one, PUMPING) for several in pumping[1:] for one in several)
        if not pumping[0]:
            yield seek(plans[-1], PATIENTLY)
        yield seek(plans[-1], THOROUGHLY)
        if _undeclared(layout.arrangement):
            yield seek(plans[-1], ANYTHING)


def _undeclared(arrangement: Arrangement) -> bool:
    """Whether a volume's litres or a passage's size may be anything."""
    return any(volume.litres is None for volume in arrangement.volumes) or any(
        passage.size is None for part in arrangement.parts for passage in part.passages
    )


def _pumped(layout: Layout, claim: Property, plan: Plan, strokes: int) -> Iterator[Plan]:
    """The plan with each control turned to and fro after it, where the driver may act."""
    positions = {control.name: control.positions for control in layout.arrangement.controls}
    settles = claim.pace is Pace.AFTER_SETTLING
    yield from plan.pumped(positions, strokes, settles=settles) if claim.pace is not Pace.HANDS_OFF else ()


@dataclass(frozen=True, slots=True)
class _Seeker:
    """Makes searches for vehicles that break a claim."""

    layout: Layout
    claim: Property
    check: Check

    def __call__(self, plan: Plan, budget: Budget) -> Search:
        """The search for one that does what is planned, or less; of the seed it is given."""
        return partial(self._found, plan, budget)

    def _found(self, plan: Plan, budget: Budget, seed: int) -> Witness | NoWitness:
        arrangement = self.layout.arrangement
        try:
            return find_planned(arrangement, self.claim, plan, seed=seed, budget=budget, check=self.check)
        except ValueError:
            # No vehicle drawn keeps the condition of the start.
            return NoWitness(0, float("-inf"))


def _told(layout: Layout, claim: Property, searches: Iterable[Search]) -> Sought:
    """What the first search comes to that finds a witness; of others like it, where the bands do not take its run."""
    tried = 0
    for search in searches:
        found = search(0)
        tried += found.tried
        if not isinstance(found, Witness) or _too_quick(layout, claim, found):
            continue
        story = told(layout, claim, found)
        for seed in range(1, OTHERS + 1):
            if isinstance(story, Story) or story.long:
                break
            other = search(seed)
            tried += other.tried
            if isinstance(other, Witness) and not _too_quick(layout, claim, other):
                another = told(layout, claim, other)
                found, story = (other, another) if isinstance(another, Story) else (found, story)
        if isinstance(story, Unreadable):
            return Sought(tried, found, unread=story.why)
        return Sought(tried, found, story)
    return Sought(tried)


def _too_quick(layout: Layout, claim: Property, witness: Witness) -> bool:
    """Whatever planned the acts: a hand quicker than the claim's driver breaks nothing."""
    return claim.pace is Pace.AFTER_SETTLING and not acts_once_settled(layout.arrangement, witness)
