"""A plain forward simulator: it draws a world, integrates the equation of motion and senses it.

It feeds the tests, the demo and the planner with sessions whose truth is known. It shares no code with
the estimator (no formula of drag, rolling, density or gravity is imported), so that an error cannot cancel.
"""

from analysis.core.simulate.session import simulate_session
from analysis.core.simulate.world import Stop, Truth, World

__all__ = ["Stop", "Truth", "World", "simulate_session"]
