"""The standing questions: their answers, what is told of them, and what is left on disk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bandproof.api import prove
from bandproof.deciding.cases import Case
from bandproof.deciding.saving import Shelf, standing_files
from bandproof.deciding.standing import standing
from bandproof.engines.silence import Quiet, quietened
from bandproof.findings.standing import Answer, Question, Standing
from bandproof.machine.semantics import check_step
from bandproof.machine.story import Crossed, Moved, StepKind
from bandproof.model.conditions import Truth
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.views.standing_text import standing_lines
from tests.conformance import table_holding, table_hunting
from tests.conformance.case import load
from tests.conformance.small_parts import HOSE, ONE_SETTING, piece
from tests.conformance.table_flow import joined, starting, volumes


def answered(text: str, *, mishaps: str = "") -> tuple[Standing, Standing]:
    """The two answers for an arrangement with one claim, of its one start."""
    claim = Property("claim", "", "", Shape.NEVER, "start", mishaps=frozenset(mishaps.split()))
    time, rest = standing(Case(load(text), (claim,)))
    return time, rest


def governed(cut_in: str, cut_out: str) -> str:
    return table_hunting.governed(cut_in, cut_out)


def test_time_passes_where_settings_are_in_order() -> None:
    time, _ = answered(governed("4", "6"))
    assert (time.question, time.answer) == (Question.TIME_PASSES, Answer.YES)
    assert [name for name, _ in time.proofs] == ["time-passes.smt2"]


def test_a_part_that_can_hunt_is_named_with_its_moves_settings_and_the_edit() -> None:
    time, _ = answered(governed("6", "4"))
    assert time.answer is Answer.NO
    assert time.says == (
        "governor can hunt at one pressure: governor goes loading to unloaded when tank is at least 4 bar (governor.cut out), "
        "unloaded to loading when tank is below 6 bar (governor.cut in)"
    )
    assert time.hint == (
        "governor.cut_in 6 bar is above governor.cut_out 4 bar: let governor.cut_in be no higher than governor.cut_out"
    )


def test_overlapping_ranges_are_told_from_swapped_ones() -> None:
    time, _ = answered(governed("3..6", "4"))
    assert time.hint.startswith("governor.cut_in 3..6 bar is not clear of governor.cut_out 4 bar")


def test_air_that_nothing_stirs_comes_to_rest() -> None:
    _, rest = answered(governed("4", "6"))
    assert (rest.question, rest.answer, rest.start, rest.proofs) == (Question.COMES_TO_REST, Answer.YES, "", ())


def test_a_silent_part_is_proved_so() -> None:
    _, rest = answered(table_holding.line(table_holding.KEEPER, kinds=ONE_SETTING))
    assert rest.answer is Answer.YES
    ((name, text),) = rest.proofs
    assert name == "silent-keeper.smt2"
    assert "; property: silent-keeper" in text


@pytest.fixture(scope="module")
def holding() -> Standing:
    """A keeper beside a leak: it goes on for ever."""
    return answered(table_holding.line(table_holding.KEEPER, table_holding.LEAK, v="4", kinds=ONE_SETTING))[1]


def test_what_goes_on_for_ever_is_told_as_a_run_that_comes_round(holding: Standing) -> None:
    assert (holding.answer, holding.start, holding.says) == (Answer.NO, "start", "keeper goes on for ever")
    story, layout, loop = holding.story, holding.layout, holding.loop
    assert story is not None
    assert layout is not None
    assert loop is not None
    assert story.states[loop] == story.states[-1]
    around = [event for step in story.steps[loop:] for event in step.events]
    assert any(isinstance(event, Moved) for event in around)
    assert any(isinstance(event, Crossed) for event in around)
    for before, step, after in zip(story.states, story.steps, story.states[1:], strict=False):
        assert check_step(layout, before, after, Pace.HANDS_OFF, frozenset()) == step
        assert step.kind is not StepKind.ACT


def test_a_mishap_is_let_happen_only_where_none_is_needed_without() -> None:
    torn = table_holding.line(table_holding.KEEPER, table_holding.TEAR, v="4", kinds=ONE_SETTING + HOSE)
    _, calm = answered(torn)
    assert (calm.answer, calm.start) == (Answer.YES, "start")
    assert "endless-from-start.smt2" in [name for name, _ in calm.proofs]
    _, rest = answered(torn, mishaps="tear")
    assert rest.answer is Answer.NO
    assert rest.story is not None
    assert rest.story.steps[rest.loop or 0 :]
    assert any(step.kind is StepKind.ACT for step in rest.story.steps[: rest.loop])


def test_every_move_of_a_round_is_due_whatever_number_its_setting_is() -> None:
    """Between 3 and 5 bar both moves may be made; bands do not tell that the setting is one number, so neither counts."""
    keeper = piece("keeper", "keeper", ports={"a": "v"}, settings={"limit": "3..5 bar"})
    _, rest = answered(table_holding.line(keeper, joined("vent v"), v="4", kinds=ONE_SETTING))
    assert rest.answer is Answer.NO
    assert rest.story is not None
    around = [event for step in rest.story.steps[rest.loop or 0 :] for event in step.events]
    assert len({event.threshold for event in around if isinstance(event, Crossed)}) == 2


def test_answers_are_one_line_each(holding: Standing) -> None:
    time = Standing(Question.TIME_PASSES, Answer.YES)
    other = Standing(holding.question, Answer.YES, "one"), Standing(holding.question, Answer.YES, "two")
    assert standing_lines([time, *other, holding]) == [
        "does time always pass? yes",
        f'{Question.COMES_TO_REST} yes from starts "one", "two"',
        f'{Question.COMES_TO_REST} no from start "start"; keeper goes on for ever',
    ]


def test_files_are_written_listed_and_removed_by_the_next_run(tmp_path: Path, holding: Standing) -> None:
    case = Case(load(volumes(v="line") + starting()), ())
    shelf = Shelf(tmp_path, case)
    time = Standing(Question.TIME_PASSES, Answer.YES, proofs=(("time-passes.smt2", "; text\n"),))
    shelf.stand((time, holding))
    document = json.loads((tmp_path / "results.json").read_text())
    first, second = document["standing"]
    assert (first["question"], first["answer"], first["files"]) == (Question.TIME_PASSES, "yes", ["time-passes.smt2"])
    assert (second["start"], second["loop"]) == ("start", holding.loop)
    assert set(second["files"]) == set(standing_files(holding)) >= {"endless-from-start.story.json"}
    assert {path.name for path in tmp_path.iterdir()} == {"results.json", *first["files"], *second["files"]}
    Shelf(tmp_path, case).clear()
    assert list(tmp_path.iterdir()) == []


def test_a_results_file_cannot_have_other_files_removed(tmp_path: Path) -> None:
    outside = tmp_path / "kept.smt2"
    outside.write_text("")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "results.json").write_text(json.dumps({"results": [], "standing": [{"files": ["../kept.smt2"]}]}))
    Shelf(folder, Case(load(governed("4", "6")), ())).clear()
    assert outside.exists()


def test_a_search_that_is_not_finished_is_said_once_and_its_part_not_taken_for_silent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = table_holding.line(table_holding.KEEPER, kinds=ONE_SETTING)
    case = Case(load(text), ())
    assert not quietened(case.layout()).undecided
    monkeypatch.setattr("bandproof.engines.silence.LIMIT", 0)
    quiet = quietened(case.layout())
    assert (quiet.layout.silent, quiet.undecided, quiet.silences) == (frozenset(), ("keeper",), ())
    _, said, rest = standing(case, quiet)
    assert (said.answer, said.start) == (Answer.UNDECIDED, "")
    assert "whether keeper falls silent was not finished" in said.says
    assert rest.answer is Answer.YES  # from the start there is no endless run all the same


def test_what_falls_silent_is_searched_once_and_told_by_workers_as_by_this_process() -> None:
    text = table_holding.line(table_holding.KEEPER, kinds=ONE_SETTING)
    case = Case(load(text), (Property("claim", "", "", Shape.NEVER, "start", Truth(value=False)),))
    quiet = quietened(case.layout())
    assert quiet.silences
    assert quietened(case.layout()) is quiet
    for processes in (0, 1):
        heard: dict[int, Quiet] = {}
        prove([case], processes=processes, silent=heard.__setitem__)
        assert heard == {0: quiet}


def test_where_no_steps_are_left_nothing_is_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bandproof.engines.endless.LIMIT", 0)
    _, rest = answered(table_holding.line(table_holding.KEEPER, table_holding.LEAK, v="4", kinds=ONE_SETTING))
    assert (rest.answer, rest.story) == (Answer.UNDECIDED, None)
