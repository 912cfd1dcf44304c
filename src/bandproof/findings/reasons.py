"""Why a finding is what it is: a code for every reason, with what it speaks of as typed values.

Code compares these values. The sentences people read are made from them in `bandproof.views.reasons_text`, and nowhere
else. Every reason carries its code as a field, so that it is told from the others once it has been written down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from bandproof.properties.claim import Lack


class Code(StrEnum):
    """The reasons there are."""

    OUT_OF_TIME = "out-of-time"
    OUT_OF_MEMORY = "out-of-memory"
    NO_MORE_MEMORY = "no-more-memory"
    WORKER_DIED = "worker-died"
    INTERRUPTED = "interrupted"
    LACKING = "lacking"
    NO_PRESSURES = "no-pressures"
    LEMMAS = "lemmas"
    NO_RUN = "no-run"
    CONDITION_NEVER = "condition-never"
    CONDITION_UNSHOWN = "condition-unshown"
    NO_VEHICLE = "no-vehicle"
    UNREAD = "unread"
    PERHAPS_SHORTER = "perhaps-shorter"
    SHORTER_UNREAL = "shorter-unreal"
    START_UNREACHABLE = "start-unreachable"
    START_UNSHOWN = "start-unshown"
    START_ASSUMED = "start-assumed"


# ------------------------------------------------------------------------------------------------------ not decided


@dataclass(frozen=True, slots=True)
class OutOfTime:
    """The time limit of `seconds` was reached."""

    seconds: float
    code: Literal[Code.OUT_OF_TIME] = field(default=Code.OUT_OF_TIME, kw_only=True)


@dataclass(frozen=True, slots=True)
class OutOfMemory:
    """The memory limit of `megabytes` was reached."""

    megabytes: int
    code: Literal[Code.OUT_OF_MEMORY] = field(default=Code.OUT_OF_MEMORY, kw_only=True)


@dataclass(frozen=True, slots=True)
class NoMoreMemory:
    """The system gave no more memory."""

    code: Literal[Code.NO_MORE_MEMORY] = field(default=Code.NO_MORE_MEMORY, kw_only=True)


@dataclass(frozen=True, slots=True)
class WorkerDied:
    """The worker process ended by itself: by a signal, or with an exit status; both None where neither is known."""

    signal: int | None = None
    status: int | None = None
    code: Literal[Code.WORKER_DIED] = field(default=Code.WORKER_DIED, kw_only=True)


@dataclass(frozen=True, slots=True)
class Interrupted:
    """The run was ended from the keyboard before this claim was decided."""

    code: Literal[Code.INTERRUPTED] = field(default=Code.INTERRUPTED, kw_only=True)


@dataclass(frozen=True, slots=True)
class Lacking:
    """The arrangement does not have what the claim speaks of."""

    lacks: tuple[Lack, ...]
    code: Literal[Code.LACKING] = field(default=Code.LACKING, kw_only=True)


class Unreal(StrEnum):
    """Why no pressures were found for a run. Only AIR shows that there are none."""

    AIR = "air"
    NO_SIZES = "no-sizes"
    NO_ROUND = "no-round"
    NOT_CONFIRMED = "not-confirmed"
    GAVE_UP = "gave-up"
    LITRES = "litres"


@dataclass(frozen=True, slots=True)
class NoPressures:
    """A run of the band machine was found, but no real pressures for it.

    For AIR, `volumes` and `parts` are those whose accounts do not add up; for LITRES, `volumes` are those for whose usual
    litres none fit, and that declare none.
    """

    why: Unreal
    volumes: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    code: Literal[Code.NO_PRESSURES] = field(default=Code.NO_PRESSURES, kw_only=True)


# ---------------------------------------------------------------------------------------------------------- decided


@dataclass(frozen=True, slots=True)
class Lemmas:
    """The proof needs that air is conserved: `count` patterns of runs are excluded for it."""

    count: int
    code: Literal[Code.LEMMAS] = field(default=Code.LEMMAS, kw_only=True)


@dataclass(frozen=True, slots=True)
class NoRun:
    """No run gets from the start to what should be reachable."""

    code: Literal[Code.NO_RUN] = field(default=Code.NO_RUN, kw_only=True)


@dataclass(frozen=True, slots=True)
class ConditionNever:
    """The condition of a conditional claim holds in no reachable state."""

    code: Literal[Code.CONDITION_NEVER] = field(default=Code.CONDITION_NEVER, kw_only=True)


@dataclass(frozen=True, slots=True)
class ConditionUnshown:
    """The condition of a conditional claim was not shown to hold in a state of any real run, because of `why`."""

    why: NoPressures
    code: Literal[Code.CONDITION_UNSHOWN] = field(default=Code.CONDITION_UNSHOWN, kw_only=True)


@dataclass(frozen=True, slots=True)
class NoVehicle:
    """A run of the bands of so many `steps` decides the claim, but none of `tried` simulated vehicles does it."""

    tried: int
    steps: int = 0
    code: Literal[Code.NO_VEHICLE] = field(default=Code.NO_VEHICLE, kw_only=True)


@dataclass(frozen=True, slots=True)
class Unread:
    """The run of the witness is not told in bands, because of `why`; the story is the one that led to it."""

    why: str
    code: Literal[Code.UNREAD] = field(default=Code.UNREAD, kw_only=True)


@dataclass(frozen=True, slots=True)
class PerhapsShorter:
    """The story has `steps` steps; there may be a shorter one, of at least `least`."""

    steps: int
    least: int
    code: Literal[Code.PERHAPS_SHORTER] = field(default=Code.PERHAPS_SHORTER, kw_only=True)


@dataclass(frozen=True, slots=True)
class ShorterUnreal:
    """A run `steps` steps shorter than the story was found, but no pressures for it."""

    steps: int
    code: Literal[Code.SHORTER_UNREAL] = field(default=Code.SHORTER_UNREAL, kw_only=True)


# ----------------------------------------------------------------------------------------------------------- starts


@dataclass(frozen=True, slots=True)
class StartUnreachable:
    """No state of `start` can be reached from the start called `origin`; without one, no state is such a start."""

    start: str
    origin: str | None
    code: Literal[Code.START_UNREACHABLE] = field(default=Code.START_UNREACHABLE, kw_only=True)


@dataclass(frozen=True, slots=True)
class StartUnshown:
    """Whether a run comes to `start` is not known, because of `why`."""

    start: str
    why: NoPressures
    code: Literal[Code.START_UNSHOWN] = field(default=Code.START_UNSHOWN, kw_only=True)


@dataclass(frozen=True, slots=True)
class StartAssumed:
    """`start` is declared to be assumed, and was not shown reachable."""

    start: str
    code: Literal[Code.START_ASSUMED] = field(default=Code.START_ASSUMED, kw_only=True)


#: Reasons to stop before there is an answer: another try may have one.
GaveUp = OutOfTime | OutOfMemory | NoMoreMemory | WorkerDied | Interrupted

#: What is taken for granted about where a start comes from.
Assumption = StartAssumed

#: Everything that a verdict can be given for.
Reason = (
    GaveUp
    | Lacking
    | NoPressures
    | Lemmas
    | NoRun
    | ConditionNever
    | ConditionUnshown
    | NoVehicle
    | Unread
    | PerhapsShorter
    | ShorterUnreal
    | StartUnreachable
    | StartUnshown
)
