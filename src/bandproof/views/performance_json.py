"""What came of a script as data."""

from __future__ import annotations

from typing import Any

from bandproof.findings.performance import Performance, VehicleRun
from bandproof.properties.scripts import Step
from bandproof.views.performance_text import conclusion
from bandproof.views.phrases import show_condition
from bandproof.views.reasons_text import reason_text


def performance_json(performance: Performance) -> dict[str, Any]:
    """The document of `run --json`: times in seconds, pressures in pascals gauge."""
    script, arrangement = performance.procedure.script, performance.arrangement
    steps = performance.procedure.steps
    return {
        "format": "bandproof/1",
        "script": {"name": script.name, "says": script.says, "basis": script.basis, "file": script.file},
        "arrangement": {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256},
        "start": performance.procedure.start,
        "ends": script.ends,
        "seed": performance.seed,
        "drawn": len(performance.drawn),
        "stands": performance.stands,
        "conclusion": conclusion(performance),
        "steps": [_step(performance, number, step) for number, step in enumerate(steps)],
        "volumes": [volume.name for volume in arrangement.volumes],
        "nominal": _run(performance.nominal, course=True),
        "vehicles": [_run(run, course=False) for run in performance.drawn],
    }


def _step(performance: Performance, number: int, step: Step) -> dict[str, Any]:
    found: dict[str, Any] = {"says": step.says}
    if step.turns:
        found["turn"] = dict(step.turns)
    if step.strokes:
        found |= {"strokes": [list(stroke) for stroke in step.strokes], "times": step.times, "every": step.every}
    if step.mishaps:
        found["happens"] = list(step.mishaps)
    if step.expect is None:
        return found
    found["expect"] = show_condition(step.expect, performance.arrangement.unit)
    found |= {key: value for key in ("within", "holds_for") if (value := getattr(step, key)) is not None}
    found["broken"] = performance.broken(number)
    finding = performance.bands.get(number)
    if finding is not None:
        found["bands"] = {"verdict": str(finding.verdict), "reason": reason_text(finding)}
    return found


def _run(run: VehicleRun, *, course: bool) -> dict[str, Any]:
    seen = {
        str(number + 1): {"looked": one.looked, "holds": one.holds, "since": one.since, "lost": one.lost}
        for number, one in run.seen.items()
    }
    found: dict[str, Any] = {
        "numbers": {table: dict(named) for table, named in run.numbers.items()},
        "came": list(run.came),
        "seen": seen,
        "hunted": list(run.hunted),
    }
    if course:
        found["times"] = list(run.course.times)
        found["pressures"] = [list(row) for row in run.course.pressures]
    return found
