"""What everything stands on: refusals, text made safe, atomic files, clocks and locks, dates, the journal."""
