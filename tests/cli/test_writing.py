"""A file is written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from bandproof.deciding.writing import write_whole


def test_text_arrives_as_utf8_with_unix_line_ends_in_folders_made_for_it(tmp_path: Path) -> None:
    target = tmp_path / "a" / "b.txt"
    write_whole(target, "38 ± 4 psi\n")
    assert target.read_bytes() == "38 ± 4 psi\n".encode()
    assert [p.name for p in target.parent.iterdir()] == ["b.txt"]


def test_a_failed_write_leaves_the_old_file_and_nothing_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "b.txt"
    write_whole(target, "old")
    with pytest.raises(UnicodeEncodeError):
        write_whole(target, "new \ud800")
    assert target.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_failed_rename_leaves_nothing_beside_the_target(tmp_path: Path) -> None:
    target = tmp_path / "folder"
    (target / "inside").mkdir(parents=True)
    with pytest.raises(OSError, match="folder"):
        write_whole(target, "text")
    assert list(tmp_path.iterdir()) == [target]


def test_others_may_read_what_the_folder_allows(tmp_path: Path) -> None:
    write_whole(tmp_path / "ours.txt", "text")
    (tmp_path / "plain.txt").write_text("text", encoding="utf-8")
    assert (tmp_path / "ours.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode
