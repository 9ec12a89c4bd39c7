"""Measures: tables in, tables out. Pure functions; each docstring names the published source of its method."""

__all__ = [
    "agreement",
    "balance",
    "bout",
    "chain",
    "compare",
    "crossed",
    "design",
    "duration",
    "hazard",
    "incidence",
    "latency",
    "outcome",
    "practice",
    "proportional",
    "sensitivity",
    "share",
    "sign",
    "survival",
    "transition",
]
