"""What people get to see of a small arrangement and of two stories on it, to the letter.

SVG that Graphviz lays out depends on its version and is not kept; the DOT text it is drawn from is.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.reasons import Lacking
from bandproof.properties.claim import Lack, Named, Property, Shape
from bandproof.views.connections import connections_dot
from bandproof.views.json_files import claim_json, prove_json, story_json
from bandproof.views.machines import machine_dot
from bandproof.views.phrases import ending
from bandproof.views.pressures_plot import pressures_svg
from bandproof.views.story_graph import story_dot
from bandproof.views.story_text import story_text
from tests.unit.views.view_samples import arrangement, breakaway_story, layout, short_story

Golden = Callable[[str, str], None]

BROKEN = Finding(
    "trailer-knob-stays-in",
    "With the hose torn, the trailer knob stays in while the service tank is at 45 psi or more.",
    "common practice, no source",
    Verdict.REFUTED,
    steps=37,
    seconds=1.25,
    engine="sample",
)


def _json(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def test_the_connections(golden: Golden) -> None:
    golden("connections.dot", connections_dot(arrangement()))


def test_a_machine(golden: Golden) -> None:
    small = arrangement()
    golden("trailer_control.dot", machine_dot(small, small.part("trailer_control")))


def test_a_long_story_as_a_graph(golden: Golden) -> None:
    golden("breakaway.dot", story_dot(layout(), breakaway_story(), title=BROKEN.property, ending=ending(BROKEN)))


def test_a_short_story_as_a_graph(golden: Golden) -> None:
    golden("short.dot", story_dot(layout(), short_story()))


def test_a_long_story_as_text(golden: Golden) -> None:
    golden("breakaway.txt", story_text(layout(), breakaway_story(), title=BROKEN.property, ending=ending(BROKEN)))


def test_a_long_story_as_pressures(golden: Golden) -> None:
    golden("breakaway.svg", pressures_svg(layout(), breakaway_story(), title=BROKEN.property))


def test_a_short_story_as_pressures(golden: Golden) -> None:
    golden("short.svg", pressures_svg(layout(), short_story()))


def test_a_short_story_as_json(golden: Golden) -> None:
    golden("short.json", _json(story_json(layout(), short_story(), claim="x", says="x holds")))


def test_verdicts_as_json(golden: Golden) -> None:
    findings = (
        BROKEN,
        Finding("a-b", "a holds", "49 CFR 393.43(b)", Verdict.NOT_APPLICABLE, (Lacking((Lack(Named.ROLE, "a"),)),)),
    )
    written = {BROKEN.property: "out/trailer-knob-stays-in.json"}
    claim = Property(BROKEN.property, BROKEN.says, BROKEN.basis, Shape.NEVER, "rolling", mishaps=frozenset({"torn"}))
    asked = {claim.id: claim_json(claim, expected=Verdict.REFUTED, belief=True)}
    golden("prove.json", _json(prove_json(arrangement(), findings, stories=written, asked=asked)))
