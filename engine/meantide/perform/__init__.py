"""Notes in time: events in, samples out, the same every time."""
