"""Test days whose truth is known: an independent, hostile simulator.

Nothing here imports the product's physics or statistics: only the plain values of a day. It is written from
the description of the measurement, with effects that the product's model may lack.
"""

from tests.simulator.day import HostileDay, draw_day
from tests.simulator.load_scenario import draw_load_scenario
from tests.simulator.scenario import Scenario, draw_scenario

__all__ = ["HostileDay", "Scenario", "draw_day", "draw_load_scenario", "draw_scenario"]
