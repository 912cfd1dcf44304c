"""A witness looked at again: whether its vehicle is one of the arrangement, and does what is said of it, by another integrator."""

from __future__ import annotations

import numpy as np

from bandproof.findings.witness import Witness
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AnyOf, Condition
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.simulation.accuracy import HUNTING_PASCALS, HUNTING_SECONDS, STATED_PASCALS, STATED_SECONDS, STATED_SHARE
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import History
from bandproof.simulation.margins import Sight
from bandproof.simulation.script import Occur, Turn
from bandproof.simulation.second import GivenUpError, simulate_second
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space, numbers_of
from bandproof.simulation.vehicle import Vehicle
from bandproof.witness.judging import Judge, Stillness, allowance, target
from bandproof.witness.points import shared_settings

#: The two integrators may each err by what is stated.
BOTH = 2.0
#: Seconds, and share of the time: a claim is looked at after steps, and they are as far apart as this.
SEEN = 0.02, 0.05
#: Seconds: a run that breaks a claim as it begins is still run for so long.
SHORTEST = 1e-3


def recheck_witness(arrangement: Arrangement, claim: Property, witness: Witness) -> list[str]:
    """What is wrong with a witness, a sentence each; nothing where it is one."""
    faults = _unfit(arrangement, claim, witness)
    if faults:
        return faults
    vehicle = Space(arrangement, arrangement.start(claim.during), widened=True).given(witness.vehicle)
    fleet = Fleet(arrangement, [vehicle])
    judge, waits = Judge(fleet, claim, ends=False), _Waits(fleet)
    late = _late(witness)
    try:
        history = simulate_second(
            arrangement, vehicle, witness.script, until=witness.end + late, observers=(judge, waits), fleet=fleet
        )
    except (GivenUpError, ValueError) as error:
        return [str(error)]
    broken = _broken(arrangement, claim, witness, judge, history)
    return [*broken, *_same(arrangement, witness, history), *waits.faults(claim)]


def acts_once_settled(arrangement: Arrangement, witness: Witness) -> bool:
    """Whether the vehicle has settled before each act of the driver."""
    vehicle = Space(arrangement, arrangement.start(witness.start), widened=True).given(witness.vehicle)
    fleet = Fleet(arrangement, [vehicle])
    waits = _Waits(fleet)
    simulate(
        arrangement,
        [vehicle],
        witness.script,
        until=max(witness.end, SHORTEST),
        observers=lambda _: (waits,),
        keep=False,
    )
    return not waits.hasty


def _unfit(arrangement: Arrangement, claim: Property, witness: Witness) -> list[str]:
    """Why a witness is none of this arrangement and claim, whatever it does."""
    faults = []
    space = Space(arrangement, arrangement.start(claim.during), widened=True)
    if witness.start != claim.during:
        faults.append(f'it begins at "{witness.start}", the claim is about "{claim.during}"')
    try:
        vehicle = space.given(witness.vehicle)
        missing = [
            name for name, table in numbers_of(space, vehicle).items() if table.keys() != witness.vehicle[name].keys()
        ]
        faults += [f'numbers are missing in "{name}"' for name in missing]
        faults += [] if space.keeps([vehicle]).all() else ["the vehicle does not keep the condition of the start"]
        faults += [f'"{name}" is one setting, here it is several' for name in _torn(arrangement, vehicle)]
    except (ValueError, KeyError) as error:
        faults.append(f"no vehicle of the arrangement: {error}")
    return faults + _not_allowed(claim, witness)


def _not_allowed(claim: Property, witness: Witness) -> list[str]:
    happened = [deed.what.mishap for deed in witness.deeds if isinstance(deed.what, Occur)]
    faults = [f'mishap "{name}" is not allowed' for name in happened if name not in claim.mishaps]
    if len(set(happened)) < len(happened):
        faults.append("a mishap happens twice")
    if claim.pace is Pace.HANDS_OFF and any(isinstance(deed.what, Turn) for deed in witness.deeds):
        faults.append("the driver acts, and may not")
    return faults


def _torn(arrangement: Arrangement, vehicle: Vehicle) -> list[str]:
    values: dict[str, set[float]] = {}
    for use, name in shared_settings(arrangement).items():
        values.setdefault(name, set()).add(vehicle.settings[use])
    return [name for name, found in values.items() if len(found) > 1]


def _late(witness: Witness) -> float:
    """Seconds by which the two runs may differ at the end."""
    return BOTH * (STATED_SECONDS + STATED_SHARE * witness.end + HUNTING_SECONDS * bool(witness.hunted))


def _broken(arrangement: Arrangement, claim: Property, witness: Witness, judge: Judge, history: History) -> list[str]:
    found = float(judge.margins[0])
    off = BOTH * allowance(float(arrangement.atmosphere), claim, hunted=bool(witness.hunted))
    if found <= 0:
        return [f"the claim is kept: {-found:.0f} Pa are missing"]
    if found < witness.margin - off:
        return [f"the claim is broken by {found:.0f} Pa only, not by {witness.margin:.0f}"]
    # How near to rest is near enough is a matter of degree, and so is the time of it.
    gradual = claim.shape in (Shape.SETTLED, Shape.AT_REST, Shape.ENDS_IN)
    first = float(judge.first[0])
    near = abs(first - witness.when) <= SEEN[0] + SEEN[1] * witness.when
    if not gradual and not near and not _left_open(arrangement, witness, history, target(claim), (first, witness.when)):
        return [f"the claim is broken at {first:.3f} s, not at {witness.when:.3f} s"]
    return []


def _slack(arrangement: Arrangement, witness: Witness, pressures: Floats) -> Floats:
    """By how many pascals the two integrators may differ at some pressures."""
    slack = STATED_PASCALS + STATED_SHARE * (pressures + float(arrangement.atmosphere))
    return np.asarray(BOTH * (slack + HUNTING_PASCALS * bool(witness.hunted)))


def _left_open(
    arrangement: Arrangement, witness: Witness, history: History, decides: Condition, times: tuple[float, float]
) -> bool:
    """Whether some pressure in `decides` changes between two times by no more than the integrators may differ by.

    Where a pressure creeps up to a threshold, a small error of it is a large error of the time.
    """
    compared = {leaf.volume for leaf in comparisons(decides)}
    rows = [row for row, volume in enumerate(arrangement.volumes) if volume.name in compared]
    here, there = history.at(np.array(times))
    return bool((np.abs(here - there) <= _slack(arrangement, witness, here))[rows].any())


def _same(arrangement: Arrangement, witness: Witness, history: History) -> list[str]:
    """Where pressures at the end, or moves on the way, differ by more than both integrators may err."""
    late, faults = _late(witness), []
    around = history.at(np.linspace(max(witness.end - late, 0.0), witness.end + late, 9))
    slack = _slack(arrangement, witness, np.array([*witness.pressures.values()]))
    for row, (volume, low, high) in enumerate(
        zip(arrangement.volumes, around.min(axis=0), around.max(axis=0), strict=True)
    ):
        said = witness.pressures.get(volume.name, np.nan)
        if not low - slack[row] <= said <= high + slack[row]:
            faults.append(f"{volume.name} ends at {low:.0f} Pa, not at {said:.0f}")
    return faults + _other_moves(arrangement, witness, history, late)


def _other_moves(arrangement: Arrangement, witness: Witness, history: History, late: float) -> list[str]:
    left_out = {*witness.hunted, *history.hunted}
    said = [(m.part, m.target, m.time) for m in witness.moves if m.part not in left_out]
    found = [(what.part, what.target, time) for time, what in history.moves() if what.part not in left_out]
    faults = []
    for part in dict.fromkeys(part for part, _, _ in (*said, *found)):
        ours, theirs = (
            [(t, s) for p, t, s in moves if p == part and s < witness.end - late] for moves in (said, found)
        )
        guards = AnyOf(tuple(move.when for move in arrangement.part(part).moves))
        if [state for state, _ in ours] != [state for state, _ in theirs]:
            faults.append(f"{part} moves otherwise than is said")
        elif any(
            abs(one - other) > late and not _left_open(arrangement, witness, history, guards, (one, other))
            for (_, one), (_, other) in zip(ours, theirs, strict=True)
        ):
            faults.append(f"{part} moves at other times than is said")
    return faults


class _Waits:
    """Whether a vehicle had settled before each act of the driver."""

    def __init__(self, fleet: Fleet) -> None:
        self._stillness = Stillness(fleet, tanks_held=True)
        self._before: Floats | None = None
        self._still = True
        #: When the driver acted and the vehicle had not settled.
        self.hasty: list[float] = []

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        controls = sight.controls.astype(np.float64)
        if self._before is not None and (controls != self._before).any() and not self._still:
            self.hasty.append(float(sight.times[0]))
        self._before = controls.copy()
        self._stillness(sight)
        self._still = bool(self._stillness.of(sight)[0][0])

    def faults(self, claim: Property) -> list[str]:
        """The acts that came too soon for a driver who waits."""
        waits = claim.pace is Pace.AFTER_SETTLING
        return [f"the driver acts at {time:.3f} s, before the air has settled" for time in self.hasty if waits]
