"""What is done to a vehicle and when: the driver's acts and the mishaps of a run."""

from __future__ import annotations

from dataclasses import dataclass

from bandproof.model.arrangement import Arrangement


@dataclass(frozen=True, slots=True)
class Turn:
    """The driver sets `control` to `position`."""

    control: str
    position: str


@dataclass(frozen=True, slots=True)
class Occur:
    """The mishap `mishap` occurs."""

    mishap: str


@dataclass(frozen=True, slots=True)
class Look:
    """Somebody looks: nothing is done, and the moment is kept. `number` tells one look from another."""

    number: int


@dataclass(frozen=True, slots=True)
class Act:
    """One act, mishap or look: at `time` seconds, or with no time `wait` seconds after the vehicle has settled.

    With `since`, and no time, `wait` counts from the act before it, settled or not.

    Acts are done in the order of the script. One that names a time before the act before it is done is done together
    with that one.
    """

    what: Turn | Occur | Look
    time: float | None = None
    wait: float = 0.0
    since: bool = False


Script = tuple[Act, ...]


def check_script(arrangement: Arrangement, script: Script) -> None:
    """ValueError with everything in `script` that the arrangement does not have, or that is out of order."""
    positions = {control.name: control.positions for control in arrangement.controls}
    mishaps = {mishap.name for mishap in arrangement.mishaps}
    faults = []
    for act in script:
        match act.what:
            case Turn(control, position) if position not in positions.get(control, ()):
                faults.append(f'no control "{control}" with a position "{position}"')
            case Occur(mishap) if mishap not in mishaps:
                faults.append(f'no mishap "{mishap}"')
            case _:
                pass
    times = [act.time for act in script if act.time is not None]
    if times != sorted(times) or any(time < 0 for time in times) or any(act.wait < 0 for act in script):
        faults.append("times must not be negative and must not go back")
    if faults:
        raise ValueError("; ".join(faults))
