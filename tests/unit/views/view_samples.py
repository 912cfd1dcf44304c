"""A small invented tractor and trailer, and stories on it, for the tests of pictures and texts.

The stories are written by hand to look like what an engine finds; nothing here claims that the machine allows them.
"""

from __future__ import annotations

from fractions import Fraction

from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, StepKind, Story, Turned
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Range,
    Setting,
    Size,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
)

#: One pound-force per square inch in pascals, from the definitions of the pound, the inch and standard gravity.
PSI = Fraction(45_359_237, 100_000_000) * Fraction(980_665, 100_000) / Fraction(254, 10_000) ** 2


def psi(value: int | str | Fraction) -> Fraction:
    return Fraction(value) * PSI


def below(volume: str, low: int, high: int, setting: str | None = None) -> Below:
    return Below(volume, psi(low), psi(high), setting)


def at_least(volume: str, low: int, high: int, setting: str | None = None) -> AtLeast:
    return AtLeast(volume, psi(low), psi(high), setting)


def at(control: str, position: str) -> InPosition:
    return InPosition(control, frozenset({position}))


def is_in(part: str, state: str) -> InState:
    return InState(part, frozenset({state}))


def _size(c: str, b: str = "0.3") -> Size:
    return Size(Range(Fraction(c), Fraction(c)), Range(Fraction(b), Fraction(b)), name="feed")


def _passage(upstream: str, downstream: str, *open_in: str, one_way: bool = False, size: Size | None = None) -> Passage:
    return Passage(upstream, downstream, one_way, frozenset(open_in), size)


def _check_valve(name: str, inlet: str, outlet: str) -> Part:
    return Part(
        name,
        "check valve",
        ("shut", "open"),
        (_passage(inlet, outlet, "open", one_way=True, size=_size("1.2")),),
        (
            Move("shut", "open", Lower(outlet, inlet)),
            Move("open", "shut", Not(Lower(outlet, inlet))),
        ),
        ports=(("inlet", inlet), ("outlet", outlet)),
    )


def _knob_valve(name: str, supply: str, delivery: str, knob: str, setting: tuple[str, int, int]) -> Part:
    label, low, high = setting
    pops: Condition = AnyOf((at(knob, "pulled"), AllOf((Not(at(knob, "pushed")), below(supply, low, high, label)))))
    return Part(
        name,
        "push-pull valve",
        ("out", "pressed in"),
        (
            _passage(supply, delivery, "pressed in"),
            _passage(delivery, ATMOSPHERE, "out", one_way=True),
        ),
        (
            Move("out", "pressed in", at(knob, "pushed")),
            Move("pressed in", "out", pops),
        ),
        ports=(("supply", supply), ("delivery", delivery)),
    )


def arrangement() -> Arrangement:
    """Eight volumes, six parts, two knobs and a mishap."""
    hose = Part(
        "trailer_hose",
        "hose",
        ("whole", "torn"),
        (
            _passage("trailer_supply_line", "trailer_inlet_line", "whole"),
            _passage("trailer_supply_line", ATMOSPHERE, "torn", one_way=True),
            _passage("trailer_inlet_line", ATMOSPHERE, "torn", one_way=True),
        ),
        (Move("whole", "torn", Happened("breakaway")),),
        ports=(("tractor_side", "trailer_supply_line"), ("trailer_side", "trailer_inlet_line")),
    )
    spring_valve = Part(
        "trailer_spring_valve",
        "spring brake valve",
        ("applied", "released"),
        (
            _passage("trailer_inlet_line", "trailer_spring_chamber", "released"),
            _passage("trailer_spring_chamber", ATMOSPHERE, "applied", one_way=True, size=_size("0.8")),
        ),
        (
            Move("applied", "released", at_least("trailer_inlet_line", 60, 68, "spring_release")),
            Move("released", "applied", below("trailer_inlet_line", 20, 45, "emergency")),
        ),
        ports=(("inlet", "trailer_inlet_line"), ("chamber", "trailer_spring_chamber")),
    )
    compressor = Part(
        "compressor",
        "engine-driven compressor",
        ("loaded", "unloaded"),
        (_passage(SOURCE, "compressor_line", "loaded", one_way=True, size=_size("0.5")),),
        (
            Move("loaded", "unloaded", at_least("service_tank", 120, 130, "cut_out")),
            Move("unloaded", "loaded", below("service_tank", 100, 110, "cut_in")),
        ),
        slow=True,
        ports=(("delivery", "compressor_line"), ("sensing", "service_tank")),
    )
    park = _knob_valve("park_control", "service_tank", "park_line", "park_knob", ("park_hold", 20, 30))
    trailer = _knob_valve("trailer_control", "service_tank", "trailer_supply_line", "trailer_knob", ("hold_in", 34, 42))
    linked = Part(
        trailer.name,
        trailer.kind,
        trailer.states,
        trailer.passages,
        (
            Move("out", "pressed in", AllOf((at("trailer_knob", "pushed"), is_in("park_control", "pressed in")))),
            *trailer.moves[1:],
        ),
        ports=trailer.ports,
    )
    return Arrangement(
        name="small tractor and trailer",
        unit="psi",
        atmosphere=Fraction(101_325),
        highest=psi(150),
        volumes=(
            Volume("compressor_line", VolumeKind.LINE),
            Volume("service_tank", VolumeKind.TANK, Range(Fraction(40), Fraction(40))),
            Volume("park_line", VolumeKind.LINE),
            Volume("tractor_spring_chamber", VolumeKind.CHAMBER, Range(Fraction("1.4"), Fraction("1.6"))),
            Volume("trailer_supply_line", VolumeKind.LINE),
            Volume("trailer_inlet_line", VolumeKind.LINE),
            Volume("trailer_spring_chamber", VolumeKind.CHAMBER),
            Volume("trailer_tank", VolumeKind.TANK, Range(Fraction(45), Fraction(50))),
        ),
        parts=(
            compressor,
            _check_valve("tank_check", "compressor_line", "service_tank"),
            park,
            linked,
            hose,
            spring_valve,
            _check_valve("trailer_check", "trailer_inlet_line", "trailer_tank"),
            Part(
                "spring_hose",
                "pipe",
                ("whole",),
                (_passage("park_line", "tractor_spring_chamber", "whole"),),
                ports=(("one_end", "park_line"), ("other_end", "tractor_spring_chamber")),
            ),
        ),
        controls=(
            Control("park_knob", ("free", "pushed", "pulled")),
            Control("trailer_knob", ("free", "pushed", "pulled")),
        ),
        mishaps=(Mishap("breakaway"),),
        settings=(
            Setting("hold_in", psi(34), psi(42)),
            Setting("park_hold", psi(20), psi(30)),
            Setting("emergency", psi(20), psi(45)),
            Setting("spring_release", psi(60), psi(68)),
            Setting("cut_in", psi(100), psi(110)),
            Setting("cut_out", psi(120), psi(130)),
        ),
        starts=(Start("rolling", plain=False, assumed=True),),
        file="models/small.toml",
        sha256="00" * 32,
    )


def layout() -> Layout:
    return lay_out(arrangement())


class Teller:
    """Writes a story event by event, keeping states in step with it."""

    def __init__(self, grid: Layout, start: str, state: State, pressures: tuple[Fraction, ...] = ()) -> None:
        self.grid = grid
        self.start = start
        self.states = [state]
        self.steps: list[Step] = []
        self.pressures = [pressures]

    def step(self, kind: StepKind, *events: Event, **changed: str) -> None:
        """Add a step; `changed` gives the new real pressures in psi."""
        order = self.grid.arrangement
        volumes = [volume.name for volume in order.volumes]
        parts = [part.name for part in order.parts]
        controls = [control.name for control in order.controls]
        last = self.states[-1]
        bands, states, positions = list(last.bands), list(last.parts), list(last.controls)
        mishaps = set(last.mishaps)
        for event in events:
            match event:
                case Crossed(volume, _, upward):
                    bands[volumes.index(volume)] += 1 if upward else -1
                case Moved(part, _, target):
                    states[parts.index(part)] = target
                case Turned(control, _, target):
                    positions[controls.index(control)] = target
                case Occurred(mishap):
                    mishaps.add(mishap)
        self.states.append(State(tuple(bands), tuple(states), tuple(positions), frozenset(mishaps)))
        self.steps.append(Step(kind, events))
        real = list(self.pressures[-1])
        if real:
            for volume, value in changed.items():
                real[volumes.index(volume)] = psi(value)
        self.pressures.append(tuple(real))

    def fall(self, volume: str, until: int, pressure: str | None = None) -> None:
        """Flow steps that take `volume` down to the band that starts at `until` psi, one threshold a step."""
        place = [v.name for v in self.grid.arrangement.volumes].index(volume)
        while self.grid.low(volume, self.states[-1].bands[place]) > psi(until):
            mark = self.grid.low(volume, self.states[-1].bands[place])
            real = str((mark / PSI) - 1)
            self.step(StepKind.FLOW, Crossed(volume, mark, upward=False), **{volume: real})
        if pressure is not None:
            self.pressures[-1] = tuple(psi(pressure) if i == place else p for i, p in enumerate(self.pressures[-1]))

    def story(self, *, real: bool) -> Story:
        return Story(self.start, tuple(self.states), tuple(self.steps), tuple(self.pressures) if real else ())


def _rolling(grid: Layout) -> tuple[State, tuple[Fraction, ...]]:
    wanted = {"compressor_line": "112", "service_tank": "112", "trailer_tank": "105"}
    values = tuple(psi(wanted.get(volume.name, "111")) for volume in grid.arrangement.volumes)
    bands = tuple(grid.band_at(v.name, p) for v, p in zip(grid.arrangement.volumes, values, strict=True))
    parts = ("unloaded", "shut", "pressed in", "pressed in", "whole", "released", "shut", "whole")
    return State(bands, parts, ("free", "free")), values


def breakaway_story(*, real: bool = True) -> Story:
    """The hose tears, both lines empty, and the trailer springs come on late: some twenty steps."""
    grid = layout()
    state, values = _rolling(grid)
    teller = Teller(grid, "rolling", state, values)
    teller.step(StepKind.ACT, Turned("trailer_knob", "free", "pushed"))
    teller.step(StepKind.ACT, Occurred("breakaway"))
    teller.step(StepKind.REACT, Moved("trailer_hose", "whole", "torn"))
    teller.fall("trailer_inlet_line", 30)
    teller.step(StepKind.REACT, Moved("trailer_spring_valve", "released", "applied"))
    teller.fall("trailer_spring_chamber", 0, "0")
    teller.fall("trailer_supply_line", 0, "3/2")
    teller.step(StepKind.ACT, Turned("trailer_knob", "pushed", "free"))
    teller.fall("service_tank", 34)
    teller.step(StepKind.REACT, Moved("trailer_control", "pressed in", "out"))
    return teller.story(real=real)


def short_story() -> Story:
    """Three steps, not made real."""
    grid = layout()
    state, _ = _rolling(grid)
    teller = Teller(grid, "rolling", state)
    teller.step(StepKind.ACT, Turned("park_knob", "free", "pulled"))
    teller.step(StepKind.REACT, Moved("park_control", "pressed in", "out"))
    mark = grid.low("park_line", grid.band_at("park_line", psi(111)))
    teller.step(StepKind.FLOW, Crossed("park_line", mark, upward=False))
    return teller.story(real=False)
