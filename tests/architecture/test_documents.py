"""What DEVELOPERS.md says of rooms and files is so."""

from __future__ import annotations

import re

from tests.architecture.sources import ROOT
from tests.architecture.test_layers import LAYERS

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_file_and_folder_named_is_there() -> None:
    named = set(re.findall(r"`((?:[a-z_.*<>-]+/)+[a-z0-9_*]*(?:\.[a-z]+)?)`", TEXT)) - {"out/"}
    named = {name for name in named if "<" not in name}
    assert len(named) > 40
    homes = (ROOT, ROOT / "src" / "bandproof")
    assert [name for name in sorted(named) if not any(list(home.glob(name.rstrip("/"))) for home in homes)] == []


def test_the_table_of_rooms_is_the_one_that_is_tested() -> None:
    table = TEXT.split("## Layers")[1].split("Narrowings")[0]
    rooms = [name for row in table.splitlines() for name in re.findall(r"`([a-z_]+)/?`", row.split(" | ")[0])]
    told = [name for names in LAYERS for name in names if name not in ("analyses", "__main__")]
    assert [name for name in rooms if name != "bandproof_pytest"] == told
