"""The state a story starts in, in few lines: volumes by band, controls and parts by where they stand."""

from __future__ import annotations

from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.views.phrases import band_words, plain, spoken_pressure


def situation(layout: Layout, story: Story, only: set[str] | None = None) -> list[str]:
    """The lines that describe the first state of a story; real pressures follow the names where there are any.

    `only`: of the volumes, parts and controls, those told of.
    """
    arrangement = layout.arrangement
    state = story.states[0]
    places: dict[str, list[str]] = {}
    for item, place in zip(arrangement.controls, state.controls, strict=True):
        if only is None or item.name in only:
            places.setdefault(place, []).append(plain(item.name))
    for part, place in zip(arrangement.parts, state.parts, strict=True):
        if len(part.states) > 1 and (only is None or part.name in only):
            places.setdefault(place, []).append(plain(part.name))
    rows = [f"{plain(mishap)} has happened" for mishap in sorted(state.mishaps)]
    rows += [f"{plain(place)}: {', '.join(names)}" for place, names in places.items()]
    bands: dict[str, list[str]] = {}
    for index, (volume, band) in enumerate(zip(arrangement.volumes, state.bands, strict=True)):
        if only is not None and volume.name not in only:
            continue
        real = ""
        if story.pressures:
            value = spoken_pressure(layout, volume.name, band, story.pressures[0][index])
            real = f" ({value.removesuffix(' ' + arrangement.unit)})"
        bands.setdefault(band_words(layout, volume.name, band), []).append(plain(volume.name) + real)
    return rows + [f"{band}: {', '.join(names)}" for band, names in bands.items()]
