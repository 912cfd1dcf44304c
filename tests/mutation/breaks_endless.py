"""What a round that is gone for ever has to be like, broken clause by clause in both statements of it."""

from __future__ import annotations

from tests.mutation.breaks import Break, _in

ENDLESS: tuple[Break, ...] = (
    *_in(
        "src/bandproof/machine/endless.py",
        ("def goes_round(", "if states[loop] != states[-1]:", "if False:", "a round ends where it begins"),
        ("def goes_round(", "if any((s.controls", "if False and any((s.controls", "nobody acts in a round"),
        ("def goes_round(", "if not all(applies(", "if False and not all(applies(", "the condition holds all the round"),
        ("def goes_round(", "if not any(bad(", "if False and not any(bad(", "the end fails in the round"),
        ("def due_throughout(", "if not lasting:", "if not states:", "time passes in a round"),
        ("def due_throughout(", "for state in states)", "for state in lasting[:0] or states[:1])", "a slow part may be due in some states only"),
        ("def due_throughout(", "for state in lasting)", "for state in lasting[:1])", "a volume may be due in some states only"),
        ("def lost_for_good(", "intersection(*map(_ways, lasting))", "union(*map(_ways, lasting))", "a way is open all the round"),
        ("def lost_for_good(", "if u not in _reached(v, could | {(ATMOSPHERE, SOURCE)})", "if True", "air that comes back"),
        ("def lost_for_good(", "could | {(ATMOSPHERE, SOURCE)}", "could", "a source makes up for what goes out"),
        ("def _gains(", "return False", "pass", "an unsized passage against it"),
        ("def _gains(", "least += flow.low if inward == upward else -flow.high", "least += flow.high if inward == upward else -flow.low", "the least that comes"),
        ("def _gains(", "more = more or apart or", "more = more or", "an unsized passage between bands apart brings something"),
        ("def _gains(", "node == via and _leaves(", "node == via and False and _leaves(", "a neighbour that has to leave"),
        ("def _leaves(", "return _gains(reading, node, Range(mark, mark), upward=upward, via=None)", "return True", "only a neighbour that has to leave"),
    ),
    *_in(
        "src/bandproof/encoding/endless.py",
        ("def endless(", "problem.circuit.both(problem.applies, negate(acts))", "problem.applies", "nobody acts in a round"),
        ("def endless(", "wanted=(problem.bad,)", "wanted=()", "the end fails in the round"),
        ("def _fair(", 'ends = {quiet: "time passes"}', "ends: dict[int, str] = {}", "time passes in a round"),
        ("def _fair(", "c.both(quiet, negate(waits))", "quiet", "what is due crosses"),
        ("def _fair(", "ends.setdefault(negate(due), words)", "pass", "slow parts move in the end"),
        ("class _Air", "negate(encoding.surely_above(v, u))", "TRUE", "air does not run uphill"),
        ("class _Air", "c.both(quiet, negate(c.any_of(passages)))", "FALSE", "a way is open all the round"),
        ("def can_go_round(", "could.append((ATMOSPHERE, SOURCE, TRUE))", "pass", "a source makes up for what goes out"),
        ("def can_go_round(", "negate(back[v][u])", "TRUE", "air that comes back"),
        ("def can_go_round(", "apart += [", "apart += [] and [", "several ways to the open air"),
    ),
    *_in(
        "src/bandproof/encoding/flow.py",
        ("def _gains(", "against.append(", "more.append(", "an unsized passage against it"),
        ("def _gains(", "c.either(gains, c.both(keeps, c.any_of(more)))", "gains", "an unsized passage between bands apart brings something"),
        ("def _gains(", "negate(self._sum_positive(terms, strict=False))", "negate(self._sum_positive(terms, strict=True))", "the net flow is above nothing"),
        ("def _apart(", "if span.low > own.high", "if span.low >= own.high", "bands that touch are not apart"),
        ("def _apart(", "if span.high < own.low", "if span.high <= own.low", "bands that touch are not apart, below"),
    ),
    *_in(
        "src/bandproof/encoding/loops.py",
        ("def _remember(", "c.either(lost, c.both(inside, negate(self._loop.throughout)))", "lost", "the condition holds all the round"),
        ("def closed(", "self._loop.closing(seen), *self._back()]", "self._loop.closing(seen)]", "a round ends where it begins"),
        ("def _remember(", "c.both(inside, c.either(c.both(before, bit.literal), event))", "c.either(bit.literal, event)", "what is seen is seen in the round"),
    ),
)  # fmt: skip
