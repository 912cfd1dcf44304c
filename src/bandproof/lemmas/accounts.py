"""Air accounts: the linear arithmetic that a run has to satisfy if it is to be real.

What is demanded of a run through places 0..n
---------------------------------------------
A place is what is known of a state, or of a stay in several: see `bandproof.lemmas.cubes`. The run is looked at when it
*enters* a place and once *within* it, at points entering 0, within 0, entering 1, ..., within n. Between two points
parts stand still and air moves. At each point every volume has a real gauge pressure p and holds V p of air above the
atmosphere's (isothermal), V its size:

bands      within place k every p is in the closed range known of place k; on entering k it is between the ranges of
           k - 1 and k, so that the volumes crossing in one step may cross in any order;
balance    between two points V p changes by what passages bring and take, nothing else; sources give and the
           atmosphere takes without end;
direction  nothing passes a shut passage (shut also in every state that its part could chatter to, see
           `bandproof.lemmas.chattering`), nor a one-way passage backwards, nor from u to v while the range of u is wholly under
           that of v;
downhill   where pressures can be compared directly, none ends higher than every pressure that could have fed it began,
           unless a source does, and none lower than every pressure it could drain to, unless it vents; and where air
           went from u to v, the pressure of v ends above that of u by no more than what went from u elsewhere, and
           came to v from elsewhere, can account for (when air last went from u to v, u was no lower than v);
settings   a toleranced setting of a part is one number in its range for the whole run;
moves      a part that moves from k to k + 1 does so when its guard holds at that moment;
quiet      while time passes no fast part's guard holds: it would have moved. A stay that lasts no time is exempt, and
           slow parts owe nothing. A guard counts as holding, or failing, at the very boundary too;
start      on entering place 0 the pressures are in the start's ranges, if the run begins there.

Every run of the continuous model that the band machine follows satisfies all of this, so a contradiction shows that
there is none. Two points are chosen so that this stays true:
- The band machine neglects the air in lines: filling one does not empty a tank. So the air in lines is either counted,
  or neglected as if all lines were small in the same proportion: then what passes through a line comes out of it, and
  what fills or empties it is drawn from the lines around it, but costs or gives a tank or chamber nothing.
- Two parts may name the same setting and still differ: each has its own number.
And a stay in one place of several states is one longer stay: the demands between two points add up.

A size that is a range makes V p a product of unknowns. The amount V p is then an unknown of its own, held between the
four planes that bound a product over the ranges of its factors. Everything is SMT-LIB text, of the logic QF_LRA.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from bandproof.encoding.smt_text import join
from bandproof.lemmas.chattering import Chattering, Surroundings
from bandproof.lemmas.cubes import Cube, Literal, Needs, ceiling_of, floor_of
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage, Range, VolumeKind
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Condition, Lower, NotLower
from bandproof.model.walker import Walker, opposite

#: Sizes assumed for volumes without one, in litres. A line is at most a fiftieth of a tank, as the path rule wants it.
ASSUMED = {
    VolumeKind.TANK: Range(Fraction(10), Fraction(200)),
    VolumeKind.CHAMBER: Range(Fraction(1, 2), Fraction(10)),
    VolumeKind.LINE: Range(Fraction(1, 500), Fraction(1, 5)),
}


def declared_sizes(layout: Layout) -> dict[str, Range]:
    """Every volume's size as declared, or else as assumed."""
    return {volume.name: volume.litres or ASSUMED[volume.kind] for volume in layout.arrangement.volumes}


#: Every volume's size in litres.
Sizes = Mapping[str, Range]

#: The symbol that says whether the air in lines is neglected.
NEGLECTED = "|the air in lines is neglected|"

NOTHING: Needs = frozenset()

#: The flow of a way that has no symbol of its own.
_NO_FLOW = "0.0"


@dataclass(frozen=True, slots=True)
class Fact:
    """One demand on the numbers, and what has to be known for it to be made; `start`: only of runs that begin here."""

    formula: str
    needs: Needs
    start: bool = False


@dataclass(frozen=True, slots=True)
class Way:
    """One direction through one passage between two points; `flow` is the air that takes it.

    `little` is the air that does so when the air in lines is neglected and this is line air; empty where no line is.

    `blocked` is why none can; empty when some can. `chattering`: only because the part could chatter. The two directions of
    a passage have the same `passage`.
    """

    source: str
    target: str
    flow: str
    little: str
    blocked: Needs
    chattering: bool
    passage: str


class Air:
    """The demands on a run through places. `start` names the start it begins at, None for anywhere.

    With `all_counted` the air in lines is counted, and ways that carry nothing have no symbols: for runs whose every
    state is known, where no reason is asked for. It is one of the two choices that are open otherwise.
    """

    def __init__(
        self,
        layout: Layout,
        places: list[frozenset[Literal]],
        start: str | None,
        sizes: Sizes,
        *,
        all_counted: bool = False,
    ) -> None:
        self.layout = layout
        self.all_counted = all_counted
        self.arrangement = layout.arrangement
        self.places = [Cube(layout, number, atoms) for number, atoms in enumerate(places)]
        self.start = start
        self.volumes = [volume.name for volume in self.arrangement.volumes]
        self.points = range(2 * len(places))
        self.declared: dict[str, str] = {}
        self.axioms: list[str] = []
        self.facts: list[Fact] = []
        self.sizes = dict(sizes)
        self.lines = {volume.name for volume in self.arrangement.volumes if volume.kind is VolumeKind.LINE}
        self._settings: dict[str, tuple[str, str]] = {}
        self._hovering = Chattering(self.arrangement.parts)
        self._declare(NEGLECTED.strip("|"), "Bool")
        self.size = {name: self._size_term(name) for name in self.volumes}
        #: The pressure of each volume at each point, and its amount of air.
        self.pressure = {(name, t): self._pressure(name, t) for name in self.volumes for t in self.points}
        self.amount = {(name, t): self._amount(name, t) for name in self.volumes for t in self.points}
        self.lasting = [self._declare(f"time passes in place {k}", "Bool") for k in range(len(places))]
        self.ways = [list(self._ways(t)) for t in self.points[:-1]]
        self._bound()
        self._balance()
        self._rest()
        self._mechanics()
        self._begin()

    # ---- terms

    def _declare(self, name: str, sort: str = "Real") -> str:
        symbol = f"|{name}|"
        self.declared[symbol] = sort
        return symbol

    def _size_term(self, volume: str) -> str:
        size = self.sizes[volume]
        if self.exact(volume):
            return number(size.low)
        term = self._declare(f"size of {volume}")
        self.axioms.append(f"(<= {number(size.low)} {term} {number(size.high)})")
        return term

    def exact(self, volume: str) -> bool:
        """The volume's size is a single number."""
        return self.sizes[volume].low == self.sizes[volume].high

    def _pressure(self, volume: str, t: int) -> str:
        symbol = self._declare(f"pressure of {volume} {_when(t)}")
        self.axioms.append(f"(<= 0.0 {symbol} {number(self.arrangement.highest)})")
        return symbol

    def _amount(self, volume: str, t: int) -> str:
        if self.exact(volume):
            return f"(* {self.size[volume]} {self.pressure[volume, t]})"
        return self._declare(f"air of {volume} {_when(t)}")

    def named_settings(self) -> list[tuple[str, str, str]]:
        """The numbers of settings that have a name, where they are pressures: part, setting, number."""
        return [(part, name, symbol) for symbol, (part, name) in sorted(self._settings.items()) if name]

    def around(self, t: int) -> list[Cube]:
        """The places whose ranges are possible at a point."""
        place = t // 2
        return self.places[max(0, place - 1) : place + 1] if t % 2 == 0 else [self.places[place]]

    def _during(self, t: int) -> list[Cube]:
        """The places whose ranges are possible between a point and the next."""
        return self.around(t + t % 2)

    # ---- bands

    def _bound(self) -> None:
        for (volume, t), pressure in self.pressure.items():
            low, below = floor_of(self.around(t), volume)
            high, above = ceiling_of(self.layout, self.around(t), volume)
            if below:
                self.facts.append(Fact(f"(>= {pressure} {number(low)})", below))
            if above:
                self.facts.append(Fact(f"(<= {pressure} {number(high)})", above))
            if not self.exact(volume):
                self._bound_product(volume, t, (low, below), (high, above))

    def _bound_product(self, volume: str, t: int, low: tuple[Fraction, Needs], high: tuple[Fraction, Needs]) -> None:
        """The amount of air is a size times a pressure, each between its ends."""
        size, pressure, amount = self.size[volume], self.pressure[volume, t], self.amount[volume, t]
        for end, needs, over, under in ((*low, ">=", "<="), (*high, "<=", ">=")):
            for s, side in ((self.sizes[volume].low, over), (self.sizes[volume].high, under)):
                plane = f"(- (+ (* {number(s)} {pressure}) (* {number(end)} {size})) {number(s * end)})"
                self.facts.append(Fact(f"({side} {amount} {plane})", needs))

    # ---- passages

    def _ways(self, t: int) -> Iterator[Way]:
        """Every direction air might take between two points, shut ones included: that they are shut is a fact."""
        for part in self.arrangement.parts:
            stands, known = self.places[t // 2].stands(part.name)
            possible, why = self._possible(part, stands, t)
            for order, passage in enumerate(part.passages):
                if passage.upstream == passage.downstream:
                    continue
                shut = known | why if not possible & passage.open_in else NOTHING
                for u, v in directions(passage):
                    name = f"{part.name} {order + 1}"
                    blocked = shut or self._uphill(u, v, t)
                    flow, little = self._flows(f"{name}: {u} to {v} after {t}", {u, v}, blocked)
                    yield Way(u, v, flow, little, blocked, not stands & passage.open_in, name)

    def _flows(self, name: str, ends: set[str], blocked: Needs) -> tuple[str, str]:
        """The air that takes a way; and the line air that does, which is negative where it only lessens the former."""
        if self.all_counted and blocked:
            return _NO_FLOW, ""
        flow = self._declare(name)
        self.axioms.append(f"(>= {flow} 0.0)")
        if blocked:
            self.facts.append(Fact(f"(= {flow} 0.0)", blocked))
        if self.all_counted or not ends & self.lines:
            return flow, ""
        little = self._declare(f"{name}, line air")
        self.axioms.append(f"(or (>= {little} 0.0) (> {flow} 0.0))")
        if blocked:
            self.facts.append(Fact(f"(= {little} 0.0)", blocked))
        return flow, little

    def _possible(self, part: Part, stands: frozenset[str], t: int) -> tuple[frozenset[str], Needs]:
        """The states a part can be in between two points, and why it can be in no others."""
        places = self._during(t)
        here = self.places[t // 2]
        around = Surroundings(
            lambda volume: floor_of(places, volume),
            lambda volume: ceiling_of(self.layout, places, volume),
            here.truth,
        )
        return self._hovering.reach(part, stands, around)

    def _uphill(self, u: str, v: str, t: int) -> Needs:
        """Why air cannot go from `u` to `v` between two points: the range of `u` is wholly under that of `v`."""
        if ATMOSPHERE in (u, v) or SOURCE in (u, v):
            return NOTHING
        high, above = ceiling_of(self.layout, self._during(t), u)
        low, below = floor_of(self._during(t), v)
        return above | below if above and below and high <= low else NOTHING

    def _balance(self) -> None:
        for t, ways in enumerate(self.ways):
            for volume in self.volumes:
                gained = f"(- {self.amount[volume, t + 1]} {self.amount[volume, t]})"
                counted = (
                    f"(= {gained} {_net(volume, [(w.source, w.target, w.flow) for w in ways if w.flow != _NO_FLOW])})"
                )
                if volume in self.lines and not self.all_counted:
                    passing = f"(= 0.0 {_net(volume, [(w.source, w.target, w.flow) for w in ways])})"
                    filling = f"(= {gained} {_net(volume, [(w.source, w.target, w.little) for w in ways])})"
                    counted = f"(ite {NEGLECTED} (and {passing} {filling}) {counted})"
                self.axioms.append(counted)

    def _stay(self, place: int) -> list[int]:
        """The points at which the run is entering, within and leaving a place."""
        return [t for t in (2 * place, 2 * place + 1, 2 * place + 2) if t in self.points]

    def _rest(self) -> None:
        """Where no time passes nothing changes."""
        for place, lasts in enumerate(self.lasting):
            same = [self.same(a, b) for a, b in pairwise(self._stay(place))]
            self.axioms.append(f"(or {lasts} {join('and', same)})")

    def same(self, one: int, other: int) -> str:
        """No volume differs between two points."""
        pairs = [(self.pressure[v, one], self.pressure[v, other]) for v in self.volumes]
        pairs += [(self.amount[v, one], self.amount[v, other]) for v in self.volumes if not self.exact(v)]
        return join("and", [f"(= {a} {b})" for a, b in pairs])

    # ---- guards

    def _mechanics(self) -> None:
        for part in self.arrangement.parts:
            for place in self.places:
                stands, needs = place.stands(part.name)
                if len(stands) != 1:
                    continue
                (state,) = stands
                if not part.slow:
                    self._add_quiet(part, place, state, needs)
                if place.number + 1 < len(self.places):
                    after, more = self.places[place.number + 1].stands(part.name)
                    if len(after) == 1 and after != stands:
                        self._add_move(part, place, (state, *after), needs | more)

    def _add_move(self, part: Part, place: Cube, ends: tuple[str, ...], needs: Needs) -> None:
        options: list[str] = []
        for order, move in enumerate(part.moves):
            if (move.source, move.target) == ends:
                point = 2 * place.number + 2
                formula, why = self._guard(move.when, (part.name, f"move {order + 1}"), place, point)
                options.append(formula)
                needs |= why
        if "true" not in options:
            self.facts.append(Fact(join("or", [option for option in options if option != "false"]), needs))

    def _add_quiet(self, part: Part, place: Cube, state: str, needs: Needs) -> None:
        demands: list[str] = []
        for order, move in enumerate(part.moves):
            if move.source == state and move.target != state:
                for t in self._stay(place.number):
                    formula, why = self._guard(opposite(move.when), (part.name, f"move {order + 1}"), place, t)
                    demands.append(formula)
                    needs |= why if formula != "true" else NOTHING
        demands = [demand for demand in dict.fromkeys(demands) if demand != "true"]
        if demands:
            self.facts.append(Fact(f"(or (not {self.lasting[place.number]}) {join('and', demands)})", needs))

    def _guard(self, condition: Condition, key: tuple[str, ...], place: Cube, t: int) -> tuple[str, Needs]:
        """The condition holds at point `t`, boundary included, as far as is known of the place.

        What is not known asks for nothing: `true`.
        """
        return _Guard(self, key, place, t).walk(condition)

    def compared(self, side: str, atom: Below | AtLeast, key: tuple[str, ...], t: int) -> str:
        """A pressure, and with it the air of a volume whose size is a range, compared with a setting."""
        volume = atom.volume
        if atom.low == atom.high:
            return f"({side} {self.pressure[volume, t]} {number(atom.low)})"
        name = f"{key[0]} {atom.setting}" if atom.setting else " ".join(key)
        setting = self._setting(name, (key[0], atom.setting or ""), number(atom.low), number(atom.high))
        compared = f"({side} {self.pressure[volume, t]} {setting})"
        if self.exact(volume):
            return compared
        low, high = (f"(* {number(end)} {self.size[volume]})" for end in (atom.low, atom.high))
        amount = self._setting(f"{name} as air in {volume}", ("", ""), low, high)
        return f"(and {compared} ({side} {self.amount[volume, t]} {amount}))"

    def _setting(self, name: str, known_as: tuple[str, str], low: str, high: str) -> str:
        symbol = f"|setting {name}|"
        if symbol not in self.declared:
            self._declare(f"setting {name}")
            self._settings[symbol] = known_as
            self.axioms.append(f"(<= {low} {symbol} {high})")
        return symbol

    # ---- the start

    def _begin(self) -> None:
        if self.start is None:
            return
        start = self.arrangement.start(self.start)
        for volume, given in start.pressures:
            ends = f"(<= {number(given.low)} {self.pressure[volume, 0]} {number(given.high)})"
            self.facts.append(Fact(ends, NOTHING, start=True))
            if not self.exact(volume):
                size = self.size[volume]
                ends = f"(<= (* {number(given.low)} {size}) {self.amount[volume, 0]} (* {number(given.high)} {size}))"
                self.facts.append(Fact(ends, NOTHING, start=True))
        formula, needs = self._guard(start.where, ("start",), self.places[0], 0)
        if formula != "true":
            self.facts.append(Fact(formula, needs, start=True))


class _Guard(Walker[tuple[str, Needs]]):
    """A guard as a demand on the numbers at point `t`; `key` names its settings that have no name of their own."""

    __slots__ = ("_air", "_key", "_place", "_t")

    def __init__(self, air: Air, key: tuple[str, ...], place: Cube, t: int) -> None:
        self._air = air
        self._key = key
        self._place = place
        self._t = t

    def below(self, node: Below) -> tuple[str, Needs]:
        return self._air.compared("<=", node, self._key, self._t), NOTHING

    def at_least(self, node: AtLeast) -> tuple[str, Needs]:
        return self._air.compared(">=", node, self._key, self._t), NOTHING

    def lower(self, node: Lower) -> tuple[str, Needs]:
        return self._ordered("<=", node), NOTHING

    def not_lower(self, node: NotLower) -> tuple[str, Needs]:
        return self._ordered(">=", node), NOTHING

    def _ordered(self, side: str, node: Lower | NotLower) -> str:
        pressure = self._air.pressure
        return f"({side} {pressure[node.volume, self._t]} {pressure[node.other, self._t]})"

    def other(self, node: Condition) -> tuple[str, Needs]:
        holds, needs = self._place.truth(node)
        return ("true", NOTHING) if holds is None else ("true" if holds else "false", needs)

    def all_of(self, node: AllOf) -> tuple[str, Needs]:
        return _joined(self._each(node.items), every=True)

    def any_of(self, node: AnyOf) -> tuple[str, Needs]:
        return _joined(self._each(node.items), every=False)

    def _each(self, items: tuple[Condition, ...]) -> list[tuple[str, Needs]]:
        return [
            _Guard(self._air, (*self._key, str(i)), self._place, self._t).walk(item) for i, item in enumerate(items, 1)
        ]


def directions(passage: Passage) -> list[tuple[str, str]]:
    """The directions in which a passage can carry air at all."""
    both = [(passage.upstream, passage.downstream)]
    if not passage.one_way:
        both.append((passage.downstream, passage.upstream))
    return [(u, v) for u, v in both if u != ATMOSPHERE and v != SOURCE]


def number(value: Fraction) -> str:
    """A number that is not negative, as SMT-LIB writes it."""
    return f"{value.numerator}.0" if value.denominator == 1 else f"(/ {value.numerator}.0 {value.denominator}.0)"


def _when(t: int) -> str:
    return f"{'within' if t % 2 else 'entering'} place {t // 2}"


def _net(volume: str, flows: list[tuple[str, str, str]]) -> str:
    """What flows bring a volume, less what they take."""
    inward = [flow for _, target, flow in flows if target == volume]
    return total([*inward, *(f"(- {flow})" for source, _, flow in flows if source == volume)])


def total(terms: list[str]) -> str:
    """A sum of any number of terms."""
    if len(terms) < 2:
        return terms[0] if terms else "0.0"
    return f"(+ {' '.join(terms)})"


def _joined(terms: list[tuple[str, Needs]], *, every: bool) -> tuple[str, Needs]:
    """All of the terms, or (not `every`) some of them. What is not asked needs no reason; what cannot be had does."""
    deciding, neutral = ("false", "true") if every else ("true", "false")
    for text, needs in terms:
        if text == deciding:
            return deciding, needs
    kept = [text for text, _ in terms if text != neutral]
    why = NOTHING.union(*(needs for text, needs in terms if text != "true"))
    return (join("and" if every else "or", kept), why) if kept else (neutral, why)
