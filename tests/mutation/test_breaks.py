"""The list of breaks fits the source as it is, and the script that applies them tells a noticed break from none."""

from __future__ import annotations

import pytest

from tests.mutation.breaks import Break
from tests.mutation.run import BREAKS, ROOT, row, try_breaks

ONE_CASE = ["tests/conformance", "-k", "enumeration and must and lift"]


def test_every_break_fits_the_source() -> None:
    assert len(BREAKS) == len(set(BREAKS))
    for broken in BREAKS:
        source = (ROOT / broken.file).read_text(encoding="utf-8")
        after = broken.apply(source)
        assert after != source
        compile(after, broken.file, "exec")


def test_a_break_that_does_not_fit_is_an_error() -> None:
    with pytest.raises(ValueError, match="no 'z' after"):
        Break("some.py", "def f(", "z", "w", "none").apply("def f(): return y")


@pytest.mark.thorough
@pytest.mark.slow
def test_a_break_is_noticed_where_sound_source_passes() -> None:
    (outcome,) = try_breaks(
        [next(b for b in BREAKS if b.clause.startswith("pressures stand still"))], {"one": ONE_CASE}
    )
    assert outcome.suite == "one"
    assert "lift must" in row(1, outcome)
