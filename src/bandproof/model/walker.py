"""How conditions are walked: one method for each kind of node, and a loud refusal of any other.

A walker meets no negation unless it asks to: a `Not` is pushed down to the leaves first, where it turns each kind into its
opposite (negation normal form). So whoever says what leaves, `AllOf` and `AnyOf` mean has said all. One who wants a
condition as it was written overrides `negated`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Generic, TypeVar

from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Comparison,
    Condition,
    Happened,
    InPosition,
    InState,
    Leaf,
    Lower,
    Not,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)

R = TypeVar("R")

#: The method that each kind of node is given to.
_METHODS: dict[type, str] = {
    Truth: "truth",
    Below: "below",
    AtLeast: "at_least",
    Lower: "lower",
    NotLower: "not_lower",
    InState: "in_state",
    NotInState: "not_in_state",
    InPosition: "in_position",
    NotInPosition: "not_in_position",
    Happened: "happened",
    NotHappened: "not_happened",
    Not: "negated",
    AllOf: "all_of",
    AnyOf: "any_of",
}


class UnexpectedConditionError(TypeError):
    """A walker met a condition that it has no answer to: always a fault of this package."""

    def __init__(self, walker: object, condition: object) -> None:
        super().__init__(f"{type(walker).__name__} has no answer to {type(condition).__name__}: {condition!r}")


class Walker(Generic[R]):
    """Gives each node to the method of its kind. A kind without a method of its own goes to `other`, which raises."""

    __slots__ = ()

    def walk(self, condition: Condition) -> R:
        """What the method for the node's kind says. UnexpectedConditionError for what is no condition at all."""
        name = _METHODS.get(type(condition))
        if name is None:
            raise UnexpectedConditionError(self, condition)
        found: R = getattr(self, name)(condition)
        return found

    def other(self, node: Condition) -> R:
        """A kind that has no method of its own here: UnexpectedConditionError, unless a subclass knows better."""
        raise UnexpectedConditionError(self, node)

    def truth(self, node: Truth) -> R:
        """A constant."""
        return self.other(node)

    def below(self, node: Below) -> R:
        """A pressure below a threshold."""
        return self.other(node)

    def at_least(self, node: AtLeast) -> R:
        """A pressure at or above a threshold."""
        return self.other(node)

    def lower(self, node: Lower) -> R:
        """A pressure below another volume's."""
        return self.other(node)

    def not_lower(self, node: NotLower) -> R:
        """A pressure at or above another volume's."""
        return self.other(node)

    def in_state(self, node: InState) -> R:
        """A part in one of some states."""
        return self.other(node)

    def not_in_state(self, node: NotInState) -> R:
        """A part in none of some states."""
        return self.other(node)

    def in_position(self, node: InPosition) -> R:
        """A control in one of some positions."""
        return self.other(node)

    def not_in_position(self, node: NotInPosition) -> R:
        """A control in none of some positions."""
        return self.other(node)

    def happened(self, node: Happened) -> R:
        """A mishap that is present."""
        return self.other(node)

    def not_happened(self, node: NotHappened) -> R:
        """A mishap that is not."""
        return self.other(node)

    def negated(self, node: Not) -> R:
        """A negation: walked as the opposite of what it negates."""
        return self.walk(opposite(node.item))

    def all_of(self, node: AllOf) -> R:
        """A conjunction."""
        return self.other(node)

    def any_of(self, node: AnyOf) -> R:
        """A disjunction."""
        return self.other(node)


# -------------------------------------------------------------------------------------------- negation normal form


def normal_form(condition: Condition) -> Condition:
    """The same condition without `Not`, of the same shape otherwise."""
    return _AS_IT_IS.walk(condition)


def opposite(condition: Condition) -> Condition:
    """The negation of a condition, without `Not`.

    A threshold with a tolerance stays the same threshold: not below S is at least S, wherever S is in its range.
    """
    return _TURNED.walk(condition)


class _AsItIs(Walker[Condition]):
    __slots__ = ()

    def other(self, node: Condition) -> Condition:
        return node

    def all_of(self, node: AllOf) -> Condition:
        return AllOf(tuple(map(self.walk, node.items)))

    def any_of(self, node: AnyOf) -> Condition:
        return AnyOf(tuple(map(self.walk, node.items)))


class _Turned(Walker[Condition]):
    __slots__ = ()

    def truth(self, node: Truth) -> Condition:
        return Truth(not node.value)

    def below(self, node: Below) -> Condition:
        return AtLeast(node.volume, node.low, node.high, node.setting, node.tie)

    def at_least(self, node: AtLeast) -> Condition:
        return Below(node.volume, node.low, node.high, node.setting, node.tie)

    def lower(self, node: Lower) -> Condition:
        return NotLower(node.volume, node.other)

    def not_lower(self, node: NotLower) -> Condition:
        return Lower(node.volume, node.other)

    def in_state(self, node: InState) -> Condition:
        return NotInState(node.part, node.states)

    def not_in_state(self, node: NotInState) -> Condition:
        return InState(node.part, node.states)

    def in_position(self, node: InPosition) -> Condition:
        return NotInPosition(node.control, node.positions)

    def not_in_position(self, node: NotInPosition) -> Condition:
        return InPosition(node.control, node.positions)

    def happened(self, node: Happened) -> Condition:
        return NotHappened(node.mishap)

    def not_happened(self, node: NotHappened) -> Condition:
        return Happened(node.mishap)

    def negated(self, node: Not) -> Condition:
        return normal_form(node.item)

    def all_of(self, node: AllOf) -> Condition:
        return AnyOf(tuple(map(self.walk, node.items)))

    def any_of(self, node: AnyOf) -> Condition:
        return AllOf(tuple(map(self.walk, node.items)))


_AS_IT_IS, _TURNED = _AsItIs(), _Turned()


# ---------------------------------------------------------------------------------------------------------- leaves


def leaves(*conditions: Condition) -> Iterator[Leaf]:
    """Every leaf as it is written, left to right, with repeats. What is under a `Not` is not turned."""
    return (leaf for condition in conditions for leaf in _LEAVES.walk(condition))


def comparisons(*conditions: Condition) -> Iterator[Comparison]:
    """Those of the leaves that compare pressures."""
    return (leaf for leaf in leaves(*conditions) if isinstance(leaf, Comparison))


def alternatives(condition: Condition) -> tuple[Condition, ...]:
    """The conditions of which one suffices; itself where it is no disjunction."""
    return (
        tuple(way for item in condition.items for way in alternatives(item))
        if isinstance(condition, AnyOf)
        else (condition,)
    )


class _Leaves(Walker[Iterable[Leaf]]):
    __slots__ = ()

    def other(self, node: Condition) -> Iterable[Leaf]:
        assert isinstance(node, Leaf)
        return (node,)

    def negated(self, node: Not) -> Iterable[Leaf]:
        return self.walk(node.item)

    def all_of(self, node: AllOf) -> Iterable[Leaf]:
        return leaves(*node.items)

    def any_of(self, node: AnyOf) -> Iterable[Leaf]:
        return leaves(*node.items)


_LEAVES = _Leaves()
