"""A season that outgrows memory: asked of its Parquet (`etholog export DIR --by-month`) by an engine, or part by part.

>>> import etholog.engine
>>> sorted(etholog.engine.__all__)
['Across', 'Part', 'deciding', 'parts', 'time_budget', 'transition']
"""

from etholog.engine.by_part import Across, Part, parts, time_budget, transition
from etholog.engine.deciding import deciding

__all__ = ["Across", "Part", "deciding", "parts", "time_budget", "transition"]
