"""What is told and drawn of a witness's run is that run's: its times, its pressures, its acts, the claim's limit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from xml.etree import ElementTree as ET

import pytest

from bandproof.deciding.cases import Case, load_cases
from bandproof.deciding.one import Decider
from bandproof.deciding.saving import render
from bandproof.findings.finding import Finding, Verdict
from bandproof.machine.story import Occurred, Turned
from bandproof.model.arrangement import Part, Passage, Range, Size
from bandproof.views import run_plot
from bandproof.views.phrases import consequences, deed
from bandproof.views.spoken import spoken_time
from bandproof.witness.telling import played
from tests.cli.samples import HEAD, REFUTED, lay
from tests.conformance.table_reaction import REACTION

pytestmark = pytest.mark.slow

TWIN = Path(__file__).parents[3] / "models" / "twins" / "fed_from_one_tank.toml"
SVG = "{http://www.w3.org/2000/svg}"
PSI = 6894.757293168


#: A claim about another arrangement, which only an act of the driver breaks.
LEVER = "brake-stays-empty"


@cache
def shown(name: str) -> tuple[Finding, dict[str, str]]:
    """A claim of the twin, or of the hand valve, that is refuted, and its files by their ending."""
    (case,) = load_cases([lay(Path(mkdtemp()), HEAD + REFUTED) if name == LEVER else TWIN])
    claim = next(one for one in case.properties if one.id == name)
    finding = Decider(case).decide(claim)
    assert finding.verdict is Verdict.REFUTED
    files, undrawn = render(finding, claim)
    assert not undrawn
    return finding, {key.removeprefix(name): text for key, text in files.items()}


CLAIMS = pytest.mark.parametrize(
    "name", ["knobs-stay-fed-without-tank-1", "hose-torn-while-stage-opens-lets-trailer-knob-go", LEVER]
)


@pytest.mark.thorough
@CLAIMS
def test_the_text_fits_a_screen_and_says_when_the_claim_is_broken(name: str) -> None:
    finding, files = shown(name)
    text = files[".txt"]
    assert finding.witness is not None
    assert max(map(len, text.splitlines())) <= 80
    assert text.isascii()
    assert "-0.0 psi" not in text
    assert f"The claim is broken {spoken_time(finding.witness.when)} after the start." in " ".join(text.split())
    for word in (
        "IN SHORT",
        "AT THE START",
        "STEP BY STEP",
        "WHAT FAILS",
        "THE VEHICLE",
        "Basis: ",
        "sha256 ",
        "Told by bandproof ",
    ):
        assert word in " ".join(text.split()) + " "


@pytest.mark.thorough
def test_what_fails_is_told_and_drawn_with_the_witness_s_number_against_its_limit() -> None:
    finding, files = shown("knobs-stay-fed-without-tank-1")
    assert finding.witness is not None
    (measured,) = [one for one in finding.witness.measured if one.volume == "knob_feed"]
    failing = " ".join(files[".txt"].split("WHAT FAILS")[1].split("THE VEHICLE")[0].split())
    assert measured.limit == pytest.approx(60 * PSI)
    told = f"knob feed is at least 60 psi (low warning); it is at {measured.pascals / PSI:.1f} psi"
    assert told in failing
    drawn = " ".join(" ".join(_words(files[".svg"])).split())
    assert f"Not kept at {spoken_time(finding.witness.end)}: {told}" in drawn


@pytest.mark.thorough
@CLAIMS
def test_every_act_of_the_story_is_told_and_lettered(name: str) -> None:
    finding, files = shown(name)
    assert finding.story is not None
    assert finding.layout is not None
    says = {mishap.name: mishap.says for mishap in finding.layout.arrangement.mishaps}
    text, drawn = " ".join(files[".txt"].split()).lower(), " ".join(_words(files[".pressures.svg"]))
    done = [e for step in finding.story.steps for e in step.events if isinstance(e, Turned | Occurred)]
    assert done
    for event in done:
        words = deed(event) if isinstance(event, Turned) else says[event.mishap]
        assert words.lower() in text
        assert words in drawn


@CLAIMS
def test_the_picture_can_be_read_aloud_and_its_curves_end_where_the_run_does(name: str) -> None:
    finding, files = shown(name)
    assert finding.witness is not None
    assert finding.layout is not None
    picture = files[".pressures.svg"]
    root = ET.fromstring(picture)  # noqa: S314  (our own)
    assert root.get("role") == "img"
    assert (root.findtext(f"{SVG}title") or "").startswith(name)
    assert "Pressures over time." in (root.findtext(f"{SVG}desc") or "")
    _, history = played(finding.layout, finding.witness)
    assert finding.story is not None
    end = max(finding.witness.end, finding.story.seconds[-1])
    pressures = dict(zip((v.name for v in finding.layout.arrangement.volumes), history.at([end])[0], strict=True))
    told = [re.fullmatch(r"(.*) (-?\d+) psi", words) for words in _words(picture)]
    named = {found[1].replace(" ", "_"): int(found[2]) for found in reversed(told) if found and found[1]}
    curves = {volume: number for volume, number in named.items() if volume in pressures}
    assert len(curves) >= (2 if name == LEVER else 4)
    for volume, number in curves.items():
        assert abs(number - pressures[volume] / PSI) <= 0.6, volume


def _words(picture: str) -> list[str]:
    root = ET.fromstring(picture)  # noqa: S314  (our own)
    return [node.text or "" for node in root.iter(f"{SVG}text")]


def test_what_happens_within_a_small_part_of_the_run_is_drawn_again() -> None:
    for name, again in (("hose-torn-while-stage-opens-lets-trailer-knob-go", 1), ("knobs-stay-fed-without-tank-1", 0)):
        _, files = shown(name)
        assert sum(words.startswith("the same, from") for words in _words(files[".pressures.svg"])) == again


def test_a_limit_is_named_where_it_covers_no_curve() -> None:
    panel = run_plot._Panel(top=100.0, first=0.0, last=10.0, highest=100.0)
    limits = [("tank", 50.0, "low warning")]
    at = panel.y(50.0)
    beginning = [(panel.x(t / 10), at - 5) for t in range(40)]
    for curves, left in (([], True), (beginning, False)):
        (_, label) = run_plot._limit_rules(panel, limits, "kPa", curves)
        x, y = map(float, re.findall(r'x="([0-9.]+)" y="([0-9.]+)"', label)[0])
        assert (x < panel.x(1.0)) is left or y > at


def test_a_stroke_between_two_points_of_a_curve_is_drawn_to_its_end() -> None:
    """A line that is vented for a moment at 5.01 s, between the points at 5.00 and 5.03 s, falls from 90 to 10."""
    layout = next(one for one in REACTION).layout()

    def courses(times: Sequence[float]) -> list[list[float]]:
        level = {5.01: 10.0, 5.012: 60.0}
        return [[level.get(time, 90.0)] * len(layout.arrangement.volumes) for time in times]

    panel = run_plot._Panel(top=100.0, first=0.0, last=10.0, highest=100.0, turns=(0.0, 5.01, 5.012, 12.0))
    name = layout.arrangement.volumes[0].name
    drawn = next(run_plot._curves(panel, layout, [name], courses, "psi"))
    heights = [float(point.split()[1]) for point in drawn.split('"')[1].removeprefix("M").split("L")]
    assert max(heights) == round(panel.y(10.0), 1)
    assert heights.count(max(heights)) == 1
    assert len(heights) == run_plot._POINTS + 2


def test_a_way_that_stays_open_through_another_opening_widens_or_narrows() -> None:
    wide, narrow = (Size(Range(Fraction(c), Fraction(c)), Range(Fraction(1, 2), Fraction(1, 2))) for c in (3, 1))
    ways = tuple(Passage("in", "out", False, frozenset({state}), size) for state, size in (("a", narrow), ("b", wide)))
    part = Part("stage", "stage", ("a", "b"), ways, (), ports=(("inlet", "in"), ("outlet", "out")))
    assert consequences(part, "a", "b") == ("widens inlet ↔ outlet",)
    assert consequences(part, "b", "a") == ("narrows inlet ↔ outlet",)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0.004, "0.00 s"), (9.99, "9.99 s"), (12.34, "12.3 s"), (119.6, "2 min 0 s"), (239.7, "4 min 0 s")],
)
def test_times_are_said_as_people_say_them(seconds: float, said: str) -> None:
    assert spoken_time(seconds) == said


@pytest.mark.parametrize("count", [26, 27, 60])
def test_no_mark_is_left_out_without_a_word(count: int) -> None:
    told = [(float(number), [f"deed {number}"], True) for number in range(count)]
    kept = run_plot._fewer(told)
    assert len(kept) <= 26
    assert (kept[0], kept[-1]) == (told[0], told[-1])
    said = [words for _, (words,), _ in kept if not words.startswith("deed")]
    assert said == (
        [] if count == 26 else [f"{count - 25} more, up to {spoken_time(count - 14.0)}: see the story as text"]
    )


@CLAIMS
def test_a_vehicle_whose_run_no_story_tells_is_told_below_the_story_and_drawn(name: str) -> None:
    finding, _ = shown(name)
    assert finding.story is not None
    assert finding.witness is not None
    untold = replace(
        finding, story=replace(finding.story, seconds=()), witness=replace(finding.witness, hunted=("pick",))
    )
    files, _ = render(untold)
    text, words = " ".join(files[f"{name}.txt"].split()), _words(files[f"{name}.pressures.svg"])
    assert "A VEHICLE THAT DOES IT The steps above are of the bands" in text
    assert "To and fro at one pressure meanwhile: pick." in text
    assert f"The claim is broken {spoken_time(finding.witness.when)} after the start." in text
    marks = [word for word in words if len(word) == 1 and word.isupper()]
    assert len(set(marks)) == len(finding.witness.deeds) + len(finding.witness.moves)


def test_a_graph_whose_steps_are_not_the_vehicle_s_own_says_where_those_are() -> None:
    finding, files = shown("knobs-stay-fed-without-tank-1")
    assert finding.story is not None
    told_elsewhere, undrawn = render(replace(finding, story=replace(finding.story, seconds=())))
    assert not undrawn
    where = f"a vehicle's own run is in {finding.property}.pressures.svg"
    assert where in " ".join(_words(told_elsewhere[f"{finding.property}.svg"]))
    assert where not in " ".join(_words(files[".svg"]))


def test_a_patient_driver_s_text_says_whether_he_does_anything() -> None:
    for name, words in (
        ("hose-torn-while-stage-opens-lets-trailer-knob-go", "The driver does nothing in it. A quick hand's story is"),
        (LEVER, "This driver lets the air settle before each act. A quick hand's story is"),
    ):
        finding, _ = shown(name)
        files, _ = render(replace(finding, quick=finding))
        assert words in " ".join(files[f"{name}.txt"].split())


def test_how_long_a_part_took_is_told_where_it_may_take_its_time() -> None:
    (one,) = (case for case in REACTION if case.name == "a part slower than a band")
    claim = one.property()
    finding = Decider(Case(one.layout().arrangement, (claim,))).decide(claim)
    files, _ = render(finding, claim)
    (told,) = re.findall(r"Seconds for a move: trip ([0-9.]+)\.", files[f"{claim.id}.txt"])
    assert 0.5 < float(told) <= 0.6
