"""The breaks: each takes one clause of the meaning away, or turns it round, in one place of the source.

A break is a text replacement: `old` is looked for from the line that contains `within` on, and its first occurrence there
becomes `new`. The clauses are those of the step rule and the flow rule as the documentation of `semantics.py` states them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Break:
    """One clause broken in one place; `clause` says what no longer holds."""

    file: str
    within: str
    old: str
    new: str
    clause: str

    def apply(self, text: str) -> str:
        """The source text with the break in it; ValueError when it does not fit the text any more."""
        start = text.find(self.within)
        at = text.find(self.old, start)
        if start < 0 or at < 0:
            message = f"{self.file}: no {self.old!r} after {self.within!r}"
            raise ValueError(message)
        return text[:at] + self.new + text[at + len(self.old) :]


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Break, ...]:
    return tuple(Break(file, *row) for row in rows)


EXECUTABLE = _in(
    "src/bandproof/machine/semantics.py",
    # settings with tolerance: must and may
    ("class _Surely(", "high(node.volume) <= node.low", "low(node.volume) <= node.low", "below: the threshold itself is not below"),
    ("class _Surely(", "high(node.volume) <= node.low", "high(node.volume) <= node.high", "below: must from the lower end of the tolerance"),
    ("class _Surely(", "low(node.volume) >= node.high", "low(node.volume) >= node.low", "at least: must from the upper end"),
    ("class _Surely(", "low(node.volume) >= node.high", "low(node.volume) > node.high", "at least: the threshold itself counts"),
    ("class _Maybe(", "low(node.volume) < node.high", "low(node.volume) < node.low", "below: may up to the upper end"),
    ("class _Maybe(", "high(node.volume) > node.low", "high(node.volume) > node.high", "at least: may from the lower end"),
    ("class _Maybe(", "high(node.volume) > node.low", "high(node.volume) >= node.low", "at least: a band ends below its upper threshold"),
    ("class _Surely(", "high(node.volume) <= self.reading.low(node.other)", "low(node.volume) < self.reading.high(node.other)", "lower than another volume: must only for sure"),
    ("class _Surely(", "low(node.volume) >= self.reading.high(node.other)", "high(node.volume) > self.reading.low(node.other)", "not lower than another volume: must only for sure"),
    ("class _Maybe(", "low(node.volume) < self.reading.high(node.other)", "high(node.volume) <= self.reading.low(node.other)", "lower than another volume: may within one band"),
    ("class _Maybe(", "high(node.volume) > self.reading.low(node.other)", "low(node.volume) >= self.reading.high(node.other)", "not lower than another volume: may within one band"),
    ("def not_in_state(", "not in", "in", "a part that is not in a state"),
    ("def not_in_position(", "not in", "in", "a control that is not in a position"),
    ("def not_happened(", "not in", "in", "a mishap that has not happened"),
    ("class _OfState(", "return all(", "return any(", "all of"),
    ("def may_moves(", "maybe(reading, m.when)", "surely(reading, m.when)", "a part may move, not only when it must"),
    ("def must_moves(", "surely(reading, m.when)", "maybe(reading, m.when)", "a part must move only when it must, not when it may"),
    # the flow rule: net inflow
    ("def net_inflow(", "other.high > own.low and (inward or not passage.one_way)", "other.high > own.low", "unsized one-way: nothing comes back"),
    ("def net_inflow(", "other.low < own.high and (not inward or not passage.one_way)", "other.low < own.high", "unsized one-way: nothing leaves against the arrow"),
    ("def net_inflow(", "other.high > own.low and", "other.high >= own.low and", "unsized: a volume that stays below L lifts nothing across L"),
    ("def net_inflow(", "other.low < own.high and", "other.low <= own.high and", "unsized: a volume at L draws nothing below L"),
    ("def net_inflow(", "greatest = None", "pass", "unsized: as large as it takes, for rising"),
    ("def net_inflow(", "least = None\n", "pass\n", "unsized: as large as it takes, for falling"),
    ("def net_inflow(", "one_way=passage.one_way", "one_way=False", "sized one-way: nothing comes back"),
    ("def net_inflow(", "least + low", "least + high", "falling takes the least net inflow"),
    ("def net_inflow(", "greatest + high", "greatest + low", "rising takes the greatest net inflow"),
    ("def net_inflow(", "(-flow.high, -flow.low)", "(flow.low, flow.high)", "what flows out counts against"),
    ("def net_inflow(", "up, down = (other, own) if inward else (own, other)", "up, down = other, own", "a two-way passage has a direction of its own"),
    ("def low(", "return Fraction(0)", "return self.arrangement.highest", "the atmosphere is below every threshold"),
    ("def high(", "return self.arrangement.highest if", "return Fraction(0) if", "a source stands at the highest pressure"),
    # the flow rule: rising and falling
    ("def may_rise(", "if greatest is not None", "if False", "rising depends on the net inflow"),
    ("def may_fall(", "if least is not None", "if False", "falling depends on the net inflow"),
    ("def open_passages(", "if self.part[part.name] in p.open_in", "if True", "a passage is open in its states only"),
    # settled, at rest
    ("def _still(", "if u in still or v in still]", "if u in still and v in still]", "settled: passages to a tank count"),
    ("def _still(", "not (u in fed and v in drained)", "v in drained and u not in fed", "settled: air that nothing drains stands still"),
    ("def _still(", "(u in fed and v in drained)", "(v in drained)", "settled: a vented group that nothing feeds is empty"),
    ("def _still(", "(u in fed and v in drained)", "(u in fed)", "settled: what flows through flows out"),
    ("def _still(", "reading.surely_above(u, v) and not (u in fed and v in drained)", "reading.surely_above(u, v)", "settled: a steady flow from feed to drain is still"),
    ("def _still(", "_spread(ends - {SOURCE}", "_spread(ends - {SOURCE, ATMOSPHERE}", "settled: the atmosphere drains"),
    ("def _still(", "_spread(ends - {SOURCE}", "_spread(ends & {ATMOSPHERE}", "settled: a tank drains"),
    ("def _still(", "_spread(ends - {ATMOSPHERE}", "_spread(ends - {SOURCE, ATMOSPHERE}", "settled: a source feeds"),
    ("def _still(", "_spread(ends - {ATMOSPHERE}", "_spread(ends & {SOURCE}", "settled: a tank feeds"),
    ("def _still(", "fed = _spread(ends - {ATMOSPHERE}, gentle)", "fed = _spread(ends - {ATMOSPHERE}, ways)", "settled: no air is fed uphill"),
    ("def _still(", "[(v, u) for u, v in gentle]", "[(v, u) for u, v in ways]", "settled: no air is drained uphill"),
    ("def _still(", "return all(_can_balance(reading, volume) for volume in still)", "return True", "settled: the volumes that air flows through can balance"),
    ("def _can_balance(", "least <= 0", "least < 0", "balance: zero at the end of the interval counts"),
    ("def _can_balance(", "greatest >= 0", "greatest > 0", "balance: zero at the end of the interval counts, the other end"),
    # pace
    ("def due(", "least > 0", "least >= 0", "due upward: air comes in for sure, all over the band"),
    ("def due(", "greatest < 0", "greatest <= 0", "due downward: air goes out for sure, all over the band"),
    ("def due(", "least is not None and least > 0", "greatest is None or greatest > 0", "due upward: not only perhaps"),
    ("def due(", "greatest is not None and greatest < 0", "least is None or least < 0", "due downward: not only perhaps"),
    ("def due(", "reading.span(volume)", "Range(reading.low(volume), reading.low(volume))", "due: wherever in its band the volume is, from its lower end"),
    ("def due(", "reading.span(volume)", "Range(reading.high(volume), reading.high(volume))", "due: wherever in its band the volume is, to its upper end"),
    ("def due(", "and may_rise(layout, state, volume)", "and reading.band[volume] < len(layout.thresholds[volume])", "due upward: a tank or chamber has a path for its air"),
    ("def due(", "and may_fall(layout, state, volume)", "and reading.band[volume] > 0", "due downward: a tank or chamber has a path for its air"),
    ("def due(", "and may_rise(layout, state, volume)", "", "due upward: there is a threshold above"),
    ("def in_pace(", "watch.mover == volume and", "", "pace: a watch limits its mover only"),
    ("def in_pace(", "counts.last is upward and", "", "pace: back across the same threshold costs nothing"),
    ("def in_pace(", "counts.last is upward", "counts.last is not None", "pace: a mover that has used all it may can still turn back"),
    ("def in_pace(", ">= watch.allowance", "> watch.allowance", "pace: no more whole bands than the allowance"),
    ("def in_pace(", ">= watch.allowance", ">= watch.allowance - 1", "pace: as many whole bands as the allowance"),
    ("def _waits(", "was is not None and was == awaited(layout, after, pending)", "awaited(layout, after, pending) is not None", "pace: nothing is remembered from before the pending volume was due"),
    ("def _waits(", "was is not None and was == awaited(layout, after, pending)", "was is not None", "pace: forgotten when the pending volume is due no more"),
    ("def _waits(", "was == awaited(layout, after, pending)", "awaited(layout, after, pending) is not None", "pace: due the other way is another journey"),
    ("def _waits(", "before.bands[place] != after.bands[place]", "False", "pace: the next threshold of the pending volume is another journey"),
    ("def reacting(", "set() if part in excused(reading) else ", "", "pace: a part that is excused is not bound by its reaction time"),
    ("def reacting(", "if len(found) == 1 else None", "if found else None", "pace: a part is bound while one move of it is due, and no other"),
    ("def acts(", "remember(layout, state, replace(state, controls=turned), windows)", "replace(state, controls=turned)", "pace: a part may be due no more after the driver acts"),
    ("def remember(", "counts.count + (counts.last is (way > 0))", "counts.count + 1", "pace: only whole bands count"),
    ("def remember(", "counts.count + (counts.last is (way > 0))", "counts.count", "pace: whole bands count"),
    ("def remember(", "(counts.last is (way > 0)), way > 0", "(counts.last is (way > 0)), counts.last", "pace: every crossing becomes the last"),
    ("def remember(", "memory.append(counts)", "memory.append(Count())", "pace: remembered while the mover stands still"),
    # steps
    ("def successors(", "[(band, None)] if busy else", "[(band, None)] if False else", "pressures stand still while a part must move"),
    ("def successors(", "    if not busy:\n        yield from acts", "    if True:\n        yield from acts", "no act while a part must move"),
    ("def successors(", "            if events:", "            if events and (not busy or len(events) == 1):", "several parts in one react"),
    ("def successors(", "            if events:", "            if events and (busy or len(events) == 1):", "several changes in one flow"),
    ("def successors(", "+ [(m.target, Moved(", "+ [] and [(m.target, Moved(", "parts move at all"),
    ("def _crossings(", "band + 1, Crossed", "len(layout.thresholds[volume]), Crossed", "one threshold per step, up"),
    ("def _crossings(", "band - 1, Crossed", "0, Crossed", "one threshold per step, down"),
    ("def driver_may_act(", "pace is Pace.AFTER_SETTLING and settled(layout, state)", "pace is Pace.AFTER_SETTLING", "after settling: the driver waits"),
    ("def driver_may_act(", "pace is Pace.ANY_TIME or", "True or", "hands off: the driver never acts"),
    ("def acts(", "if driver_may_act(layout, state, pace):", "if True:", "the driver keeps the pace"),
    ("def acts(", "mishaps - state.mishaps", "frozenset(m.name for m in arrangement.mishaps) - state.mishaps", "only the mishaps of the claim occur"),
    ("def acts(", "mishaps=state.mishaps | {mishap.name}", "mishaps=frozenset({mishap.name})", "a mishap stays"),
    ("def check_step(", "if abs(a - b) > 1:", "if abs(a - b) > 2:", "checking a step: one threshold per volume"),
    ("def check_step(", "or len(acts) > 1", "", "checking a step: two acts at once"),
    ("def check_step(", "or crossed or", "or", "checking a step: an act leaves pressures alone"),
    ("def check_step(", "if busy or moved or", "if busy or", "checking a step: an act leaves parts alone"),
    ("def check_step(", "if busy or moved", "if moved", "checking a step: no act while a part must move"),
    ("def check_step(", "if busy and crossed:", "if False:", "checking a step: pressures stand still while a part must move"),
    ("def check_step(", "if before.mishaps - after.mishaps:", "if False:", "checking a step: a mishap stays"),
    ("def check_step(", "after.mishaps - before.mishaps - mishaps", "frozenset[str]()", "checking a step: only the mishaps of the claim"),
    ("def check_step(", "if acts and not driver_may_act", "if False and not driver_may_act", "checking a step: the driver's pace"),
    ("def check_step(", "elif not in_pace", "elif False and not in_pace", "checking a step: the pace"),
    ("def _moved(", "if target not in", "if False and target not in", "checking a step: a part moves only where it may"),
    # starts
    ("def is_start(", "not state.mishaps", "True", "no mishap at a start"),
    ("def is_start(", "state.counts == layout.no_counts()", "True", "nothing is remembered at a start"),
    ("def is_start(", "(not start.settled or settled(layout, state))", "True", "a start that asks for a settled state"),
    ("def is_start(", "maybe(reading, start.where)", "True", "a start's condition"),
    ("def overlaps(", "low <= given.high", "low < given.high", "a start's range: a band includes its lower end"),
    ("def overlaps(", "given.low < high", "given.low <= high", "a start's range: a band excludes its upper end"),
)  # fmt: skip

MONITORS = _in(
    "src/bandproof/machine/monitor.py",
    ("def watch(", "if seen == change.source and", "if", "a change is made from its source only"),
    ("def watch(", "if seen == change.source", "if before == change.source", "changes are made one after another on one state"),
    ("def watch(", "seen = change.target", "pass", "a monitor remembers"),
    ("def applies(", "or _true(monitor.applies, Reading(layout, state), monitor.states[0])", "or True", "a conditional claim is empty when its condition never happens"),
    ("def _true(", "return settled(reading.layout, reading.state)", "return True", "settled claims look at settled states"),
    ("def _true(", "return at_rest(reading.layout, reading.state)", "return settled(reading.layout, reading.state)", "at rest claims look at states at rest"),
    ("def _true(", "return seen == state", "return True", "what a monitor remembers is looked at"),
    ("def _true(", "return not _true(item, reading, seen)", "return _true(item, reading, seen)", "the opposite of a formula"),
    ("def _true(", "if sure else maybe(reading, condition)", "", "a condition taken for possible"),
) + _in(
    "src/bandproof/properties/monitors.py",
    ("case Shape.REACHABLE:", "wanted=True", "wanted=False", "reachable: a run there is what is wanted"),
    ("case Shape.ALWAYS:", "bad=Fails(then)", "bad=then", "always: broken where it fails"),
    ("case Shape.SETTLED:", "Stillness.SETTLED", "Stillness.AT_REST", "settled claims look at settled states, all that are"),
    ("case Shape.AT_REST:", "Stillness.AT_REST", "Stillness.SETTLED", "at rest claims look at states at rest only"),
    ("def _when_still(", "applies=applies,", "applies=still,", "a settled claim is empty when its condition never happens"),
    ("def _holds(", 'Change("waiting", "bound", Holds(claim.when))', 'Change("waiting", "bound", Holds(Truth(value=True)))', "holds: stays counts from once on"),
    ("def _holds(", 'Change("bound", "released", Holds(until))', 'Change("waiting", "released", Holds(until))', "holds: until releases"),
    ("def _holds(", 'Change("bound", "released", Holds(until)),', 'Change("bound", "waiting", Holds(until)),', "holds: only the first once binds"),
    ("def _holds(", "applies=Holds(claim.when),", "", "a holds claim is empty when its condition never happens"),
)  # fmt: skip

CONDITIONS = _in(
    "src/bandproof/model/walker.py",
    ("def negated(self, node: Not) -> R", "opposite(node.item)", "node.item", "a negation is walked as the opposite"),
    ("class _Turned(", "AtLeast(node.volume, node.low, node.high, node.setting, node.tie)", "node", "not below is at least"),
    ("class _Turned(", "Below(node.volume, node.low, node.high, node.setting, node.tie)", "node", "not at least is below"),
    ("class _Turned(", "NotLower(node.volume, node.other)", "Lower(node.other, node.volume)", "not lower counts the boundary"),
    ("class _Turned(", "Truth(not node.value)", "node", "never is not always"),
    ("class _Turned(", "return AnyOf(tuple(map(", "return AllOf(tuple(map(", "not all of: some does not"),
    ("class _Turned(", "return AllOf(tuple(map(", "return AnyOf(tuple(map(", "not any of: none does"),
)  # fmt: skip

GRID = _in(
    "src/bandproof/machine/layout.py",
    ("def lay_out(", "compared[volume] |= {low, high}", "compared[volume] |= {low}", "both ends of a tolerance are thresholds"),
    ("def lay_out(", "groups.join(passage.upstream, passage.downstream)", "pass", "thresholds are shared over passages"),
    ("def lay_out(", "groups.join(volume, other)", "pass", "volumes compared with each other share thresholds"),
    ("def band_at(", "[volume], pressure", "[volume], pressure - 1", "a threshold belongs to the band above it"),
)  # fmt: skip

NUMBERS = _in(
    "src/bandproof/machine/pace.py",
    ("def allowance(", "int(self.longest // self.shortest)", "-int(-self.longest // self.shortest)", "an allowance is rounded down"),
    ("def timing_constraints(", "pending != mover", "pending == mover", "a volume does not watch itself"),
    ("def timing_constraints(", "len(thresholds[w.mover]) - 2", "len(thresholds[w.mover]) - 1", "an allowance of all whole bands is not watched"),
    ("def timing_constraints(", "min(LARGEST_ALLOWANCE, ", "min(9, ", "large allowances are not watched"),
    ("def sigma(", "number == (len(bands) - 1 if upward else 0)", "number == (0 if upward else len(bands) - 1)", "there is no threshold beyond the outer bands"),
    ("def sigma(", "litres.high", "litres.low", "the longest time is that of the largest volume"),
    ("def sigma(", "min((total for total in sums.totals if total > 0), default=None)", "max(sums.totals) if max(sums.totals) > 0 else None", "the longest time is that of the smallest flow"),
    ("def sigma(", "[] if least is None else", "[] if least is None or not upward else", "both directions can be due"),
    ("def sigma(", "return max(times", "return min(times", "the longest time of all bands"),
    ("def tau(", "[1:-1]", "", "a whole band has a threshold at both ends"),
    ("def tau(", "most = max(", "most = min(", "the shortest time is that of the larger of what comes in and what goes out"),
    ("def tau(", "litres.low", "litres.high", "the shortest time is that of the smallest volume"),
    ("def tau(", "return min(times", "return max(times", "the shortest time of all bands"),
    ("def _litres(", "None if unsized else", "", "a passage without a size has no bound on its flow"),
    ("def _open_passages(", "if state in p.open_in and", "if", "a passage counts in the states it is open in"),
    ("def _sure_sums(", "low if upward else -high", "high if upward else -low", "what is sure is the least flow"),
    ("def _sure_sums(", "of_part |= here", "of_part = here", "a part can be in any of its states"),
    ("def _sure_sums(", "for low, high in flows}", "for low, high in flows[:1]}", "a neighbour can be in any of its bands"),
    ("def _most(", "_anywhere(arrangement, _other_end(passage, name))", "own", "a neighbour can be anywhere"),
    ("def _most(", "high if inward else -low", "low if inward else -high", "the most that a passage can carry"),
    ("def _most(", "most += max(of_part)", "most += min(of_part)", "a part is in the state that carries most"),
    ("def _anywhere(", "arrangement.highest if node == SOURCE else Fraction(0)", "Fraction(0)", "a source is at the highest pressure"),
    ("def _anywhere(", "Fraction(0) if node == ATMOSPHERE else arrangement.highest", "arrangement.highest", "the atmosphere is at no pressure"),
    ("def _inflow(", "(flow.low, flow.high) if inward else (-flow.high, -flow.low)", "(flow.low, flow.high)", "what flows out counts against"),
)  # fmt: skip

PHYSICS = _in(
    "src/bandproof/physics/iso6358.py",
    ("def _magnitude(", "if p2 <= b * p1:", "if p2 < 0:", "choked flow below the critical ratio"),
    ("def _magnitude(", "(1 - 2 * b) * p1 + p2", "p1 + p2", "elliptic flow above the critical ratio"),
    ("def _magnitude(", "if large else (size.c.low, size.b.low)", "if not large else (size.c.low, size.b.low)", "the size that favours the bound"),
    ("def _bound(", "if p_up == p_down or one_way:", "if p_up == p_down:", "a one-way passage carries nothing back"),
    ("def _bound(", "large=not up", "large=up", "flow back is largest with the largest size"),
    ("def flow_bounds(", "low=_bound(size, upstream.low + atmosphere, downstream.high", "low=_bound(size, upstream.high + atmosphere, downstream.low", "the least flow is from the lowest upstream pressure"),
)  # fmt: skip
