"""The one search along ways."""

from __future__ import annotations

from bandproof.model.graph import reachable

WAYS = {"a": "bc", "b": "d", "d": "b", "x": "a"}


def test_what_is_reached_is_where_it_starts_and_all_that_steps_lead_to() -> None:
    assert reachable("a", lambda node: WAYS.get(node, "")) == set("abcd")
    assert reachable("c", lambda node: WAYS.get(node, "")) == {"c"}
    assert reachable("cx", lambda node: WAYS.get(node, "")) == set("abcdx")
    assert reachable("", lambda node: WAYS.get(node, "")) == set()
