"""The numbers of a run: pressures, amounts of air, sizes and settings, and what is asked of them by one condition.

What else a run has to satisfy is in `bandproof.lemmas.accounts`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise

from bandproof.lemmas.cubes import Cube, Needs
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import Range, VolumeKind
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Condition, Lower, NotLower
from bandproof.model.numbers import SettingNumber, number_of
from bandproof.model.walker import Walker
from bandproof.solvers.smt_terms import (
    FALSE,
    TRUE,
    ZERO,
    Bool,
    BoolSymbol,
    Negation,
    Number,
    Ordered,
    Real,
    RealSymbol,
    Same,
    Scaled,
    Side,
    Symbol,
    at_most,
    conjunction,
    disjunction,
    equal,
    over,
)

#: Sizes that a story is told with where none is declared, in litres. Nothing is proven from them.
USUAL = {
    VolumeKind.TANK: Range(Fraction(10), Fraction(200)),
    VolumeKind.CHAMBER: Range(Fraction(1, 2), Fraction(10)),
    VolumeKind.LINE: Range(Fraction(1, 500), Fraction(1, 5)),
}

#: Every volume's size in litres; None: any size above zero.
Sizes = Mapping[str, Range | None]

NOTHING: Needs = frozenset()


def declared_sizes(layout: Layout) -> dict[str, Range | None]:
    """Every volume's size as declared; one that is not may be anything above zero."""
    return {volume.name: volume.litres for volume in layout.arrangement.volumes}


class Unknowns:
    """Symbols for the numbers of a run at some points, and what holds of them whatever the run is.

    `declared` are all symbols in their order, also those of demands that come later; `axioms` what holds.
    """

    def __init__(self, layout: Layout, sizes: Sizes, points: range) -> None:
        self.layout = layout
        self.arrangement = layout.arrangement
        self.volumes = [volume.name for volume in self.arrangement.volumes]
        self.points = points
        self.declared: dict[Symbol, None] = {}
        self.axioms: list[Bool] = []
        self.sizes = dict(sizes)
        self._settings: dict[RealSymbol, SettingNumber | None] = {}
        self._edges: dict[tuple[str, int], BoolSymbol] = {}
        self.size = {name: self._size(name) for name in self.volumes}
        #: The pressure of each volume at each point, and its amount of air.
        self.pressure = {(name, t): self._pressure(name, t) for name in self.volumes for t in self.points}
        self.amount = {(name, t): self._amount(name, t) for name in self.volumes for t in self.points}
        self.axioms += [term for name in self.volumes if not self.exact(name) for term in self._together(name)]

    def declare(self, name: str) -> RealSymbol:
        """A new unknown number."""
        symbol = RealSymbol(f"|{name}|")
        self.declared[symbol] = None
        return symbol

    def declare_truth(self, name: str) -> BoolSymbol:
        """A new unknown truth."""
        symbol = BoolSymbol(f"|{name}|")
        self.declared[symbol] = None
        return symbol

    def _size(self, volume: str) -> Real:
        size = self.sizes[volume]
        if size is not None and size.low == size.high:
            return Number(size.low)
        symbol = self.declare(f"size of {volume}")
        self.axioms.append(over(symbol, ZERO) if size is None else at_most(Number(size.low), symbol, Number(size.high)))
        return symbol

    def unknown_sizes(self) -> dict[str, RealSymbol]:
        """The symbols of those sizes, in litres, that are not single numbers."""
        return {name: size for name, size in self.size.items() if isinstance(size, RealSymbol)}

    def exact(self, volume: str) -> bool:
        """The volume's size is a single number."""
        return isinstance(self.size[volume], Number)

    def _pressure(self, volume: str, t: int) -> RealSymbol:
        symbol = self.declare(f"pressure of {volume} {_when(t)}")
        self.axioms.append(at_most(ZERO, symbol, Number(self.arrangement.highest)))
        return symbol

    def _amount(self, volume: str, t: int) -> Real:
        size = self.size[volume]
        if isinstance(size, Number):
            return Scaled(size.value, self.pressure[volume, t])
        return self.declare(f"air of {volume} {_when(t)}")

    def _together(self, volume: str) -> Iterator[Bool]:
        """The air of a volume is more where its pressure is, whatever its size."""
        for t, then in pairwise(self.points):
            air = self.amount[volume, t], self.amount[volume, then]
            pressure = self.pressure[volume, t], self.pressure[volume, then]
            yield Same(Ordered(Side.AT_MOST, pressure), Ordered(Side.AT_MOST, air))
            yield Same(Ordered(Side.AT_LEAST, pressure), Ordered(Side.AT_LEAST, air))

    def same(self, one: int, other: int) -> Bool:
        """No volume differs between two points."""
        pairs: list[tuple[Real, Real]] = [(self.pressure[v, one], self.pressure[v, other]) for v in self.volumes]
        pairs += [(self.amount[v, one], self.amount[v, other]) for v in self.volumes if not self.exact(v)]
        return conjunction(equal(a, b) for a, b in pairs)

    # ---- settings

    def named_settings(self) -> list[tuple[SettingNumber, RealSymbol]]:
        """The numbers of settings that have a name, where they are pressures, with their symbols."""
        found = sorted(self._settings.items(), key=lambda item: item[0].name)
        return [(known, symbol) for symbol, known in found if known and known.setting]

    def compared(
        self, side: Side, leaf: Below | AtLeast, key: tuple[str, ...], t: int, *, moving: bool = False
    ) -> Bool:
        """A pressure, and with it the air of a volume whose size is a range, compared with a setting.

        `key` names a setting that has no name; it begins with the part it belongs to. With `moving` a part moves by
        it: a pressure that is the very number of a setting is then on one side of it, the same for all who look.
        """
        volume = leaf.volume
        pressure = self.pressure[volume, t]
        known = number_of(self.arrangement, key[0], leaf)
        if known is None:
            return Ordered(side, (pressure, Number(leaf.low)))
        name = f"{known.part} {known.setting}".lstrip() if known.setting else " ".join(key)
        setting = self._setting(name, known, Number(leaf.low), Number(leaf.high))
        compared: Bool = Ordered(side, (pressure, setting))
        if moving:
            edge, below = self.edge(volume, t), side is Side.AT_MOST
            beyond = Ordered(Side.UNDER if below else Side.OVER, (pressure, setting))
            compared = conjunction([compared, disjunction([beyond, edge if below else Negation(edge)])])
        if self.exact(volume):
            return compared
        low, high = (Scaled(end, self.size[volume]) for end in (leaf.low, leaf.high))
        amount = self._setting(f"{name} as air in {volume}", None, low, high)
        return conjunction([compared, Ordered(side, (self.amount[volume, t], amount))])

    def edge(self, volume: str, t: int) -> BoolSymbol:
        """Whether a pressure that is the very number of a setting counts as below it."""
        if (volume, t) not in self._edges:
            self._edges[volume, t] = self.declare_truth(f"{volume} at an edge is below it {_when(t)}")
        return self._edges[volume, t]

    def at_edges(self) -> tuple[str, ...]:
        """The volumes of which that has been asked."""
        return tuple(dict.fromkeys(volume for volume, _ in self._edges))

    def _setting(self, name: str, known_as: SettingNumber | None, low: Real, high: Real) -> RealSymbol:
        symbol = RealSymbol(f"|setting {name}|")
        if symbol not in self.declared:
            self.declared[symbol] = None
            self._settings[symbol] = known_as
            self.axioms.append(at_most(low, symbol, high))
        return symbol


def _when(t: int) -> str:
    return f"{'within' if t % 2 else 'entering'} place {t // 2}"


#: A demand, and what has to be known for it to be made.
Demand = tuple[Bool, Needs]


class Guard(Walker[Demand]):
    """A guard as a demand on the numbers at point `t`, boundary included, as far as is known of the place.

    What is not known asks for nothing. `key` names the settings of the guard that have no name; `moving` as for
    `Unknowns.compared`.
    """

    __slots__ = ("_key", "_moving", "_place", "_t", "_unknowns")

    def __init__(self, unknowns: Unknowns, key: tuple[str, ...], place: Cube, t: int, *, moving: bool) -> None:
        self._unknowns = unknowns
        self._key = key
        self._moving = moving
        self._place = place
        self._t = t

    def below(self, node: Below) -> Demand:
        """The pressure is at or under the setting."""
        return self._compared(Side.AT_MOST, node), NOTHING

    def at_least(self, node: AtLeast) -> Demand:
        """The pressure is at or over the setting."""
        return self._compared(Side.AT_LEAST, node), NOTHING

    def lower(self, node: Lower) -> Demand:
        """The one pressure is at or under the other."""
        return self._ordered(Side.AT_MOST, node), NOTHING

    def not_lower(self, node: NotLower) -> Demand:
        """The one pressure is at or over the other."""
        return self._ordered(Side.AT_LEAST, node), NOTHING

    def _compared(self, side: Side, node: Below | AtLeast) -> Bool:
        return self._unknowns.compared(side, node, self._key, self._t, moving=self._moving)

    def _ordered(self, side: Side, node: Lower | NotLower) -> Bool:
        pressure = self._unknowns.pressure
        return Ordered(side, (pressure[node.volume, self._t], pressure[node.other, self._t]))

    def other(self, node: Condition) -> Demand:
        """What is known in the place, or nothing."""
        holds, needs = self._place.truth(node)
        return (TRUE, NOTHING) if holds is None else (TRUE if holds else FALSE, needs)

    def all_of(self, node: AllOf) -> Demand:
        """All of the demands."""
        return _joined(self._each(node.items), every=True)

    def any_of(self, node: AnyOf) -> Demand:
        """Some one of the demands."""
        return _joined(self._each(node.items), every=False)

    def _each(self, items: tuple[Condition, ...]) -> list[Demand]:
        return [
            Guard(self._unknowns, (*self._key, str(i)), self._place, self._t, moving=self._moving).walk(item)
            for i, item in enumerate(items, 1)
        ]


def _joined(demands: list[Demand], *, every: bool) -> Demand:
    """All of the demands, or (not `every`) some of them. What is not asked needs no reason; what cannot be had does."""
    deciding, neutral = (FALSE, TRUE) if every else (TRUE, FALSE)
    for term, needs in demands:
        if term == deciding:
            return deciding, needs
    kept = [term for term, _ in demands if term != neutral]
    why = NOTHING.union(*(needs for term, needs in demands if term != TRUE))
    return ((conjunction if every else disjunction)(kept), why) if kept else (neutral, why)
