"""The comparison itself: it must fail on any difference, and accept only when told to."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.golden.conftest import compare


def test_a_file_that_is_not_there_yet_fails_and_is_saved_aside(tmp_path: Path) -> None:
    with pytest.raises(pytest.fail.Exception, match=r"new\.txt is not what it was"):
        compare(tmp_path, "new.txt", "a\n", accept=False)
    assert (tmp_path / "actual" / "new.txt").read_text() == "a\n"


def test_what_was_accepted_passes_and_clears_what_was_saved(tmp_path: Path) -> None:
    with pytest.raises(pytest.fail.Exception):
        compare(tmp_path, "x.txt", "a\n", accept=False)
    compare(tmp_path, "x.txt", "a\n", accept=True)
    compare(tmp_path, "x.txt", "a\n", accept=False)
    assert not (tmp_path / "actual" / "x.txt").exists()


def test_one_changed_letter_fails_and_is_shown(tmp_path: Path) -> None:
    compare(tmp_path, "x.txt", "one\ntwo\n", accept=True)
    with pytest.raises(pytest.fail.Exception, match=r"(?s)-two.*\+twa"):
        compare(tmp_path, "x.txt", "one\ntwa\n", accept=False)
    assert (tmp_path / "files" / "x.txt").read_text() == "one\ntwo\n"
