"""Which unknown number stands behind a setting in a part's guard.

A setting with a tolerance is one unknown but fixed number for each part that uses it: two valves set alike differ. Where
the file says `shared = true` it is one for all of them, as where one valve serves them all.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below


@dataclass(frozen=True, slots=True, order=True)
class SettingNumber:
    """The identity of an unknown number: the part whose own it is, "" where all parts share it, and the setting.

    `setting` is "" where a guard compares with a toleranced pressure that has no name.
    """

    part: str
    setting: str


def number_of(arrangement: Arrangement, part: str, leaf: Below | AtLeast) -> SettingNumber | None:
    """The number that a guard of `part` compares with in `leaf`; None where that is an exact pressure."""
    if leaf.low == leaf.high:
        return None
    shared = any(setting.shared for setting in arrangement.settings if setting.name == leaf.setting)
    return SettingNumber("" if shared else part, leaf.setting or "")
