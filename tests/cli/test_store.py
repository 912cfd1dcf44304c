"""Findings kept in a folder are known again for the same job, and only for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from bandproof.deciding.cases import load_cases
from bandproof.deciding.one import Decider
from bandproof.deciding.store import Store
from bandproof.findings.finding import Verdict
from bandproof.findings.job import Job
from bandproof.findings.limits import Limits
from tests.cli.samples import ALL, lay

pytestmark = pytest.mark.slow


def test_what_was_decided_is_known_again(tmp_path: Path) -> None:
    (case,) = load_cases([lay(tmp_path, ALL)])
    store, decider = Store(tmp_path / "kept"), Decider(case)
    layout = case.layout()
    for claim in case.claims:
        job = Job(layout, claim, Limits())
        assert store.known(job) is None
        finding = decider.decide(claim)
        assert store.keep(job, finding)
        assert store.known(job) == finding
        assert store.known(replace(job, limits=Limits(seconds=1))) is None
    verdicts = {found.verdict for claim in case.claims if (found := store.known(Job(layout, claim, Limits())))}
    assert {Verdict.PROVEN, Verdict.REFUTED, Verdict.EMPTY} <= verdicts


def test_what_was_given_up_is_not_kept(tmp_path: Path) -> None:
    (case,) = load_cases([lay(tmp_path, ALL)])
    store, limits = Store(tmp_path / "kept"), Limits(seconds=1e-9)
    job = Job(case.layout(), case.claims[0], limits)
    late = Decider(case).decide(case.claims[0], limits)
    assert late.verdict is Verdict.UNDECIDED
    assert not store.keep(job, late)
    assert store.known(job) is None
    assert not store.folder.exists()


def test_a_spoilt_file_is_as_good_as_none(tmp_path: Path) -> None:
    (case,) = load_cases([lay(tmp_path, ALL)])
    store = Store(tmp_path / "kept")
    job = Job(case.layout(), case.claims[0], Limits())
    store.keep(job, Decider(case).decide(case.claims[0]))
    (file,) = store.folder.iterdir()
    other = Job(case.layout(), case.claims[1], Limits())
    file.rename(store.folder / f"{other.key}.json")
    assert store.known(other) is None
    (store.folder / f"{job.key}.json").write_text("{", encoding="utf-8")
    assert store.known(job) is None
