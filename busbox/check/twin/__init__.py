"""Lockstep: a model and its hardware twin on the same accesses, compared cycle by cycle.

``plan``
    the accesses, inputs and resets for one slot; drawn at random and aimed at events
``compare``
    two runs, and the first cycle in which they differ
``shrink``
    a shorter plan that still shows a difference
``pair``
    plans with all wait states, played to both; what they reached (``exercise``)
``save``
    a plan saved as a bench
"""

from busbox.check.twin.compare import Difference, Side, compare, observe
from busbox.check.twin.pair import Counterexample, Pair
from busbox.check.twin.plan import Plan, plan_of, random_plan
from busbox.check.twin.shrink import shrink

__all__ = [
    "Counterexample",
    "Difference",
    "Pair",
    "Plan",
    "Side",
    "compare",
    "observe",
    "plan_of",
    "random_plan",
    "shrink",
]  # fmt: skip
