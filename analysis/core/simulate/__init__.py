"""A plain forward simulator: it draws a world, integrates the equation of motion and senses it.

It feeds the tests, the demo and the planner with sessions whose truth is known. It shares no code with
the estimator (no formula of drag, rolling, density or gravity is imported), so that an error cannot cancel.
"""

from analysis.core.simulate.draw import draw_world
from analysis.core.simulate.scenarios import SCENARIOS, Scenario
from analysis.core.simulate.session import simulate_rides, simulate_session
from analysis.core.simulate.world import Stop, Truth, World

__all__ = ["SCENARIOS", "Scenario", "Stop", "Truth", "World", "draw_world", "simulate_rides", "simulate_session"]
