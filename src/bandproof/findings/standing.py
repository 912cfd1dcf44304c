"""Standing questions: what `prove` answers of every arrangement, whatever is claimed of it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bandproof.machine.layout import Layout
from bandproof.machine.story import Story


class Question(StrEnum):
    """The standing questions."""

    TIME_PASSES = "does time always pass?"
    COMES_TO_REST = "with the hands off and the tanks held, does the air always come to rest?"


class Answer(StrEnum):
    """The answers to them."""

    YES = "yes"
    NO = "no"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Standing:
    """The answer to one standing question of one arrangement.

    `start`: the start it is about; empty where it is about all of them. `says`: what goes on for ever, or why it is not
    decided; `hint`: the edit that would mend it. `proofs` are file names with their SMT-LIB text. `story` is a run on `layout`
    that ends where it was at its state number `loop`, from which it goes round for ever.
    """

    question: Question
    answer: Answer
    start: str = ""
    says: str = ""
    hint: str = ""
    proofs: tuple[tuple[str, str], ...] = ()
    layout: Layout | None = None
    story: Story | None = None
    loop: int | None = None

    @property
    def sentence(self) -> str:
        """Question and answer in one line."""
        about = f' from start "{self.start}"' if self.start else ""
        more = "".join(f"; {text}" for text in (self.says, self.hint) if text)
        return f"{self.question} {self.answer}{about}{more}"
