"""The piece of an arrangement that bears on whether a part falls silent."""

from __future__ import annotations

from bandproof.engines.silence import quietened
from bandproof.machine.cutout import cut_out
from bandproof.machine.layout import Layout, lay_out
from tests.conformance.case import load
from tests.conformance.small_parts import HANDLE, ONE_SETTING, litres, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_holding import KEEPER, LEAK
from tests.conformance.table_hunting import HUNTING

#: A keeper on v; a line w apart from it with an alarm of its own; a tank whose shell is lost.
ALARM = piece("alarm", "lifts", ports={"a": "w"}, settings={"limit": "2 bar"})
SHELL = piece("shell", "lost", ports={"a": "tank"}, mishaps={"loss": "loss"})
LOST = """
[kinds.lost]
ports = ["a"]
states = ["sound", "lost"]
mishaps = ["loss"]
passages = [{ from = "a", to = "atmosphere", open_in = ["lost"] }]
moves = [{ from = "sound", to = "lost", when = "loss has happened" }]
"""


def laid(*pieces: str, w: str = "line") -> Layout:
    text = 'mishaps.loss = { says = "" }\n' + volumes(v="line", w=w, tank="tank") + "".join(pieces) + HANDLE
    return lay_out(load(text + starting() + ONE_SETTING + LOST))


def names(layout: Layout) -> tuple[set[str], set[str]]:
    return {v.name for v in layout.arrangement.volumes}, {p.name for p in layout.arrangement.parts}


def test_only_what_bears_on_the_part_is_kept() -> None:
    cut = cut_out(laid(KEEPER, LEAK, ALARM, SHELL), "keeper")
    assert names(cut.layout) == ({"v"}, {"keeper", "leak"})
    assert not cut.layout.arrangement.mishaps
    assert not cut.layout.arrangement.controls


def test_a_line_that_shares_its_air_is_kept_with_the_passages_at_it() -> None:
    cut = cut_out(laid(KEEPER, joined("joint v w"), ALARM), "keeper")
    volumes_, parts = names(cut.layout)
    assert volumes_ == {"v", "w"}
    assert "alarm" not in parts
    assert len(parts) == 2


def test_a_tank_is_kept_as_an_end_without_what_is_behind_it() -> None:
    volumes_, parts = names(cut_out(laid(KEEPER, joined("joint v tank"), SHELL), "keeper").layout)
    assert volumes_ == {"v", "tank"}
    assert "shell" not in parts


def test_a_part_that_stands_still_keeps_its_passages_and_loses_its_moves() -> None:
    """Due as it may be, it holds no time up in the piece."""
    valve = piece("valve", "lost", ports={"a": "v"}, mishaps={"loss": "loss"})
    cut = cut_out(laid(KEEPER, valve), "keeper")
    kept = cut.layout.arrangement.part("valve")
    assert kept.moves == ()
    assert len(kept.passages) == 1
    assert [one.part for one in cut.restless] == ["keeper"]


def test_litres_are_left_out() -> None:
    text = litres("v", "line", "0.4") + KEEPER + LEAK + starting() + ONE_SETTING
    cut = cut_out(lay_out(load(text)), "keeper")
    assert [volume.litres for volume in cut.layout.arrangement.volumes] == [None]
    assert cut.layout.timing_constraints == ()


def test_a_part_that_could_be_due_outside_the_piece_does_not_make_a_part_silent() -> None:
    """The shell is due as soon as the tank is lost, and stands still in the loop: the keeper goes on all the same."""
    layout = laid(KEEPER, LEAK, SHELL, ALARM)
    assert quietened(layout).layout.silent == set()
    assert quietened(laid(KEEPER, SHELL, ALARM)).layout.silent == {"keeper"}


def test_a_part_that_the_whole_excuses_is_slow_in_the_piece() -> None:
    staged = next(case for case in HUNTING if case.name == "stage that passes below where it vents").layout()
    assert not staged.arrangement.part("stage").slow
    assert cut_out(staged, "stage").layout.arrangement.part("stage").slow
    assert not cut_out(laid(KEEPER, LEAK), "keeper").layout.arrangement.part("keeper").slow
