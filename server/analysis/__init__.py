"""Where physics meets statistics: passes, the fit of the day, comparisons, simulation."""
