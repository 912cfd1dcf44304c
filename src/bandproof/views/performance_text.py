"""What came of a script as text for people, 80 columns: when each step came, how each expectation stood, who broke it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from bandproof.findings.finding import Finding
from bandproof.findings.performance import Performance, Seen, VehicleRun
from bandproof.findings.verdict import Verdict
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below, Condition
from bandproof.model.walker import comparisons
from bandproof.properties.scripts import Step
from bandproof.simulation.script import Turn
from bandproof.text.units import PRESSURE_UNITS
from bandproof.views.phrases import deed_of, enumerated, plain, show_condition
from bandproof.views.reasons_text import reason_text
from bandproof.views.spoken import spoken_time

#: Columns of the page, and of the number and the time in front of a step.
WIDTH = 80
_BEFORE = 16

#: What bands say of an expectation, by the verdict of the claim it is in them.
_IN_BANDS = {
    Verdict.PROVEN: "proven for every vehicle that comes to rest",
    Verdict.EMPTY: "no vehicle comes to rest after this step",
}


def performance_text(performance: Performance) -> str:
    """The whole text."""
    procedure, arrangement = performance.procedure, performance.arrangement
    script = procedure.script
    start = arrangement.start(procedure.start)
    rows = [f"{script.name}: {arrangement.name}", *wrap(script.says, WIDTH), ""]
    rows += wrap(f"From: {start.says or plain(start.name)}. Basis: {script.basis}.", WIDTH)
    if script.caution:
        rows += wrap(f"Caution: {script.caution}", WIDTH)
    drawn = len(performance.drawn)
    others = (
        f", and {drawn} drawn at random over all that the file leaves open (seed {performance.seed})"
        if drawn
        else " alone"
    )
    rows += wrap(f"The nominal vehicle{others}: {spoken_time(script.ends)} of air.", WIDTH)
    rows.append("")
    for number, step in enumerate(procedure.steps):
        rows += _step_rows(performance, number, step)
    rows += ["", *wrap(conclusion(performance), WIDTH)]
    return "\n".join(row.rstrip() for row in rows) + "\n"


def conclusion(performance: Performance) -> str:
    """One sentence about the whole script."""
    asked = [number for number, step in enumerate(performance.procedure.steps) if step.expect is not None]
    if not asked:
        return "Nothing was expected."
    failed = [n + 1 for n in asked if any(not run.seen[n].holds for run in performance.runs)]
    if failed:
        return f"FAILS: what is expected at step {enumerated(map(str, failed))} is not seen in every vehicle."
    proven = sum(finding.verdict is Verdict.PROVEN for finding in performance.bands.values())
    beyond = f"; {proven} of them proven for every vehicle" if proven else ""
    return f"HOLDS in {_count(len(performance.runs), 'vehicle')}: {_count(len(asked), 'expectation')}{beyond}."


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"all {number} {noun}s"


def step_words(step: Step, arrangement: Arrangement) -> str:
    """What is done or expected at a step."""
    if step.expect is not None:
        span = ""
        if step.within is not None:
            span = f" within {spoken_time(step.within)}"
        elif step.holds_for is not None:
            span = f" for {spoken_time(step.holds_for)}"
        return f"expected{span}: {show_condition(step.expect, arrangement.unit)}"
    says = {mishap.name: mishap.says or plain(mishap.name) for mishap in arrangement.mishaps}
    hands = [f"the driver {deed_of(Turn(control, position))}" for control, position in step.turns]
    if step.strokes:
        strokes = [deed_of(Turn(control, position)) for control, position in step.strokes]
        hands = [f"the driver {enumerated(strokes)}, {step.times} times, every {spoken_time(step.every)}"]
    return "; ".join([*hands, *(says[name] for name in step.mishaps)])


def _step_rows(performance: Performance, number: int, step: Step) -> Iterator[str]:
    came = [run.came[number] for run in performance.drawn]
    head = f"{number + 1:>2}  {_moment(performance.nominal.came[number])}"
    words = [step_words(step, performance.arrangement)]
    if step.says and step.says.rstrip(".") != words[0]:
        words.insert(0, step.says)
    told = [row for text in words for row in wrap(text, WIDTH - _BEFORE)]
    if step.expect is not None:
        stood = _how_it_stood(performance, number, step, step.expect)
        told += [row for text in stood for row in wrap(text, WIDTH - _BEFORE, subsequent_indent="  ")]
    if any(time is not None for time in came) and _spread(came) != _moment(performance.nominal.came[number]):
        told.append(f"at {_spread(came)} in those drawn")
    yield f"{head:<{_BEFORE}}{told[0]}"
    for row in told[1:]:
        yield " " * _BEFORE + row


def _how_it_stood(performance: Performance, number: int, step: Step, expect: Condition) -> Iterator[str]:
    drawn = [run.seen[number] for run in performance.drawn]
    held = sum(seen.holds for seen in drawn)
    nominal = performance.nominal.seen[number]
    good = nominal.holds and held == len(drawn)
    others = f" and in {held} of {len(drawn)} drawn" if drawn else ""
    if good:
        yield f"holds in the nominal vehicle{others}"
    else:
        yield f"FAILS: {'holds' if nominal.holds else 'does not hold'} in the nominal vehicle{', and holds' + others.removeprefix(' and')}"
    late = [seen.since - seen.looked for seen in drawn if seen.looked is not None and seen.since is not None]
    if step.within is not None and late:
        yield f"came true after {_spread(late)}"
    shown = performance.counterexample(number)
    if shown is not None:
        which = (
            "the nominal vehicle" if shown is performance.nominal else f"vehicle {performance.drawn.index(shown) + 1}"
        )
        yield f"{which}: {_broken(shown, shown.seen[number], performance.arrangement, expect)}"
    finding = performance.bands.get(number)
    if finding is not None:
        yield f"in bands: {_in_bands(finding)}"


def _in_bands(finding: Finding) -> str:
    if finding.verdict is Verdict.REFUTED:
        return f"not so if the acts come at other times, see {finding.property}.txt"
    return _IN_BANDS.get(finding.verdict) or f"no answer: {reason_text(finding)}"


def _broken(run: VehicleRun, seen: Seen, arrangement: Arrangement, expect: Condition) -> str:
    """What a vehicle shows instead."""
    if seen.looked is None:
        return f"it did not come so far by the end of its run, at {spoken_time(run.course.times[-1])}"
    at = seen.lost if seen.lost is not None and seen.lost > seen.looked else seen.looked
    names = [v.name for v in arrangement.volumes]
    asked = dict.fromkeys(a.volume for a in comparisons(expect) if isinstance(a, Below | AtLeast))
    scale = float(PRESSURE_UNITS[arrangement.unit])
    shown = [f"{plain(name)} {_at(run, names.index(name), at) / scale:.1f} {arrangement.unit}" for name in asked]
    late = (
        f"; true only {spoken_time(seen.since - seen.looked)} later" if seen.since and seen.since > seen.looked else ""
    )
    return f"at {spoken_time(at)} {', '.join(shown) if shown else 'it is not so'}{late}"


def _at(run: VehicleRun, volume: int, time: float) -> float:
    """The pressure of a volume at a time, by the nearest point of the course that is kept."""
    times = run.course.times
    nearest = min(range(len(times)), key=lambda k: abs(times[k] - time))
    return run.course.pressures[volume][nearest]


def _moment(time: float | None) -> str:
    return "not reached" if time is None else spoken_time(time)


def _spread(times: Sequence[float | None]) -> str:
    """From the earliest to the latest; "-" where there are none."""
    known = [time for time in times if time is not None]
    if not known:
        return "-"
    low, high = spoken_time(min(known)), spoken_time(max(known))
    return low if low == high else f"{low} to {high}"
