"""Why a verdict is what it is, in sentences: the one place where reasons become words."""

from __future__ import annotations

from collections.abc import Iterator

from bandproof.findings.finding import Finding, Verdict, Waiting
from bandproof.findings.reasons import (
    Assumption,
    ConditionNever,
    ConditionUnshown,
    Interrupted,
    Lacking,
    Lemmas,
    NoMoreMemory,
    NoPressures,
    NoRun,
    NoVehicle,
    OutOfMemory,
    OutOfTime,
    PerhapsShorter,
    Reason,
    ShorterUnreal,
    StartUnreachable,
    StartUnshown,
    Unread,
    Unreal,
    WorkerDied,
)
from bandproof.properties.claim import Lack

_UNREAL = {
    Unreal.NO_SIZES: "no sizes were found for which all pressures are real, nor a proof that there are none",
    Unreal.NO_ROUND: "none were found with which it goes round for ever, nor a proof that there are none",
    Unreal.NOT_CONFIRMED: "a contradiction in its air accounts was not confirmed",
    Unreal.GAVE_UP: "the solver gave up on its air accounts",
}


def reason_text(finding: Finding) -> str:
    """Everything there is to say about a finding's verdict, in one line; "" when the verdict says it all."""
    return "; ".join(_sentences(finding))


def _sentences(finding: Finding) -> Iterator[str]:
    yield from map(reason_words, finding.reasons)
    if finding.vehicle is not None and finding.vehicle.assumed:
        yield f"the pressures hold for volumes assumed for {', '.join(finding.vehicle.assumed)}"
    if finding.waiting is not None:
        yield _waiting(finding.waiting)
    yield from map(_assumption, finding.assumptions)


def reason_words(reason: Reason) -> str:
    """One reason as a sentence without its full stop."""
    match reason:
        case StartUnreachable(start, None):
            return f'no state is such a start as "{start}" asks for'
        case StartUnreachable(start, origin):
            return f'its start "{start}" cannot be reached from "{origin}"'
        case StartUnshown(start, why):
            return f'start "{start}" is not shown reachable: {reason_words(why)}'
        case Lacking(lacks):
            return "; ".join(map(_lack, lacks))
        case NoPressures():
            return f"a run was found, but no pressures for it: {unreal_words(reason)}"
        case OutOfTime() | OutOfMemory() | NoMoreMemory() | WorkerDied() | Interrupted():
            return _gave_up(reason)
        case (
            Lemmas()
            | NoRun()
            | ConditionNever()
            | ConditionUnshown()
            | NoVehicle()
            | Unread()
            | PerhapsShorter()
            | ShorterUnreal()
        ):
            return _decided(reason)


def _gave_up(reason: OutOfTime | OutOfMemory | NoMoreMemory | WorkerDied | Interrupted) -> str:
    match reason:
        case OutOfTime(seconds):
            return f"not decided within the time limit of {seconds:g} s"
        case OutOfMemory(megabytes):
            return f"not decided within the memory limit of {megabytes} MB"
        case NoMoreMemory():
            return "not decided: the system has no more memory"
        case WorkerDied(signal, status):
            how = f"exit code {status}" if signal is None else f"signal {signal}"
            return f"not decided: the worker process ended by itself ({how})"
        case Interrupted():
            return "not decided: the run was interrupted"


def _decided(
    reason: Lemmas | NoRun | ConditionNever | ConditionUnshown | NoVehicle | Unread | PerhapsShorter | ShorterUnreal,
) -> str:
    match reason:
        case Lemmas(count):
            return f"holds because air is conserved: {count} kinds of run without it are excluded"
        case NoRun():
            return "no run from the start gets there"
        case ConditionNever():
            return "its condition can never happen"
        case NoVehicle(tried, steps):
            return (
                f"the bands have a run of {steps} steps, but none of {tried:,} simulated vehicles does it or the like"
            )
        case Unread(why):
            return f"the run of the vehicle is not told step by step ({why}); the story is the one that led to it"
        case ConditionUnshown(why):
            return f"it is not shown that its condition can happen: {unreal_words(why)}"
        case PerhapsShorter(steps, least):
            return f"the story has {steps} steps; there may be a shorter one, of at least {least}"
        case ShorterUnreal(steps):
            return f"a run {steps} steps shorter was found, but no pressures for it"


def unreal_words(reason: NoPressures) -> str:
    """Why no pressures were found for a run, as a sentence about that run."""
    if reason.why is Unreal.LITRES:
        names = ", ".join(reason.volumes)
        return f"it is not real for usual litres of {names}, and might be for others: declare them"
    if reason.why is not Unreal.AIR:
        return _UNREAL[reason.why]
    named = (("of", reason.volumes), ("with", reason.parts))
    about = ", ".join(f"{word} {', '.join(names)}" for word, names in named if names)
    return f"no real pressures {about or 'at all'} fit it: its air does not add up"


def _waiting(waiting: Waiting) -> str:
    if waiting.gave_up is not None:
        return "not decided in the time left whether it holds when the driver lets the air settle"
    if waiting.same_story:
        return f"also {waiting.verdict} when the driver lets the air settle before each action"
    if waiting.verdict is Verdict.REFUTED:
        return "also refuted, by a story of his own, when the driver lets the air settle before each action"
    return f"{waiting.verdict} when the driver lets the air settle before each action"


def _assumption(assumption: Assumption) -> str:
    return f'start "{assumption.start}" is assumed, not shown reachable'


def _lack(lack: Lack) -> str:
    near = f' (it has "{lack.near}")' if lack.near else ""
    return f'the arrangement has no {lack.sort} "{lack.name}"{near}'
