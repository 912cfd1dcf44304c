"""Which claims of the shipped rule packs the default run decides, and that no claim is left out of all runs."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from bandproof.properties.packs import load_pack, model_files
from bandproof.properties.scripts import load_script, script_models

ROOT = Path(__file__).parents[2]
PACKS = [load_pack(path) for path in sorted((ROOT / "properties").glob("*.toml"))]
SCRIPTS = [load_script(path) for path in sorted((ROOT / "properties" / "scripts").glob("*.toml"))]


def collected(*arguments: str) -> Counter[str]:
    """How many claims and scripts a run of pytest on the shipped packs collects, for each arrangement."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "-p", "no:cacheprovider", "properties"]
    done = subprocess.run([*command, *arguments], cwd=ROOT, capture_output=True, text=True, check=True)
    return Counter(line.split("::")[1] for line in done.stdout.splitlines() if "::" in line)


@pytest.mark.packs
def test_every_claim_about_every_arrangement_is_in_one_run() -> None:
    claims: Counter[str] = Counter()
    for pack in PACKS:
        claims.update({model.stem: len(pack.claims) for model in model_files(pack)})
    for script in SCRIPTS:
        claims.update(model.stem for model in script_models(script))
    default, others, late = collected(), collected("-m", "packs"), collected("-m", "long")
    assert default + others + late == claims
    assert default.keys() == {"two_knob_tractor", "fed_from_one_tank"}
