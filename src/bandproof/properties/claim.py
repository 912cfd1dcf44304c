"""A property as a frozen value, every role resolved to the names of one arrangement."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bandproof.model.conditions import ALWAYS_TRUE, Condition


class Shape(StrEnum):
    """The shapes of design section 4 that this version decides."""

    NEVER = "never"
    ALWAYS = "always"
    SETTLED = "settled"
    AT_REST = "at_rest"
    HOLDS = "holds"
    REACHABLE = "reachable"
    ENDS_IN = "ends_in"


class Pace(StrEnum):
    """When the driver may act. ANY_TIME is the strongest claim; HANDS_OFF lets only the surroundings act."""

    ANY_TIME = "any time"
    AFTER_SETTLING = "after settling"
    HANDS_OFF = "hands off"


@dataclass(frozen=True, slots=True)
class Property:
    """One claim about one arrangement.

    | shape      | when  | then  | until |
    |------------|-------|-------|-------|
    | never      | C     |       |       |
    | always     |       | C     |       |
    | settled    | A     | B     |       |
    | at_rest    | A     | B     |       |
    | holds      | once  | stays | until |
    | reachable  | C     |       |       |
    | ends_in    | A     | B     |       |

    `mishaps` are the mishaps that may occur during the run, each at most once. `fillings` says how often the lines are
    filled during it at most, where the claim says so.
    """

    id: str
    says: str
    basis: str
    shape: Shape
    during: str
    when: Condition = ALWAYS_TRUE
    then: Condition = ALWAYS_TRUE
    until: Condition | None = None
    pace: Pace = Pace.ANY_TIME
    mishaps: frozenset[str] = frozenset()
    fillings: int | None = None
    caution: str = ""


def coming(start: str) -> Property:
    """What a run is like before it comes to another start: it can be reached, at any pace, and no mishap occurs."""
    return Property("start", "", "", Shape.REACHABLE, start)


class Named(StrEnum):
    """What a claim names that an arrangement may not have; mishaps are named by role."""

    ROLE = "role"
    START = "start"


@dataclass(frozen=True, slots=True)
class Lack:
    """A name that a claim uses and the arrangement does not have; `near` is one it has that is spelt much alike."""

    sort: Named
    name: str
    near: str | None = None


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """A property whose roles, start or mishaps this arrangement does not have. `pack` is the file it stands in."""

    id: str
    says: str
    basis: str
    lacks: tuple[Lack, ...]
    caution: str = ""
    pack: str = ""

    @property
    def roles(self) -> tuple[str, ...]:
        """The roles that are missing."""
        return tuple(lack.name for lack in self.lacks if lack.sort is Named.ROLE)
