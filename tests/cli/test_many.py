"""Worker processes: the same answers as without them, limits that hold against anything, and a clean end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from bandproof.api import prove
from bandproof.deciding.cases import Case, load_cases
from bandproof.deciding.many import processors
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.limits import Limits
from bandproof.model.conditions import Below
from bandproof.text.errors import CrossCheckError
from bandproof.views.reasons_text import reason_text
from tests.cli.samples import ALL, HEAD, PROVEN, lay

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Trap:
    """Does something to whichever process unpickles it: stands where text should be and goes off in the worker."""

    deed: Callable[..., Any]
    given: tuple[Any, ...]

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[Any, ...]]:
        return self.deed, self.given


def gorge(megabytes: int) -> str:
    """Take memory and keep it, then wait."""
    taken = bytearray(b"x" * (megabytes * 1_000_000))
    time.sleep(60)
    return str(len(taken))


def linger(told: str, seconds: float) -> str:
    """Write down which process this is, then wait."""
    Path(told).write_text(str(os.getpid()), encoding="utf-8")
    time.sleep(seconds)
    return told


def trapped(case: Case, deed: Callable[..., Any], *given: Any) -> Case:
    """The case with a trap in its arrangement."""
    return replace(case, arrangement=replace(case.arrangement, caution=Trap(deed, given)))  # type: ignore[arg-type]


def sample(folder: Path, pack: str = ALL) -> Case:
    """The small sample."""
    folder.mkdir(exist_ok=True)
    return load_cases([lay(folder, pack)])[0]


def ends(group: int) -> bool:
    """Wait until no process of a group is left, but not for ever; what is left then is killed."""
    for _ in range(1200):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    os.killpg(group, signal.SIGKILL)
    return False


def timeless(findings: tuple[Finding, ...]) -> list[Finding]:
    """The findings without what may differ from run to run."""
    return [replace(finding, seconds=0.0) for finding in findings]


@pytest.mark.thorough
def test_workers_find_what_one_process_finds_whatever_their_number(tmp_path: Path) -> None:
    cases = [sample(tmp_path / "one"), sample(tmp_path / "two", HEAD + PROVEN)]
    alone = [timeless(found) for found in prove(cases)]
    for processes in (1, 3):
        assert [timeless(found) for found in prove(cases, processes=processes)] == alone


def test_every_finding_is_heard_of_as_it_comes(tmp_path: Path) -> None:
    heard: list[tuple[int, int]] = []
    prove([sample(tmp_path)], processes=2, observer=lambda case, claim, _: heard.append((case, claim)))
    assert sorted(heard) == [(0, claim) for claim in range(5)]


@pytest.mark.thorough
def test_a_worker_that_hangs_is_ended_and_the_others_go_on(tmp_path: Path) -> None:
    cases = [trapped(sample(tmp_path / "bad", HEAD + PROVEN), time.sleep, 60), sample(tmp_path / "good", HEAD + PROVEN)]
    (bad,), (good,) = prove(cases, limits=Limits(seconds=5), processes=2)
    assert (bad.verdict, reason_text(bad)) == (Verdict.UNDECIDED, "not decided within the time limit of 5 s")
    assert good.verdict is Verdict.PROVEN


def test_a_worker_that_dies_costs_its_claims_and_no_others(tmp_path: Path) -> None:
    cases = [trapped(sample(tmp_path / "bad", HEAD + PROVEN), os._exit, 7), sample(tmp_path / "good", HEAD + PROVEN)]
    (bad,), (good,) = prove(cases, processes=1)
    assert bad.verdict is Verdict.UNDECIDED
    assert reason_text(bad) == "not decided: the worker process ended by itself (exit code 7)"
    assert good.verdict is Verdict.PROVEN


def test_a_worker_that_takes_too_much_memory_is_ended(tmp_path: Path) -> None:
    case = trapped(sample(tmp_path, HEAD + PROVEN), gorge, 900)
    ((finding,),) = prove([case], limits=Limits(megabytes=600), processes=1)
    assert (finding.verdict, reason_text(finding)) == (
        Verdict.UNDECIDED,
        "not decided within the memory limit of 600 MB",
    )


def test_a_claim_may_take_what_the_limits_allow(tmp_path: Path) -> None:
    ((finding,),) = prove([sample(tmp_path, HEAD + PROVEN)], limits=Limits(seconds=60, megabytes=1000), processes=1)
    assert finding.verdict is Verdict.PROVEN


def test_a_defect_in_a_worker_stops_the_run(tmp_path: Path) -> None:
    case = sample(tmp_path, HEAD + PROVEN)
    wrong = replace(case.properties[0], when=Below("nowhere", case.arrangement.highest, case.arrangement.highest))
    with pytest.raises(CrossCheckError, match="nowhere"):
        prove([replace(case, claims=(wrong,))], processes=1)


def test_at_least_one_processor_is_counted() -> None:
    assert 1 <= processors() <= (os.cpu_count() or 1)


# ---------------------------------------------------------------------------------------------------------- Ctrl-C

#: The command line on two cases; the worker that is given the second says so in a file and stays at it.
_SCRIPT = """
import sys
import bandproof.cli
from bandproof.deciding.cases import load_cases
from bandproof.views.reasons_text import reason_text
from tests.cli.test_many import linger, trapped

if __name__ == "__main__":
    def cases(*given):
        good, bad = load_cases(*given)
        return good, trapped(bad, linger, "worker", SECONDS)

    bandproof.cli.load_cases = cases
    sys.argv = ["bandproof", "prove", "models/hand_valve.toml", "models/hand_valve.toml", "--workers", "2", "--json"]
    bandproof.cli.main()
"""


def at_work(folder: Path, seconds: float) -> subprocess.Popen[str]:
    """The script in a group of its own, its first result on disk and a worker at the second for so many seconds.

    What it prints goes to files, so that no pipe ends with it.
    """
    lay(folder, HEAD + PROVEN)
    script = folder / "script.py"
    script.write_text(_SCRIPT.replace("SECONDS", str(seconds)), encoding="utf-8")
    with (folder / "printed").open("w") as printed, (folder / "said").open("w") as said:
        running = subprocess.Popen(
            [sys.executable, str(script)],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "src")])},
            stdout=printed,
            stderr=said,
            text=True,
            start_new_session=True,
        )
    awaited = [folder / "out" / "hand_valve" / "results.json", folder / "worker"]
    while running.poll() is None and not all(path.exists() for path in awaited):
        time.sleep(0.05)
    assert running.poll() is None, (folder / "said").read_text(encoding="utf-8")
    return running


@pytest.mark.thorough
def test_ctrl_c_keeps_finished_results_and_leaves_no_process_behind(tmp_path: Path) -> None:
    running = at_work(tmp_path, 600)
    try:
        os.killpg(running.pid, signal.SIGINT)
        running.wait(timeout=60)
    finally:
        running.kill()
    said = (tmp_path / "said").read_text(encoding="utf-8")
    assert running.returncode == 130, said
    printed = json.loads((tmp_path / "printed").read_text(encoding="utf-8"))
    good, bad = (one["results"] for one in printed["arrangements"])
    assert [one["verdict"] for one in good] == ["proven"]
    assert [one["reason"] for one in bad] == ["not decided: the run was interrupted"]
    results = tmp_path / "out" / "hand_valve" / "results.json"
    assert json.loads(results.read_text(encoding="utf-8"))["results"] == [
        {**good[0], "certificate": "back-vents.smt2"},
    ]
    assert "Traceback" not in said
    assert ends(running.pid)


@pytest.mark.thorough
def test_a_worker_does_not_outlive_a_parent_that_is_killed(tmp_path: Path) -> None:
    """The worker is at its case while the parent is killed, and ends when that is done instead of waiting for more."""
    running = at_work(tmp_path, 3)
    running.kill()
    running.wait()
    assert ends(running.pid)
    assert int((tmp_path / "worker").read_text(encoding="utf-8")) != running.pid
