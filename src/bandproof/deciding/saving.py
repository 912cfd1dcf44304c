"""What a run leaves on disk: one folder for each arrangement, its findings rendered first and then written whole.

The folder mirrors the last run: what an earlier run wrote there, and nothing else, is removed before the first new
file. A picture that cannot be drawn costs the picture and not the finding.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from bandproof.deciding.cases import Case
from bandproof.deciding.writing import write_whole
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.performance import Performance
from bandproof.findings.standing import Standing
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import NotApplicable, Property
from bandproof.views.connections import connections_dot
from bandproof.views.graphviz import DrawingError, render_svg
from bandproof.views.json_files import claim_json, prove_json, story_json
from bandproof.views.machines import machine_dot, machines_svg
from bandproof.views.named import named
from bandproof.views.performance_json import performance_json
from bandproof.views.performance_plot import performance_svg
from bandproof.views.performance_text import performance_text
from bandproof.views.phrases import ending, from_then_on, plain
from bandproof.views.piping_plan import piping_svg
from bandproof.views.pressures_plot import pressures_svg
from bandproof.views.run_plot import run_svg
from bandproof.views.run_text import run_text, vehicle_text, what_fails
from bandproof.views.story_graph import story_dot
from bandproof.views.story_text import story_text

#: The file that lists the findings.
RESULTS = "results.json"

#: What a finding's files are called after its property's id.
CERTIFICATE, STORY, TEXT, GRAPH, PRESSURES = ".smt2", ".story.json", ".txt", ".svg", ".pressures.svg"
#: What stands before that in files of a quick hand's story, where a patient driver has one of his own.
QUICK = ".quick"

#: The files of standing questions.
_STANDING = re.compile(r"[A-Za-z0-9_-]+(?:\.smt2|\.story\.json|\.txt)")

_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def folders(out: Path, files: Sequence[str]) -> tuple[Path, ...]:
    """A folder in `out` for each arrangement file, called after its stem; a stem met again gets a number."""
    taken: dict[str, int] = {}
    found = []
    for file in files:
        stem = Path(file).stem or "arrangement"
        taken[stem] = taken.get(stem, 0) + 1
        found.append(out / (stem if taken[stem] == 1 else f"{stem}-{taken[stem]}"))
    return tuple(found)


class Shelf:
    """The folder of one arrangement's findings. `add` may be called as they come, in any order."""

    def __init__(self, folder: Path, case: Case) -> None:
        self.folder = folder
        self.case = case
        self.findings: dict[int, Finding] = {}
        self.undrawn: list[str] = []
        self._files: dict[str, tuple[str, ...]] = {}
        self.standing: tuple[Standing, ...] = ()

    def blocked(self) -> Path | None:
        """What stands where the folder or the list of findings has to go and cannot be written over, if anything does."""
        if self.folder.exists() and not self.folder.is_dir():
            return self.folder
        return self.folder / RESULTS if (self.folder / RESULTS).is_dir() else None

    def clear(self) -> None:
        """Remove what an earlier run wrote."""
        with suppress(OSError, ValueError, TypeError, KeyError):
            earlier = json.loads((self.folder / RESULTS).read_text(encoding="utf-8"))["results"]
            for name in (result["property"] for result in earlier):
                if _ID.fullmatch(name):
                    for ending_ in (CERTIFICATE, STORY, TEXT, GRAPH, PRESSURES):
                        (self.folder / f"{name}{ending_}").unlink(missing_ok=True)
                        (self.folder / f"{name}{QUICK}{ending_}").unlink(missing_ok=True)
            with suppress(KeyError):
                document = json.loads((self.folder / RESULTS).read_text(encoding="utf-8"))
                for name in (name for one in document["standing"] for name in one["files"]):
                    if _STANDING.fullmatch(name):
                        (self.folder / name).unlink(missing_ok=True)
            (self.folder / RESULTS).unlink()

    def stand(self, answers: tuple[Standing, ...]) -> None:
        """Write the files of the standing questions, and what has been found so far."""
        for answer in answers:
            for name, text in standing_files(answer).items():
                write_whole(self.folder / name, text)
        self.standing = answers
        write_whole(self.folder / RESULTS, as_json(self.document()))

    def add(self, claim: int, finding: Finding) -> None:
        """Write the files of one finding, and the list of all findings so far."""
        asked = self.case.claims[claim]
        rendered, undrawn = render(finding, asked if isinstance(asked, Property) else None)
        for name, text in rendered.items():
            write_whole(self.folder / name, text)
        self._files[finding.property] = tuple(rendered)
        self.undrawn += undrawn
        self.findings[claim] = finding
        write_whole(self.folder / RESULTS, as_json(self.document()))

    def ordered(self) -> tuple[Finding, ...]:
        """The findings so far, in the order of the claims."""
        return tuple(self.findings[number] for number in sorted(self.findings))

    def document(self, *, beside: bool = True) -> dict[str, Any]:
        """The findings so far as JSON; files are named as seen from the folder, or from where the program runs."""
        prefix = Path() if beside else self.folder
        return prove_json(
            self.case.arrangement,
            self.ordered(),
            certificates=self._named(CERTIFICATE, prefix),
            stories=self._named(STORY, prefix),
            quick=self._named(QUICK + STORY, prefix),
            standing=[(one, [(prefix / name).as_posix() for name in standing_files(one)]) for one in self.standing],
            asked={claim.id: self._asked(claim) for claim in self.case.claims},
        )

    def _asked(self, claim: Property | NotApplicable) -> dict[str, Any]:
        return claim_json(claim, expected=self.case.expects(claim.id), belief=claim.id in self.case.beliefs)

    def file(self, finding: Finding, kind: str) -> Path | None:
        """The path of a finding's file of one kind, if there is one."""
        name = f"{finding.property}{kind}"
        return self.folder / name if name in self._files.get(finding.property, ()) else None

    def _named(self, kind: str, prefix: Path) -> dict[str, str]:
        return {
            claim: (prefix / f"{claim}{kind}").as_posix()
            for claim, names in self._files.items()
            if f"{claim}{kind}" in names
        }


def render(finding: Finding, claim: Property | None = None) -> tuple[dict[str, str], list[str]]:
    """The files of a finding, name to text, and what could not be drawn. `claim` is what was asked."""
    files, undrawn = _rendered(finding, claim, finding.property, finding.property)
    if finding.quick is not None:
        name = finding.property + QUICK
        beside, also = _rendered(finding.quick, claim, name, f"{finding.property} by a quick hand")
        files |= beside
        undrawn += also
    return files, undrawn


def _rendered(finding: Finding, claim: Property | None, name: str, head: str) -> tuple[dict[str, str], list[str]]:
    """The files of a finding and its own story, called `name` and what they are."""
    files: dict[str, str] = {}
    undrawn: list[str] = []
    if finding.certificate is not None:
        files[name + CERTIFICATE] = finding.certificate
    if finding.story is not None and finding.layout is not None:
        layout, story, last, title = (
            finding.layout,
            finding.story,
            ending(finding),
            f"{head}, {finding.layout.arrangement.name}",
        )
        document = story_json(
            layout,
            story,
            claim=finding.property,
            says=finding.says,
            ending=last,
            witness=finding.witness,
            patient=finding.quick is not None,
        )
        files[name + STORY] = as_json(document)
        files[name + TEXT] = _text_of(finding, claim, title, last)
        if finding.witness is not None:
            files[name + PRESSURES] = _run_picture(finding, claim, title)
        else:
            plot = pressures_svg(layout, story, title=title)
            files[name + PRESSURES] = named(plot, title, "Pressures over the steps of a story.")
        try:
            heading = f"{title}{_elsewhere(finding, name)}"
            shown = "\n".join([last, *(what_fails(finding, claim) if story.seconds else ())])
            graph = render_svg(story_dot(layout, story, title=heading, ending=shown, claim=claim))
            files[name + GRAPH] = named(graph, title, f"The steps of a story as a graph. {last}")
        except DrawingError as error:
            undrawn.append(str(error))
    return files, undrawn


def _elsewhere(finding: Finding, name: str) -> str:
    """A line below the title of a graph whose steps are not the vehicle's own: where those are."""
    if finding.story is None or finding.witness is None or finding.story.seconds:
        return ""
    return f"\none order of steps in bands, without seconds; a vehicle's own run is in {name}{PRESSURES}"


def _text_of(finding: Finding, claim: Property | None, title: str, last: str) -> str:
    """The run of the witness, where a story tells it; else the story, and below it what is known of the witness."""
    layout, story = finding.layout, finding.story
    assert layout is not None
    assert story is not None
    if finding.witness is not None and story.seconds:
        return run_text(finding, claim)
    text = story_text(layout, story, title=title, ending=last)
    return text if finding.witness is None else f"{text}\n{vehicle_text(finding)}"


def _run_picture(finding: Finding, claim: Property | None, title: str) -> str:
    """The curves of the witness's run."""
    from bandproof.witness.telling import played  # noqa: PLC0415  (the simulator, only where there is a run)

    layout, story, witness = finding.layout, finding.story, finding.witness
    assert layout is not None
    assert story is not None
    assert witness is not None
    _, history = played(layout, witness)
    told = story if story.seconds else None
    return run_svg(layout, told, witness, lambda times: history.at(times).tolist(), claim=claim, title=title)


def standing_files(answer: Standing) -> dict[str, str]:
    """The files of the answer to a standing question, name to text: its proofs, and the run that goes round."""
    files = dict(answer.proofs)
    if answer.story is not None and answer.layout is not None:
        name = f"endless-from-{answer.start}".replace(" ", "-")
        last = from_then_on(answer.loop)
        files[name + STORY] = as_json(story_json(answer.layout, answer.story, says=answer.question, ending=last))
        files[name + TEXT] = story_text(answer.layout, answer.story, title=answer.sentence, ending=last)
    return files


def drawings(arrangement: Arrangement) -> dict[str, str]:
    """The drawings of an arrangement, file name to SVG: its piping, what is joined to what, all machines on one sheet, and each by itself."""
    name = arrangement.name
    connections, machines = render_svg(connections_dot(arrangement)), machines_svg(arrangement)
    found = {
        "piping.svg": named(piping_svg(arrangement), f"{name}: piping", "From left to right, the way the air goes."),
        "connections.svg": named(
            connections, f"{name}: connections", "Every part with its passages, and what it is joined to."
        ),
        "machines.svg": named(machines, f"{name}: parts", "Each part's states, and when it moves from one to another."),
    }
    for part in arrangement.parts:
        machine = render_svg(machine_dot(arrangement, part))
        found[f"machines/{part.name}.svg"] = named(machine, f"{name}: {plain(part.name)}", "Its states and moves.")
    return found


def performed(performance: Performance) -> dict[str, str]:
    """The files of what came of a script, name to text: the answer, a drawing, and the stories of what bands refute."""
    files = {"run.txt": performance_text(performance), "run.svg": performance_svg(performance)}
    files["run.json"] = as_json(performance_json(performance))
    for finding in performance.bands.values():
        if finding.verdict is Verdict.REFUTED:
            files |= render(finding)[0]
    return files


def save(folder: Path, files: dict[str, str]) -> tuple[Path, ...]:
    """Write files into a folder; their paths."""
    for name, text in files.items():
        write_whole(folder / name, text)
    return tuple(folder / name for name in files)


def as_json(document: dict[str, Any]) -> str:
    """A document as text: readable, and the same for the same document."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def joined(documents: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """One document for a run over several arrangements; the document itself when there is only one."""
    several = list(documents)
    return several[0] if len(several) == 1 else {"format": several[0]["format"], "arrangements": several}
