"""Boolean circuits with shared nodes: the one form every formula about an arrangement takes before a solver sees it.

A literal is an int: `2 * node` or, negated, `2 * node + 1`. Node 0 is the constant false. Every other node is a
variable or a conjunction of two or more literals. Nodes are only ever added, operands before users, so node order is a
topological order.

A circuit may be told what always holds of some of its variables: that they are the bits of a thermometer, or that just
one of them is true. Conjunctions are then made smaller by it, so a formula keeps its meaning only where that holds.

Kept by hand: no library of formulas simplifies by thermometers, and all solvers and the certificate must share one form.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

FALSE = 0
TRUE = 1

#: What a conjunction implies is kept only when it is no more than this many literals: long sets cost more than they find.
_REMEMBERED = 64


def negate(literal: int) -> int:
    """The opposite literal."""
    return literal ^ 1


class Circuit:
    """A growing set of shared nodes."""

    def __init__(self) -> None:
        self.operands: list[tuple[int, ...] | None] = [None]
        self.names: dict[int, str] = {}
        #: The literal of each conjunction asked for so far, and of each that there is a node for.
        self._found: dict[tuple[int, ...], int] = {}
        self._granted: set[int] = set()
        #: For some literals: all that is known to hold wherever they do, themselves included.
        self._implied: dict[int, frozenset[int]] = {}
        #: For each variable of which it is known: those of which just one is true.
        self._one_of: dict[int, tuple[int, ...]] = {}

    def variable(self, name: str) -> int:
        """A new variable; returns its positive literal."""
        node = len(self.operands)
        self.operands.append(None)
        self.names[node] = name
        return 2 * node

    def grant(self, granted: int, descending: Iterable[list[int]], just_one: Iterable[list[int]]) -> None:
        """From now on simplify by what `granted` says too; formulas keep their meaning where all that was granted holds.

        It says that in each list of `descending` a variable is true only if the one before it is, and that of each list
        of `just_one` one variable is true and no two are; of none of them has anything been granted before. A
        conjunction with `granted` itself still says all of it.
        """
        descending, just_one = list(descending), list(just_one)
        self._granted |= {granted} - {TRUE}
        self._forget_what_is_known_of({bit >> 1 for bits in [*descending, *just_one] for bit in bits})
        for bits in descending:
            for place, bit in enumerate(bits):
                self._implied[bit] = frozenset(bits[: place + 1])
                self._implied[negate(bit)] = frozenset(map(negate, bits[place:]))
        for bits in just_one:
            for bit in bits:
                self._implied[bit] = frozenset(x if x == bit else negate(x) for x in bits)
                self._one_of[bit] = tuple(bits)

    def _forget_what_is_known_of(self, variables: set[int]) -> None:
        """Build the conjunctions that depend on some of these variables anew when they are asked for again."""
        if any(2 * node in self._implied and self.operands[node] is None for node in variables):
            message = "something was granted of one of these variables before"
            raise ValueError(message)
        about = set(variables)
        for node, operands in enumerate(self.operands):
            if operands is not None and any(x >> 1 in about for x in operands):
                about.add(node)
        self._found = {
            asked: literal
            for asked, literal in self._found.items()
            if literal >> 1 not in about and not any(x >> 1 in about for x in asked)
        }

    def all_of(self, literals: Iterable[int]) -> int:
        """The conjunction of `literals`."""
        given = set(literals)
        given.discard(TRUE)
        asked = tuple(sorted(given))
        found = self._found.get(asked)
        if found is None:
            found = self._found[asked] = self._conjunction(given)
        return found

    def _conjunction(self, given: set[int]) -> int:
        granted = given & self._granted
        if granted and len(given) > 1:
            rest = self.all_of(given - granted)
            key = tuple(sorted(granted if rest == TRUE else {*granted, rest}))
            return key[0] if len(key) == 1 else self._node(key)
        slim = self._slim(given)
        if slim is None:
            return FALSE
        if not slim:
            return TRUE
        return slim[0] if len(slim) == 1 else self._node(tuple(slim))

    def _node(self, key: tuple[int, ...]) -> int:
        if FALSE in key:
            return FALSE
        if key not in self._found:
            node = len(self.operands)
            self.operands.append(key)
            self._found[key] = 2 * node
            implied = frozenset[int]().union([2 * node], *map(self._implications, key))
            if len(implied) <= _REMEMBERED:
                self._implied[2 * node] = implied
        return self._found[key]

    def _implications(self, literal: int) -> frozenset[int]:
        return self._implied.get(literal) or frozenset([literal])

    def _slim(self, unique: set[int]) -> list[int] | None:
        """Literals whose conjunction is the same, in order: none that others imply; None if they contradict."""
        known: set[int] = set()
        waiting = list(unique)
        while waiting:
            for literal in waiting:
                implied = self._implications(literal)
                if FALSE in implied or any(x ^ 1 in known for x in implied):
                    return None
                known |= implied
            waiting = self._found_singles(known)
            for literal in [x for x in unique if x & 1]:
                smaller = self._under(literal, known)
                if smaller != literal:
                    unique.discard(literal)
                    unique.add(smaller)
                    waiting.append(smaller)
            unique.update(waiting)
            unique.discard(TRUE)
            waiting = [x for x in waiting if x not in known and x != TRUE]
        return self._without_idle(sorted(unique))

    def _without_idle(self, literals: list[int]) -> list[int]:
        """The literals without those that follow from another one."""
        kept = literals[:]
        for literal in literals:
            opposite = self._implications(literal ^ 1) if literal & 1 else None
            for other in kept:
                if other != literal and (
                    self._follows(literal, self._implications(other))
                    or (opposite is not None and other & 1 and self._follows(other ^ 1, opposite))
                ):
                    kept.remove(literal)
                    break
        return kept

    def _follows(self, literal: int, known: set[int] | frozenset[int]) -> bool:
        """The literal is seen to hold wherever all of `known` does."""
        if literal in known:
            return True
        operands = self.operands[literal >> 1]
        if operands is None:
            return False
        if literal & 1:
            return any(x ^ 1 in known for x in operands)
        return known.issuperset(operands)

    def _found_singles(self, known: set[int]) -> list[int]:
        """Variables that must be true because all others of theirs are known to be false."""
        groups = {self._one_of[x ^ 1] for x in known if x & 1 and x ^ 1 in self._one_of}
        return [
            open_still[0]
            for group in sorted(groups)
            if len(open_still := [x for x in group if x ^ 1 not in known]) == 1 and open_still[0] not in known
        ]

    def _under(self, literal: int, known: set[int]) -> int:
        """A literal equal to this negated conjunction wherever all of `known` holds; itself if none is smaller."""
        operands = self.operands[literal >> 1]
        if operands is None:
            return literal
        if any(self._follows(x ^ 1, known) for x in operands):
            return TRUE
        rest = [x for x in operands if not self._follows(x, known)]
        if len(rest) == len(operands):
            return literal
        if len(rest) < 2:
            return rest[0] ^ 1 if rest else FALSE
        found = self._found.get(tuple(rest))
        return literal if found is None else found ^ 1

    def any_of(self, literals: Iterable[int]) -> int:
        """The disjunction of `literals`."""
        return self.all_of(literal ^ 1 for literal in literals) ^ 1

    def both(self, one: int, other: int) -> int:
        """`one` and `other`."""
        return self.all_of((one, other))

    def either(self, one: int, other: int) -> int:
        """`one` or `other`."""
        return self.any_of((one, other))

    def implies(self, one: int, other: int) -> int:
        """Not `one`, or `other`."""
        return self.any_of((one ^ 1, other))

    def choose(self, test: int, then: int, otherwise: int) -> int:
        """`then` where `test` holds, else `otherwise`."""
        if then == otherwise:
            return then
        return self.both(self.implies(test, then), self.either(test, otherwise))

    def exactly_one(self, literals: list[int]) -> int:
        """One of `literals` holds and no two do."""
        pairs = (self.any_of((a ^ 1, b ^ 1)) for i, a in enumerate(literals) for b in literals[:i])
        return self.all_of([self.any_of(literals), *pairs])

    def cone(self, roots: Iterable[int]) -> list[int]:
        """All nodes that `roots` depend on, the roots' own included, in topological order."""
        wanted: set[int] = set()
        stack = [literal >> 1 for literal in roots]
        while stack:
            node = stack.pop()
            if node in wanted:
                continue
            wanted.add(node)
            stack.extend(literal >> 1 for literal in self.operands[node] or ())
        return sorted(wanted)

    def substitute(self, roots: list[int], values: Mapping[int, int]) -> list[int]:
        """The roots with every variable replaced by the literal that `values` has for its positive literal, if any."""
        known: dict[int, int] = {}
        for node in self.cone(roots):
            operands = self.operands[node]
            if operands is None:
                known[node] = values.get(2 * node, 2 * node)
            else:
                known[node] = self.all_of(known[literal >> 1] ^ (literal & 1) for literal in operands)
        return [known[literal >> 1] ^ (literal & 1) for literal in roots]

    def evaluate(self, roots: list[int], values: Mapping[int, bool]) -> list[bool]:
        """The truth of each root when the variable nodes have `values`; a variable left out is false."""
        known: dict[int, bool] = {}
        for node in self.cone(roots):
            operands = self.operands[node]
            if operands is None:
                known[node] = values.get(node, False)
            else:
                known[node] = all(known[literal >> 1] != bool(literal & 1) for literal in operands)
        return [known[literal >> 1] != bool(literal & 1) for literal in roots]
