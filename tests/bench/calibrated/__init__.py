"""What the commands print, asked of simulated seasons: did the limits hold the truth, was p at most .05?

A module for each subject. A work takes a generator and returns its answers; `grid` yields the kinds of season on which
it is asked.
"""
