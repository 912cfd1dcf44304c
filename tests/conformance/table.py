"""The whole table: tiny arrangements whose verdicts were proved by hand, each with the reasoning in one line.

It feeds every engine (`test_engines.py`), the oracles, the checks of story quality, and the mutation runs.
"""

from __future__ import annotations

from tests.conformance.case import Case
from tests.conformance.table_acts import ACTS
from tests.conformance.table_flow import FLOW
from tests.conformance.table_pace import PACE
from tests.conformance.table_settled import SETTLED
from tests.conformance.table_shapes import SHAPES
from tests.conformance.table_sized import SIZED
from tests.conformance.table_steps import STEPS

TABLE: tuple[Case, ...] = (*STEPS, *ACTS, *FLOW, *SIZED, *PACE, *SETTLED, *SHAPES)
