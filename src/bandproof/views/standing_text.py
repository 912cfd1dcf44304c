"""The answers to the standing questions as lines of text: one for each answer, with the starts it holds for."""

from __future__ import annotations

from collections.abc import Iterable

from bandproof.findings.standing import Standing


def standing_lines(answers: Iterable[Standing]) -> list[str]:
    """One line for each question and answer; what is the same for several starts is said once."""
    starts: dict[tuple[str, str, str, str], list[str]] = {}
    for one in answers:
        starts.setdefault((one.question, one.answer, one.says, one.hint), []).append(one.start)
    lines = []
    for (question, answer, says, hint), named in starts.items():
        from_ = ", ".join(f'"{name}"' for name in named if name)
        about = f" from {'starts' if len(named) > 1 else 'start'} {from_}" if from_ else ""
        lines.append("; ".join(text for text in (f"{question} {answer}{about}", says, hint) if text))
    return lines
